"""What a bus can have that is like four wheel speeds and is none."""

from collections.abc import Callable
from typing import Literal, get_args

import numpy as np

from canwheel.roadtest.background import pack_message
from canwheel.roadtest.bus_layout import Quantity, SentMessage
from canwheel.roadtest.bus_subjects import Number, Numbers
from canwheel.roadtest.chance import happens
from canwheel.roadtest.wheel_messages import WHEEL_CYCLES_S

LookAlike = Literal[
    "one speed",
    "copies of one speed",
    "late copies of one speed",
    "two axle speeds",
    "temperatures",
    "tyre pressures",
    "brake pressures",
    "torques",
    "seat switches",
    "parked",
]
"""What a capture without four wheel speeds, or without a drive, has in their place."""
LOOK_ALIKES: tuple[LookAlike, ...] = get_args(LookAlike)


def _four(
    quantity: Quantity, choices: tuple[tuple[int, float, float], ...]
) -> Callable[[np.random.Generator], Numbers]:
    def draw(rng: np.random.Generator) -> Numbers:
        length, scale, offset = choices[int(rng.integers(len(choices)))]
        return tuple(Number(quantity, length, scale, offset) for _ in range(4))

    return draw


def _axles(rng: np.random.Generator) -> Numbers:
    """Two speeds where four could be; now and then twice."""
    scale = float(rng.choice((0.01, 0.02)))
    pair = (Number("front_speed", 16, scale), Number("rear_speed", 16, scale))
    rest = pair if happens(rng, 0.3) else (Number("constant", 16), Number("constant", 16))
    return pair + rest


_SPEED_STEPS = ((16, 0.01, 0.0), (13, 0.03125, 0.0), (12, 0.1, 0.0), (15, 0.01, -40.0))
_NUMBERS: dict[LookAlike, Callable[[np.random.Generator], Numbers]] = {
    "one speed": lambda rng: (Number("car_speed", 16, float(rng.choice((0.01, 0.02)))),),
    "copies of one speed": _four("car_speed", _SPEED_STEPS),
    "late copies of one speed": _four("late_speed", _SPEED_STEPS),
    "two axle speeds": _axles,
    "temperatures": _four("oil", ((8, 1.0, -40.0), (16, 0.01, -100.0), (12, 0.1, -50.0))),
    "tyre pressures": _four("tyre_pressure", ((8, 0.0137, 0.0), (16, 0.001, 0.0))),
    "brake pressures": _four("wheel_pressure", ((12, 0.1, 0.0), (16, 0.01, 0.0), (10, 0.25, 0.0))),
    "torques": _four("torque", ((12, 0.25, -100.0), (16, 0.05, -400.0))),
    "seat switches": _four("switch", ((1, 1.0, 0.0), (2, 1.0, 0.0), (8, 1.0, 0.0))),
}


def look_alike_messages(rng: np.random.Generator, look_alike: LookAlike) -> tuple[SentMessage, ...]:
    """What is like wheel speeds, in one message, in two or in four of their own."""
    numbers = _NUMBERS[look_alike](rng)
    ways = [way for way in (1, 2, 4) if way <= len(numbers)]
    messages = int(rng.choice(ways))
    each = len(numbers) // messages
    first_id = int(rng.integers(0x080, 0x500))
    cycle_s = float(rng.choice(WHEEL_CYCLES_S))
    return tuple(
        pack_message(
            rng,
            numbers[n * each : (n + 1) * each],
            name=f"LIKE_{n}",
            frame_id=first_id + 2 * n,
            cycle_s=cycle_s,
        )
        for n in range(messages)
    )
