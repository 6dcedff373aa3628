"""A proposal tested on another drive: what the drive shows of it, and what it does not."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.dbc import Definitions, read_definitions
from canwheel.definitions.layout import WheelLayout
from canwheel.definitions.survey import find_wheels_of
from canwheel.discovery.alike import GRID_STEP_S
from canwheel.discovery.dbc import holds_some_of
from canwheel.discovery.hints import Hints
from canwheel.discovery.motion import RigidBody, fit_rigid_body
from canwheel.discovery.rest import find_rest
from canwheel.discovery.scale import scale_by_held_speeds, scale_by_track
from canwheel.discovery.search import one_step
from canwheel.discovery.sides import first_is_left_by_turns
from canwheel.errors import RequestError
from canwheel.frames import Frames
from canwheel.track.clock import put_in_order
from canwheel.track.recording import read_wheels
from canwheel.vehicle import Vehicle

PointName = Literal["heard", "equal when straight", "rest", "sides", "front", "left", "scale"]
PointOutcome = Literal["fits", "contradicts", "not shown"]
ConfirmVerdict = Literal["confirmed", "contradicted", "not_shown"]

_NEEDED: tuple[PointName, ...] = ("heard", "equal when straight", "rest", "sides", "front")
"""Points that every drive with stops and tight turns shows, whatever is declared."""

_LEFT, _RIGHT, _FRONT = {0, 2}, {1, 3}, {0, 1}
_MOST_UNEQUAL = 0.04
"""Straight on, each corner's ratio to the mean lies within this; a wrong ring shows more, and is
then told by the check and not by this."""

_AT_REST = 0.02
"""At rest each speed is nought to this share of the drive's fastest."""

