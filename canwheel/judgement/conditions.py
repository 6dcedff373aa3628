"""What one drive showed of a fault, to what the next one must repeat before it proves anything."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.findings.examine import EDGE_S
from canwheel.judgement.bunches import count_bunches
from canwheel.judgement.verdict import SOUND_NEEDS_KM, CornerJudgement, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_band, say_km_to_drive
from canwheel.outcome import GOES_WITH_BAND, GOES_WITH_TURN, FaultKind, Finding, Span
from canwheel.track.coverage import SPEED_BANDS_KPH, TURNS, Driving

Pattern = Literal["constant", "intermittent"]

PROOF_CONFIDENCE = 0.95
"""A repair is proven when the chance that nothing was repaired is 5 % or less: the usual level of
a one-sided test (common practice)."""

CONSTANT_SHARE = 0.5
"""A fault that shows over at least this share of the way, from where it first showed, is a
constant one; below, it comes and goes (our choice, no source)."""

SHOWN_SHARE = 0.05
"""A speed band must be driven again when at least this share of the fault showed in it; less is
the moment in which a drive passes into the next band (our choice, no source)."""

DOMINANT_SHARE = 0.5
"""A way of turning must be driven again when at least this share of the fault showed in it."""

REPEAT_KM = 0.1
"""A speed band or a way of turning counts as driven again after this distance, some fifty turns of
the wheel, or after nearly as much as the first drive did of it (our choice, no source). [km]"""

SAME_AGAIN = 0.8
"""Where the first drive did less than `REPEAT_KM`, this share of it counts as the same again: no
round is driven twice to the metre (our choice, no source)."""

SAME_RATE = 1.1
"""Values that come this much slower still come at the same rate: no clock keeps it exactly."""

_HAIR_KM = 1e-6  # a millimetre: what sums of distances are off by
_LOWEST_BAND = 0
_BY_NATURE_INTERMITTENT: frozenset[FaultKind] = frozenset({"dropout", "erratic"})
_TURN_WORDS = ("straight ahead", "turning left", "turning right")

JUNCTION_KM = 0.015
"""Distance of turning at a junction: a quarter of a circle of some 9.5 m. [km]"""

_COUNTED_KM = 1.0  # nobody counts more turns than make up this distance

_AT_JUNCTIONS = frozenset(
    f" {turn}{band}"
    for turn in _TURN_WORDS[1:]
    for band in ("", *(f" {say_band(band)}" for band in SPEED_BANDS_KPH if band[1] <= 30))  # noqa: PLR2004
)
"""Conditions that a driver meets at junctions; faster turns are bends of any length."""

Cells = NDArray[np.float64]
"""(5, 3) by speed band and turn: kilometres, or how often."""


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What a second drive must do, clean, to prove that one fault is gone.

    Attributes
    ----------
    kind, pattern, count : the fault, whether it was always there, and how often it showed.
    bunches : in how many bunches that was; as many as `count` where chance may have spread them.
    counted : (5, 3) conditions in which distance counts: all, or those that it goes with.
    before_km : distance of the first drive in those conditions. [km]
    seen_share : of the times that it shows, how many the second drive's values can hold; those
        that last shorter than the time between two values fall in between.
    needed_km : clean distance in those conditions that proves it. [km]
    in_one_go_km : distance that one drive must have without a break, since the fault began so far
        into the first one; 0 when several short drives do as well. [km]
    bands, turns : distance to repeat by position in `SPEED_BANDS_KPH` and in `TURNS`. [km]
    only_band, only_turn : the one condition of each sort that it goes with, where there is one.
    """

    kind: FaultKind
    pattern: Pattern
    count: int
    bunches: int
    counted: NDArray[np.bool_]
    before_km: float
    seen_share: float
    needed_km: float
    in_one_go_km: float
    bands: Mapping[int, float]
    turns: Mapping[int, float]
    only_band: int | None
    only_turn: int | None

    @property
    def where(self) -> str:
        """The conditions in which distance counts, in words; nothing when all do."""
        turn = "" if self.only_turn is None else f" {_TURN_WORDS[self.only_turn]}"
        band = "" if self.only_band is None else f" {say_band(SPEED_BANDS_KPH[self.only_band])}"
        return turn + band


