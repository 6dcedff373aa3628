"""All checks in their order: what one has explained is taken out before the next one looks."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.findings.copied import find_copied
from canwheel.findings.crossed import find_crossed
from canwheel.findings.dropout import find_dropout
from canwheel.findings.erratic import find_erratic
from canwheel.findings.flagged_invalid import find_flagged_invalid
from canwheel.findings.frozen import find_frozen
from canwheel.findings.late_pickup import find_late_pickup
from canwheel.findings.message_missing import find_message_missing
from canwheel.findings.no_signal import find_no_signal
from canwheel.findings.one_axle_turning import find_one_axle_turning
from canwheel.findings.recording_gap import find_recording_gap
from canwheel.findings.ring_damage import find_ring_damage
from canwheel.findings.turned_round import find_turned_round
from canwheel.findings.wheel_lock import find_wheel_lock
from canwheel.findings.wheel_spin import find_wheel_spin
from canwheel.findings.wrong_ratio import find_wrong_ratio
from canwheel.outcome import Outcome, Span
from canwheel.track.coverage import Coverage, measure_coverage
from canwheel.track.motion import TOLD_BY_KPH, Motion, estimate_motion, squared_relation_kph
from canwheel.track.wheel_track import WheelTrack

Check = Callable[[WheelTrack, Motion], Outcome]

CHECKS: tuple[Check, ...] = (
    find_recording_gap,
    find_flagged_invalid,
    find_message_missing,
    find_copied,
    find_frozen,
    find_one_axle_turning,
    find_wheel_spin,
    find_late_pickup,
    find_no_signal,
    find_wheel_lock,
    find_dropout,
    find_ring_damage,
    find_crossed,
    find_turned_round,
    find_erratic,
    find_wrong_ratio,
)
"""From the gross to the fine. What looks like a fault and is none comes before the fault it looks
like; a corner that reads nothing is out of the way before the others are compared."""


@dataclass(frozen=True, slots=True, eq=False)
class Examination:
    """What a drive showed.

    Attributes
    ----------
    outcome : findings, events, what could not be judged, of all checks.
    coverage : what the drive exercised, faults and events taken out.
    typical_error_pct : one a corner: one standard deviation of its difference from what the other
        three say, above 15 km/h: nineteen times of twenty it differs by less than two of them; None
        where it was not read. [%]
    """

    outcome: Outcome
    coverage: Coverage
    typical_error_pct: tuple[float | None, float | None, float | None, float | None]


def examine(track: WheelTrack) -> Examination:
    """Run every check over a drive."""
    outcomes, whole = [], track
    motion = estimate_motion(track)
    for check in CHECKS:
        outcome = check(track, motion)
        outcomes.append(outcome)
        hidden = _explained(outcome)
        if hidden:
            track = track.without(hidden)
            motion = estimate_motion(track)
    outcome = _settled(Outcome.merge(outcomes))
    fl, fr, rl, rr = (_typical_error_pct(track, motion, corner) for corner in CORNERS)
    return Examination(
        outcome=outcome,
        coverage=_coverage(whole, outcome) or measure_coverage(track, motion),
        typical_error_pct=(fl, fr, rl, rr),
    )


def _settled(outcome: Outcome) -> Outcome:
    """An outcome in which nothing stands as not judged that was found."""
    found = {(finding.corner, finding.kind) for finding in outcome.findings}
    return replace(
        outcome,
        not_judged=tuple(n for n in outcome.not_judged if (n.corner, n.kind) not in found),
    )


def _coverage(whole: WheelTrack, outcome: Outcome) -> Coverage | None:
    """What was driven where corners are crossed, None where none are: whatever place they sit on,
    they are wheels of this car, and tell how far it went.
    """  # noqa: D205 - one sentence, one fact
    others = tuple(finding for finding in outcome.findings if finding.kind != "crossed")
    if len(others) == len(outcome.findings):
        return None
    track = whole.without(_explained(replace(outcome, findings=others)))
    return measure_coverage(track, estimate_motion(track))


EDGE_S = 0.15
"""The unit's smoothing draws a fault out over so long before and after it. [s]"""


SLIP_EDGE_S = 0.5
"""A tyre that slipped comes to before and after it is told to slip. [s]"""


def _explained(outcome: Outcome) -> dict[Corner, list[Span]]:
    """When which corner's readings are accounted for, by a fault or an event."""
    hidden: defaultdict[Corner, list[Span]] = defaultdict(list)
    for finding in outcome.findings:
        hidden[finding.corner].extend(
            Span(span.from_s - EDGE_S, span.to_s + EDGE_S) for span in finding.spans
        )
    for event in outcome.events:
        span = Span(event.from_s - SLIP_EDGE_S, event.to_s + SLIP_EDGE_S)
        if event.corner is not None:
            hidden[event.corner].append(span)
        elif event.kind == "one_axle_turning":  # the car itself does not drive meanwhile
            for corner in CORNERS:
                hidden[corner].append(span)
    return dict(hidden)


_FEWEST_SAMPLES = 50
"""A spread from fewer samples than this is no figure to show."""

_MIDDLE = (0.025, 0.975)
"""Between these shares of the differences lie..."""

_SIGMAS_IN_MIDDLE = 2 * 1.96
"""... so many standard deviations, where errors are normal. The root of mean squares says the same
of a drive without incident, but a single wild sample at the edge of a drop-out throws it; and the
median deviation of a coarse signal, which mostly reads the same, is nought."""


def _typical_error_pct(track: WheelTrack, motion: Motion, corner: Corner) -> float | None:
    fast = np.nan_to_num(motion.speed_kph) > TOLD_BY_KPH
    own = track.speed_kph[fast, corner.position]
    with np.errstate(divide="ignore", invalid="ignore"):
        error = own / squared_relation_kph(track.speed_kph[fast], corner) - 1
    error = error[np.isfinite(error)]
    if len(error) < _FEWEST_SAMPLES:
        return None
    low, high = np.quantile(error, _MIDDLE)
    return round(float(high - low) / _SIGMAS_IN_MIDDLE * 100, 2)
