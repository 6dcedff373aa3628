"""The warning lamps over the drive: when each went out, and whether it lit again."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canwheel.definitions.layout import HelperName
from canwheel.track.motion import LONGEST_STEP_S, middle_kph
from canwheel.track.wheel_track import HelperSamples, WheelTrack

USUAL_OUT_S = 30.0
"""By then after moving off, a lamp that the unit's own test on the road puts out is usually out
(common practice, no source). [s]"""

LampName = Literal["abs", "stability", "brake"]

_HELPERS: tuple[tuple[LampName, HelperName], ...] = (
    ("abs", "lamp_abs"),
    ("stability", "lamp_stability"),
    ("brake", "lamp_brake"),
)


@dataclass(frozen=True, slots=True)
class Lamp:
    """What one lamp did.

    Attributes
    ----------
    name : which lamp.
    lit_at_start : whether it was lit when first heard of.
    went_out_s : when it first went out, None when it was never seen to. [s]
    after_moving_s : the same counted from the car's first movement, negative when it went out
        before; None when it never went out, the car never moved, or nobody saw it move off. [s]
    lit_again_s : when it first lit after having been out, None when it stayed out. [s]
    lit_again_kph : how fast the car was then, None when it stayed out or nobody knows. [km/h]
    """

    name: LampName
    lit_at_start: bool
    went_out_s: float | None
    after_moving_s: float | None
    lit_again_s: float | None
    lit_again_kph: float | None = None

    @property
    def out_as_usual(self) -> bool | None:
        """Whether it went out as soon as is usual, None where it never did or nobody moved."""
        return None if self.after_moving_s is None else self.after_moving_s <= USUAL_OUT_S


def measure_lamps(track: WheelTrack, first_moving_s: float | None) -> tuple[Lamp, ...]:
    """Tell what each lamp did that the track has a signal of.

    Parameters
    ----------
    track : the drive; a lamp signal is non-zero while the lamp is lit.
    first_moving_s : when the car first moved, None when it never did. [s]
    """
    if first_moving_s is not None and not _was_seen_standing(track, first_moving_s):
        first_moving_s = None
    heard = ((name, track.helpers.get(helper)) for name, helper in _HELPERS)
    lamps = (_measure(name, samples, track, first_moving_s) for name, samples in heard if samples)
    return tuple(lamp for lamp in lamps if lamp is not None)


def _was_seen_standing(track: WheelTrack, first_moving_s: float) -> bool:
    """Whether the recording began before the car moved, so that it tells when it moved off."""
    return not len(track.time_s) or first_moving_s > float(track.time_s[0])


def _measure(
    name: LampName, samples: HelperSamples, track: WheelTrack, first_moving_s: float | None
) -> Lamp | None:
    known = ~np.isnan(samples.value)
    time_s, lit = samples.time_s[known], samples.value[known] != 0
    if not lit.size:
        return None
    went_out = np.flatnonzero(lit[:-1] & ~lit[1:]) + 1
    lit_up = np.flatnonzero(~lit[:-1] & lit[1:]) + 1
    went_out_s = float(time_s[went_out[0]]) if went_out.size else None
    after_moving_s = None
    if went_out_s is not None and first_moving_s is not None:
        after_moving_s = went_out_s - first_moving_s
    lit_again_s = float(time_s[lit_up[0]]) if lit_up.size else None
    return Lamp(
        name=name,
        lit_at_start=bool(lit[0]),
        went_out_s=went_out_s,
        after_moving_s=after_moving_s,
        lit_again_s=lit_again_s,
        lit_again_kph=None if lit_again_s is None else _car_kph(track, lit_again_s),
    )


def _car_kph(track: WheelTrack, time_s: float) -> float | None:
    """How fast the car was by the corner samples nearest in time, None where none is near. [km/h]

    Nearest, not interpolated: a lamp lights with what happens at that moment.
    """
    if not len(track.time_s):
        return None
    near = int(np.argmin(np.abs(track.time_s - time_s)))
    speed_kph = middle_kph(track.speed_kph[near : near + 1])[0]
    is_near = abs(track.time_s[near] - time_s) <= LONGEST_STEP_S
    return float(speed_kph) if is_near and not np.isnan(speed_kph) else None
