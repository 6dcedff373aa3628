"""Words that the screen and the page share: verdicts, headlines, lamps, proof, times.

What takes a part of a document as well as the judgement it was made of reads the same fields of
both, so that a page can be made of the very numbers that stand in the JSON document.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import PurePath

from canwheel.corners import Corner, Side
from canwheel.definitions.layout import SpeedUnit
from canwheel.fault_memory.against_drive import Relation
from canwheel.judgement.proof import Claim, ComparisonVerdict, CornerRepair, Proof, RepairVerdict
from canwheel.judgement.verdict import CornerJudgement, CornerVerdict, DriveVerdict, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_confidence, say_kinds, say_list
from canwheel.outcome import EventKind, FaultKind, Finding
from canwheel.plain_text import capital
from canwheel.track.coverage import Coverage
from canwheel.track.lamps import USUAL_OUT_S, Lamp, LampName
from canwheel.views.document import ClaimPart, DrivePart, LampPart

_UNIT_WORDS: dict[SpeedUnit, str] = {
    "proportional": "speeds without a unit",
    "pulse count": "counters of ring pulses",
    "pulses/s": "ring pulses a second",
}
"""Units that need more than their sign."""

DRIVE_WORDS: dict[DriveVerdict, str] = {
    "all_sound": "All four sound",
    "fault_found": "Fault found",
    "not_enough_driving": "Not enough driving",
}
COMPARISON_WORDS: dict[ComparisonVerdict, str] = {
    "repair_proven": "Repair proven",
    "fault_still_there": "Fault still there",
    "new_fault": "New fault",
    "repair_not_proven": "Repair not proven yet",
    "nothing_to_prove": "Nothing to prove",
}
CORNER_WORDS: dict[CornerVerdict, str] = {
    "sound": "Sound",
    "faulty": "Faulty",
    "doubtful": "Doubtful",
    "untested": "Untested",
}
REPAIR_WORDS: dict[RepairVerdict, str] = {
    "repaired": "Repaired",
    "sound": "Sound",
    "still_faulty": "Still faulty",
    "newly_faulty": "Newly faulty",
    "not_proven": "Not proven yet",
}
LAMP_WORDS: dict[LampName, str] = {
    "abs": "Anti-lock lamp",
    "stability": "Stability lamp",
    "brake": "Brake lamp",
}
RELATION_WORDS: dict[Relation, str] = {
    "agree": "Agree",
    "disagree": "Disagree",
    "code_without_finding": "Code alone",
    "finding_without_code": "Drive alone",
    "not_compared": "Not compared",
}
"""Stored codes and a drive, in a word or two."""

EVENTS_TITLE = "Looks like a fault and need not be one"
"""What stands over events: of some the sentence says for sure that they are none, of others not."""

_TELLING: Mapping[ComparisonVerdict, RepairVerdict] = {
    "repair_proven": "repaired",
    "fault_still_there": "still_faulty",
    "new_fault": "newly_faulty",
    "repair_not_proven": "not_proven",
}
"""Which corners the headline names."""

_ALL = 4
_MINUTE_S = 60.0


def say_unit(unit: SpeedUnit) -> str:
    """Say what the wheel signals count in."""
    return _UNIT_WORDS.get(unit, f"speeds in {unit}")


def headline_check(judgement: Judgement, side: Side | None) -> str:
    """What one drive's verdict is about: the corners, and what is wrong with them."""
    told = judgement.with_verdict("faulty") or judgement.with_verdict("doubtful")
    if told:
        return _say_corners(told, side)
    if judgement.verdict == "all_sound":
        open_at = [j.corner for j in judgement.corners if j.may_have_dropped_out]
        if open_at:
            names = _name_corners(open_at, side)
            return f"no sure fault in what was driven; {names} may have dropped out"
        return "no fault in what was driven"
    untested = judgement.with_verdict("untested")
    if len(untested) == len(judgement.corners):
        return "no corner could be tested"
    return f"untested: {say_list([j.corner.described(side) for j in untested])}"


def _say_corners(corners: Iterable[CornerJudgement], side: Side | None) -> str:
    return _together(
        ((judged.corner, say_kinds(kinds_of(judged.findings))) for judged in corners), side
    )


def _together(said: Iterable[tuple[Corner, str]], side: Side | None) -> str:
    """Corners of which the same is said, in one breath."""
    corners: dict[str, list[Corner]] = {}
    for corner, words in said:
        corners.setdefault(words, []).append(corner)
    return "; ".join(f"{_name_corners(which, side)}: {words}" for words, which in corners.items())


def _name_corners(corners: Sequence[Corner], side: Side | None) -> str:
    if len(corners) == _ALL:
        return "all four corners"
    return say_list([corner.described(side) for corner in corners])


def headline_comparison(proof: Proof, side: Side | None) -> str:
    """What the verdict on a repair is about: the corners, and what became of them."""
    told = [r for r in proof.corners if r.verdict == _TELLING.get(proof.verdict)]
    if not told:
        sound = proof.verdict == "nothing_to_prove"
        return "both drives are sound" if sound else "the first drive shows no sure fault"
    return _together(((repair.corner, _say_repair(repair)) for repair in told), side)


def _say_repair(repair: CornerRepair) -> str:
    match repair.verdict:
        case "repaired":
            return f"{say_kinds(repair.before)}, now gone"
        case "not_proven":
            return say_kinds(repair.before or repair.after) or "not tested"
        case _:
            return say_kinds(repair.after)


def kinds_of(findings: Iterable[Finding]) -> tuple[FaultKind, ...]:
    """The kinds found, each once."""
    return tuple(dict.fromkeys(finding.kind for finding in findings))