@dataclass(frozen=True, slots=True, eq=False)
class Progress:
    """How far a second drive has come with a task.

    Attributes
    ----------
    clean_km : driven in the conditions that count. [km]
    missing_km : still to drive there. [km]
    one_go_km : length of the one drive that is still to do; 0 when none is. [km]
    missing_bands, missing_turns : still to repeat by position. [km]
    unread_km : still to be read above 15 km/h, before the corner is tested at all. [km]
    unseen : why the drive could not show this kind at all, where it could not.
    """

    clean_km: float
    missing_km: float
    one_go_km: float
    missing_bands: Mapping[int, float]
    missing_turns: Mapping[int, float]
    unread_km: float
    unseen: tuple[str, ...]

    @property
    def done(self) -> bool:
        """Whether nothing is left to do."""
        to_do = (
            self.missing_km,
            self.one_go_km,
            self.missing_bands,
            self.missing_turns,
            self.unread_km,
        )
        return not (any(to_do) or self.unseen)


@dataclass(frozen=True, slots=True)
class ToDrive:
    """The driving still to do.

    Attributes
    ----------
    km_by_condition : distance by condition in words, the empty one first where there is one. [km]
    unseen : phrases for what no distance alone puts right.
    """

    km_by_condition: Mapping[str, float] = field(default_factory=dict)
    unseen: tuple[str, ...] = ()

    @property
    def phrases(self) -> tuple[str, ...]:
        """Each piece of it: ``another 6.4 km between 30 and 50 km/h``."""
        lengths = self.km_by_condition.items()
        said = (
            f"another {say_km_to_drive(km)}{where}{_in_turns(km, where)}" for where, km in lengths
        )
        return (*said, *self.unseen)

    @classmethod
    def merge(cls, parts: Iterable["ToDrive"]) -> "ToDrive":
        """Put together what serves all of them: the longest distance in each condition."""
        longest: dict[str, float] = {}
        unseen: dict[str, None] = {}
        for part in parts:
            for where, km in part.km_by_condition.items():
                longest[where] = max(km, longest.get(where, 0.0))
            unseen.update(dict.fromkeys(part.unseen))
        return cls(longest, tuple(unseen))


def clean_km_needed(count: int, before_km: float) -> float:
    """Distance without the fault that proves it gone, after `count` times in `before_km`. [km]

    Raises
    ------
    ValueError : `count` below one: what never showed cannot be proven gone.
    """
    if count < 1:
        raise ValueError("a fault that is to be proven gone showed at least once")
    return float(before_km * ((1 - PROOF_CONFIDENCE) ** (-1 / count) - 1))


def share_seen(finding: Finding, before_s: float, after_s: float) -> float:
    """Of the times that a fault shows, how many a second drive with slower values would hold.

    Parameters
    ----------
    finding : of the first drive, with the spans in which it showed.
    before_s, after_s : time between two values of the corner in each drive. [s]
    """
    if not after_s > SAME_RATE * before_s:
        return 1.0
    lasting_s = float(np.median([span.to_s - span.from_s for span in finding.spans]))
    return min(1.0, max(lasting_s, before_s) / after_s)