_SCALE_FITS = 0.06
"""A held or measured speed and the DBC's agree to this, beyond what the dash leaves open."""


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that a second drive can show."""

    name: PointName
    outcome: PointOutcome
    says: str


@dataclass(frozen=True, slots=True, eq=False)
class Confirmation:
    """What a second drive says of a proposal.

    Attributes
    ----------
    summary : the drive's recording.
    dbc : name of the proposal's file.
    points : one by one.
    """

    summary: CaptureSummary
    dbc: str
    points: tuple[Point, ...]

    @property
    def verdict(self) -> ConfirmVerdict:
        """Contradicted by any point; confirmed by those that any drive with turns shows."""
        outcomes = {point.name: point.outcome for point in self.points}
        if "contradicts" in outcomes.values():
            return "contradicted"
        shown = all(outcomes.get(name) == "fits" for name in _NEEDED)
        return "confirmed" if shown else "not_shown"


def confirm_capture(
    dbc: Path,
    capture: Path,
    hints: Hints | None = None,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> Confirmation:
    """Test a proposal's DBC on another drive.

    Parameters
    ----------
    dbc, capture : the files.
    hints : what the driver knows of this drive.
    channel : of the capture, where several carry the wheels.
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    RequestError : it holds the drive that the proposal was found in.
    """
    definitions = read_definitions(dbc)
    layout = find_wheels_of(definitions, Vehicle(), capture)
    read = read_wheels(capture, layout, channel=channel, progress=progress)
    _refuse_its_own(definitions, read.summary)
    points = confirm_frames(read.frames, read.summary.first_time_ns, layout, hints or Hints())
    return Confirmation(read.summary, dbc.name, points)


def _refuse_its_own(definitions: Definitions, recording: CaptureSummary) -> None:
    """Refuse what a proposal was found in, or a part: it agrees with itself, right or wrong."""
    if any(holds_some_of(message.comment, recording) for message in definitions.messages):
        raise RequestError(
            f"holds the drive that {definitions.file} was found in, which confirms nothing",
            where=recording.file,
            remedy="record a second drive, and give that one",
        )


def confirm_frames(
    frames: Frames, first_time_ns: int, layout: WheelLayout, hints: Hints
) -> tuple[Point, ...]:
    """Test a layout on frames.

    Parameters
    ----------
    frames : those of the wheel messages, of one channel.
    first_time_ns : the capture's first stamp. [ns]
    layout : which signal is which corner.
    hints : what the driver knows of this drive.

    Raises
    ------
    RequestError : a hint does not fit the drive at all.
    """
    frames, clock = put_in_order(frames, first_time_ns)
    time_s = clock.time_s
    columns = [decode_signal(frames, layout.wheel(corner)) for corner in CORNERS]
    if any(len(column) < 2 for column in columns):  # noqa: PLR2004 - a line needs two
        return (Point("heard", "contradicts", "Not all of its messages were heard."),)
    last_s = float(time_s[-1])
    grid = np.arange(float(time_s[0]), last_s, GRID_STEP_S)
    step = min(abs(layout.wheel(corner).scale) for corner in CORNERS)
    steps, held = [], []
    for column in columns:
        known = np.isfinite(column.value)
        if known.sum() < 2:  # noqa: PLR2004
            what = "One corner had no value in all of the drive."
            return (Point("heard", "not shown", what),)
        at, value = time_s[column.rows[known]], column.value[known] / step
        steps.append(np.interp(grid, at, value))
        held.append(value[np.maximum(np.searchsorted(at, grid, "right") - 1, 0)])
    speed = np.column_stack(steps)
    top = float(np.percentile(np.median(speed, axis=1), 99)) if len(grid) else 0.0
    if top < 20 or len(grid) < 100:  # noqa: PLR2004 - ten seconds
        return (Point("heard", "not shown", "The car hardly moved in this drive."),)
    body = fit_rigid_body(grid, np.maximum(speed, 0.0))
    return (
        Point("heard", "fits", "All of its messages were heard."),
        _equal(body, speed),
        _rest(grid, np.column_stack(held), top),
        _sides(body),
        _front(body),
        _left(grid, body, hints),
        _scale(grid, speed.mean(axis=1), step, first_time_ns / 1e9, hints),
    )


def _equal(body: RigidBody, speed: NDArray[np.float64]) -> Point:
    apart = max(abs(ratio - 1) for ratio in body.ratio)
    says = f"Straight on, the four agree to {100 * apart:.1f} % of the speed."
    if apart <= _MOST_UNEQUAL + one_step(speed, body.moving):
        return Point("equal when straight", "fits", says)
    return Point("equal when straight", "contradicts", f"{says} A check tells if one is faulty.")


def _rest(grid: NDArray[np.float64], held: NDArray[np.float64], top: float) -> Point:
    rest = find_rest(grid, held)
    if rest is None:
        return Point("rest", "not shown", "The car did not stand still for a second.")
    off = float(np.max(np.abs(rest.raw))) / top
    if off <= _AT_REST:
        return Point("rest", "fits", f"All four were nought while it stood, {rest.seen_s:.0f} s.")
    says = f"While it stood they were {100 * off:.0f} % of the top speed, and not nought."
    return Point("rest", "contradicts", says)


def _sides(body: RigidBody) -> Point:
    if body.halves is None:
        return Point("sides", "not shown", "No turn was sharp enough to part left from right.")
    found = [set(half) for half in body.halves]
    fits = _LEFT in found and _RIGHT in found
    says = f"In turns the sides differ by up to {200 * body.turn:.0f} % of the speed"
    if fits:
        says += f", and FL² + RR² = FR² + RL² holds to {100 * body.across:.0f} % of that."
        return Point("sides", "fits", says)
    return Point("sides", "contradicts", f"{says}, but other two run together than it says.")


def _front(body: RigidBody) -> Point:
    if body.front is None:
        return Point("front", "not shown", "No turn was tight enough to tell front from rear.")
    if set(body.front) == _FRONT:
        return Point("front", "fits", "In tight turns the front wheels run faster, as they should.")
    return Point("front", "contradicts", "In tight turns other wheels run faster than its front.")


def _left(grid: NDArray[np.float64], body: RigidBody, hints: Hints) -> Point:
    if not hints.turns or body.halves is None:
        says = "Left and right were not tested: declare a turn of this drive (--turn left@75)."
        return Point("left", "not shown", says)
    sides = body.sides if set(body.halves[0]) == _LEFT else -body.sides
    if first_is_left_by_turns(grid, sides, hints.turns):
        return Point("left", "fits", "The declared turn agrees with left and right.")
    return Point("left", "contradicts", "By the declared turn, left and right are exchanged.")


def _scale(
    grid: NDArray[np.float64],
    steps: NDArray[np.float64],
    step_kph: float,
    first_time_s: float,
    hints: Hints,
) -> Point:
    if hints.track is not None:
        scale = scale_by_track(grid, steps, first_time_s, hints.track)
    elif hints.speeds:
        scale = scale_by_held_speeds(grid, steps, hints.speeds)
    else:
        says = "Speeds were not tested: name one that was held on the dash (--speed 50@180)."
        return Point("scale", "not shown", says)
    if scale.low_kph is None or scale.high_kph is None:
        raise RequestError("no scale comes of it", where="--speed", remedy="name another time")
    low, high = scale.low_kph * (1 - _SCALE_FITS), scale.high_kph * (1 + _SCALE_FITS)
    says = f"A step is {step_kph:.5g} by the DBC; {scale.says[0].lower()}{scale.says[1:]}"
    return Point("scale", "fits" if low <= step_kph <= high else "contradicts", says)
