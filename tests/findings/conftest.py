"""What the tests of the findings share: everything said of a drive, in a few words."""

from collections.abc import Callable

import pytest

from canwheel.findings import examine
from canwheel.judgement.verdict import ACT_ON_CONFIDENCE
from canwheel.outcome import Event, Finding
from canwheel.track.wheel_track import WheelTrack

Said = dict[str, list[str]]


def said_of(track: WheelTrack) -> Said:
    """Kinds found by corner; with a question mark where they are too weak to act on."""
    said: Said = {}
    for finding in examine(track).outcome.findings:
        doubt = "" if finding.confidence >= ACT_ON_CONFIDENCE else "?"
        said.setdefault(finding.corner.value, []).append(finding.kind + doubt)
    return said


def the_only_finding(track: WheelTrack) -> Finding:
    """Return the one thing found, and fail on none or more."""
    (finding,) = examine(track).outcome.findings
    assert finding.says.endswith(".")
    assert finding.spans
    return finding


def events_of(track: WheelTrack) -> tuple[Event, ...]:
    """Return what looked like a fault and is none."""
    return examine(track).outcome.events


@pytest.fixture(scope="session")
def said() -> Callable[[WheelTrack], Said]:
    return said_of


@pytest.fixture(scope="session")
def only_finding() -> Callable[[WheelTrack], Finding]:
    return the_only_finding


@pytest.fixture(scope="session")
def events() -> Callable[[WheelTrack], tuple[Event, ...]]:
    return events_of