def set_task(finding: Finding, before: Judgement, seen_share: float = 1.0) -> Task:
    """Say what a second drive must do to prove that this finding's fault is gone.

    Parameters
    ----------
    finding : of the first drive.
    before : the first drive.
    seen_share : how much of a fault that comes and goes the second drive can show.
    """
    driving = before.coverage.driving
    pattern = _pattern(finding, driving)
    only_band, only_turn = _goes_with(finding)
    counted = _condition(only_band, only_turn)
    # The corner's own distance leaves out where the fault was, edges and all; the car drove there.
    hidden = [Span(span.from_s - EDGE_S, span.to_s + EDGE_S) for span in finding.spans]
    whole_km = driving.km_where(np.ones(len(driving.time_s), np.bool_))
    own_km = before.corner(finding.corner).coverage.km
    drive_km = np.minimum(own_km + driving.km_within(hidden), whole_km)
    before_km = float(drive_km[counted].sum())
    in_one_go_km = 0.0
    if pattern == "intermittent":
        shown = _times_by_cell(finding, driving)
        needed_km = clean_km_needed(max(1, finding.count), before_km) / seen_share
    else:
        seen_share = 1.0
        shown = driving.km_within(finding.spans)
        # What began some way into the drive (warm, say) must be given that way to begin again.
        in_one_go_km = driving.km_on_the_way_to(finding.from_s)
        needed_km = max(SOUND_NEEDS_KM, in_one_go_km)
    return Task(
        kind=finding.kind,
        pattern=pattern,
        count=finding.count,
        bunches=_bunches(finding, driving, counted) if pattern == "intermittent" else finding.count,
        counted=counted,
        before_km=before_km,
        seen_share=seen_share,
        needed_km=needed_km,
        in_one_go_km=in_one_go_km,
        bands=_bands_to_repeat(shown.sum(axis=1), drive_km.sum(axis=1), finding.kind),
        turns=_to_repeat(shown.sum(axis=0), drive_km.sum(axis=0), DOMINANT_SHARE),
        only_band=only_band,
        only_turn=only_turn,
    )


def measure_progress(task: Task, after: CornerJudgement) -> Progress:
    """Say how far a second drive, clean at this corner, has come with a task."""
    km = after.coverage.km
    band_km, turn_km = km.sum(axis=1), km.sum(axis=0)
    clean_km = float(km[task.counted].sum())
    missing_km = _lacking(task.needed_km, clean_km)
    # What one drive misses of the way, the missing distance says already.
    too_short = not missing_km and _lacking(task.in_one_go_km, after.coverage.longest_km) > 0
    return Progress(
        clean_km=clean_km,
        missing_km=missing_km,
        one_go_km=task.in_one_go_km if too_short else 0.0,
        missing_bands=_missing(task.bands, band_km),
        missing_turns=_missing(task.turns, turn_km),
        unread_km=_lacking(SOUND_NEEDS_KM, after.coverage.read_km),
        unseen=tuple(entry.why for entry in after.not_judged if entry.kind == task.kind),
    )


def lay_out_driving(task: Task, progress: Progress) -> ToDrive:
    """Put together the driving still to do; what a longer piece of it holds is not said again."""
    lengths = [
        (task.where, progress.missing_km),
        (" in one drive without a break", progress.one_go_km),
        (" above 15 km/h", 0.0 if progress.missing_km else progress.unread_km),
        *(
            (f" {_say_band_to_drive(i)}", km)
            for i, km in progress.missing_bands.items()
            if i != task.only_band or km > progress.missing_km
        ),
        *(
            (f" {_TURN_WORDS[i]}", km)
            for i, km in progress.missing_turns.items()
            if i != task.only_turn or km > progress.missing_km
        ),
    ]
    return ToDrive(
        km_by_condition={where: km for where, km in lengths if km},
        unseen=tuple(
            f"a drive that can show {KIND_WORDS[task.kind]} (this one could not: {why})"
            for why in progress.unseen
        ),
    )


def _say_band_to_drive(position: int) -> str:
    """Return a speed band in words, and how one comes to drive in the lowest."""
    words = say_band(SPEED_BANDS_KPH[position])
    return f"{words} (set off gently, roll to a stop)" if position == _LOWEST_BAND else words


