"""A short drive with everything in it, and the same one without chance."""

import pytest

from canwheel.roadtest.route import Leg, stand, stop, turn
from canwheel.roadtest.simulation import Drive, Scenario, simulate

SHORT_ROUTE = (
    stand(3.0),
    Leg(250, 55),
    turn(90, 12, 18),
    Leg(200, 50),
    stop(4.0, brake_mps2=3.0),
    turn(-90, 12, 18),
    Leg(300, 60),
    turn(60, 40, 40),
    Leg(150, 45),
    stop(3.0),
)


@pytest.fixture(scope="session")
def scenario() -> Scenario:
    return Scenario(route=SHORT_ROUTE)


@pytest.fixture(scope="session")
def healthy(scenario: Scenario) -> Drive:
    return simulate(scenario, seed=11)