def say_claim(claim: Claim | ClaimPart, side: Side | None) -> str:
    """How far it is proven that one fault of the first drive is gone."""
    subject = f"{capital(claim.corner.described(side))}, {KIND_WORDS[claim.kind]}"
    if claim.still_there:
        return f"{subject}: still there after the repair."
    if claim.pattern == "intermittent":
        times = "once" if claim.count == 1 else f"{claim.count} times"
        return (
            f"{subject}: {times} in {claim.before_km:.1f} km before; now {claim.clean_km:.1f} km "
            f"without it, {claim.clean_km_needed:.1f} km are needed. The repair holds with a "
            f"confidence of {say_confidence(claim.confidence)}; 95% count as proof."
        )
    shown = (
        "what showed it was driven again"
        if claim.proven
        else "what showed it was not all driven again yet"
    )
    return (
        f"{subject}: there all the time before; now {claim.clean_km:.1f} km without it, "
        f"{claim.clean_km_needed:.1f} km are needed, and {shown}."
    )


def say_drive(drive: Coverage | DrivePart) -> str:
    """``6.2 km in 8 min 0 s, up to 58 km/h``."""
    if not drive.moving_s:
        return "the car never moved"
    return (
        f"{drive.distance_km:.1f} km in {say_time(drive.moving_s)}, "
        f"up to {drive.top_speed_kph:.0f} km/h"
    )


def say_turns(drive: Coverage | DrivePart) -> str:
    """``straight 5 min 1 s, left turns 42 s, right turns 38 s, stops 7``."""
    return (
        f"straight {say_time(drive.straight_s)}, left turns {say_time(drive.left_turn_s)}, "
        f"right turns {say_time(drive.right_turn_s)}, stops {drive.stops}"
    )


def say_lamp(lamp: Lamp | LampPart) -> str:
    """What one lamp did, against what is usual."""
    lit = _say_lit(lamp)
    if not lamp.lit_at_start:
        if not lit:
            return "never lit"
        again = "" if lamp.went_out_s is None else f", {_say_out(lamp)}"
        return f"out at first, lit {lit}{again}"
    if lamp.went_out_s is None:
        return "lit throughout"
    out = _say_out(lamp)
    if lamp.out_as_usual is False:
        out += f", later than the usual {USUAL_OUT_S:.0f} s,"
    return f"{out.removesuffix(',')}, lit again {lit}" if lit else f"{out} and stayed out"


def _say_out(lamp: Lamp | LampPart) -> str:
    if lamp.after_moving_s is None:
        return "" if lamp.went_out_s is None else f"out at {_say_at(lamp.went_out_s)}"
    if lamp.after_moving_s < 0:
        return f"out {-lamp.after_moving_s:.1f} s before moving off"
    return f"out {lamp.after_moving_s:.1f} s after moving off"


def _say_lit(lamp: Lamp | LampPart) -> str:
    if lamp.lit_again_s is None:
        return ""
    speed = "" if lamp.lit_again_kph is None else f" at {lamp.lit_again_kph:.0f} km/h"
    return f"at {_say_at(lamp.lit_again_s)}{speed}"


def _say_at(time_s: float) -> str:
    """A time from the start: ``22.2 s``, ``5 min 2 s``."""
    return f"{time_s:.1f} s" if time_s < _MINUTE_S else say_time(time_s)


def say_event(kind: EventKind) -> str:
    """``wheel lock``."""
    return kind.replace("_", " ")


def not_shown(judgement: Judgement, side: Side | None) -> list[str]:
    """Kinds that the driving could not show, those with one reason together."""
    corners: dict[tuple[FaultKind, str], list[CornerJudgement]] = {}
    for judged in judgement.corners:
        for entry in judged.not_judged:
            corners.setdefault((entry.kind, entry.why), []).append(judged)
    return [
        f"{KIND_WORDS[kind]}{_say_where(judged, side)}: {why}"
        for (kind, why), judged in corners.items()
    ]


def _say_where(corners: list[CornerJudgement], side: Side | None) -> str:
    if len(corners) == _ALL:
        return ""
    return f", {_name_corners([judged.corner for judged in corners], side)}"


def say_time(seconds: float) -> str:
    """``42 s``, ``8 min 32 s``, ``1 h 5 min``."""
    minutes, rest_s = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest_s} s" if minutes else f"{rest_s} s"


def say_moment(read_at: str) -> str:
    """An ISO 8601 time as ``2026-11-02 10:00`` of this machine's clock; other text as it is."""
    try:
        return f"{datetime.fromisoformat(read_at).astimezone():%Y-%m-%d %H:%M}"
    except ValueError:  # somebody edited the file
        return read_at


def say_date(epoch_s: float) -> str:
    """A time since 1970 as ``2026-11-02 10:00`` of this machine's clock."""
    return f"{datetime.fromtimestamp(epoch_s, UTC).astimezone():%Y-%m-%d %H:%M}"


def name_drives(single: str, side: str, count: int) -> tuple[str, ...]:
    """Names of one side's drives: ``the first drive``, or ``drive 2 before the repair``."""
    if count == 1:
        return (single,)
    return tuple(f"drive {number} {side} the repair" for number in range(1, count + 1))


def file_name(file: str) -> str:
    """A file's own name, without its folders."""
    return PurePath(file).name


def say_size(size_bytes: int) -> str:
    """``340 kB``, ``5.6 MB``."""
    if size_bytes < _MEGABYTE:
        return f"{size_bytes / 1e3:.0f} kB"
    return f"{size_bytes / _MEGABYTE:.1f} MB"


_MEGABYTE = 1_000_000