def _pattern(finding: Finding, driving: Driving) -> Pattern:
    if finding.kind == "late_pickup":  # shows at every start, over no distance
        return "constant"
    way_km = float(driving.km_where(driving.time_s >= finding.from_s).sum())
    shown_km = float(driving.km_within(finding.spans).sum())
    if way_km == 0:
        return "intermittent" if finding.kind in _BY_NATURE_INTERMITTENT else "constant"
    return "constant" if shown_km >= CONSTANT_SHARE * way_km else "intermittent"


def _in_turns(km: float, where: str) -> str:
    """Return how many turns a distance of turning is, where it is driven at junctions."""
    at_junctions = where in _AT_JUNCTIONS and km <= _COUNTED_KM
    turns = math.ceil(km / JUNCTION_KM - _HAIR_KM)
    return f" (about {turns} turn{'' if turns == 1 else 's'} at junctions)" if at_junctions else ""


def _goes_with(finding: Finding) -> tuple[int | None, int | None]:
    """Positions of the speed band and of the turn that the evidence says the fault goes with."""
    lowest = [low for low, _ in SPEED_BANDS_KPH]
    band, turn = (finding.evidence.get(key) for key in (GOES_WITH_BAND, GOES_WITH_TURN))
    return (
        lowest.index(band) if band in lowest else None,
        TURNS.index(turn) if turn in TURNS else None,
    )


def _condition(only_band: int | None, only_turn: int | None) -> NDArray[np.bool_]:
    counted = np.ones((len(SPEED_BANDS_KPH), len(TURNS)), np.bool_)
    if only_band is not None:
        counted[np.arange(len(SPEED_BANDS_KPH)) != only_band] = False
    if only_turn is not None:
        counted[:, np.arange(len(TURNS)) != only_turn] = False
    return counted


def _times_by_cell(finding: Finding, driving: Driving) -> Cells:
    """How often the fault began in each speed band and turn."""
    starts = np.searchsorted(driving.time_s, [span.from_s for span in finding.spans])
    rows = starts[starts < len(driving.time_s)]
    times = np.zeros((len(SPEED_BANDS_KPH), len(TURNS)))
    np.add.at(times, (driving.band[rows], driving.turn[rows]), 1.0)
    return times


def _bunches(finding: Finding, driving: Driving, counted: NDArray[np.bool_]) -> int:
    """In how many bunches the fault showed, along the distance that counts."""
    km = np.cumsum(driving.step_km * counted[driving.band, driving.turn])
    if not len(km):
        return finding.count
    starts = np.searchsorted(driving.time_s, [span.from_s for span in finding.spans])
    at_km = km[np.minimum(starts, len(km) - 1)]
    together = len(at_km) - count_bunches(at_km, float(km[-1]))
    return max(1, finding.count - together)


def _bands_to_repeat(shown: Cells, drive_km: Cells, kind: FaultKind) -> Mapping[int, float]:
    """Speed bands to drive again. The lowest only where the fault shows nowhere else: the others
    cannot be reached without it, and it takes long to drive a distance at walking pace.
    """  # noqa: D205 - one sentence does not hold it
    if kind != "late_pickup" and shown[_LOWEST_BAND + 1 :].any():
        shown = np.where(np.arange(len(shown)) == _LOWEST_BAND, 0.0, shown)
    return _to_repeat(shown, drive_km, SHOWN_SHARE)


def _to_repeat(shown: Cells, drive_km: Cells, share: float) -> Mapping[int, float]:
    """Distance to repeat by position: where at least this share of the fault showed."""
    positions = np.flatnonzero((shown > 0) & (shown >= share * shown.sum()))
    return {int(i): min(REPEAT_KM, SAME_AGAIN * float(drive_km[i])) for i in positions}


def _missing(needs: Mapping[int, float], driven_km: Cells) -> Mapping[int, float]:
    lacking = {i: _lacking(need, float(driven_km[i])) for i, need in needs.items()}
    return {i: km for i, km in lacking.items() if km}


def _lacking(need_km: float, driven_km: float) -> float:
    return need_km - driven_km if driven_km < need_km - _HAIR_KM else 0.0
