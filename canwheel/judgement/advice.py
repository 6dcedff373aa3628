"""What to do next: the checks at a faulty corner in their order, or the driving still to do.

The order is common practice: look first, then what is cheap and often to blame (connector,
wiring), then the seat of the sensor and its air gap, ring, bearing, comparison with the mirror
side, and the brake unit last. It follows the technician guidelines of the US Department of
Transportation (FHWA-MC-98-008, 1998, section III and table 3) where they speak of it; the rest is
common practice, no source. The maker's service information comes first, and the text says so.
"""

from collections.abc import Iterable, Sequence

from canwheel.corners import Corner, Side
from canwheel.judgement.proof import SELDOM_COUNT, Proof
from canwheel.judgement.verdict import SOUND_NEEDS_KM, CornerJudgement, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_km_to_drive, say_list
from canwheel.outcome import (
    GOES_WITH_TURN,
    OF_BOTH_PAIRS,
    OFF_S,
    REPEATED_S,
    FaultKind,
    Finding,
)
from canwheel.plain_text import capital

_LOOK = (
    "look at its sensor and cable: chafed, pinched or torn off, sensor or ring missing, rust or "
    "swarf under the sensor"
)
_CONNECTOR = (
    "open its connector: water, green or bent pins, a lock that does not hold; clean it and plug "
    "it in until it locks"
)
_WIRING = (
    "follow its wiring to the brake unit: wiggle it, stretch it as steering and suspension do, and "
    "test it for opens and for shorts to earth, to supply and to each other"
)
_ELECTRICAL = (
    "test its sensor. Active (it has a supply): supply voltage and current levels as the service "
    "information gives them, and never an ohmmeter. Passive (a coil): resistance, and the voltage "
    "it makes when the wheel is turned by hand, both against {mirror}"
)
_GAP = (
    "check how its sensor sits: flat, tight, no rust below it, air gap as the service information "
    "gives it"
)
_RING = (
    "turn the wheel a whole turn by hand and look at its ring: cracks, missing or bent teeth, "
    "dirt, running out of true; a magnetic ring needs a test card of its own"
)
_BEARING = "check its wheel bearing for play and run-out, which move the ring off the sensor"
_COMPARE = (
    "compare it part by part with {mirror}. Where the service information allows it, swap the two "
    "sensors: a fault that moves with the sensor is the sensor, one that stays is cable or unit"
)
_UNIT = "suspect the brake unit last, after its supply, its earth and its plug have been tested"
_TYRES = (
    "read the tyre size on the side wall of all four wheels, then check pressure and wear: an odd "
    "tyre or a spare wheel reads like this"
)
_TEETH = (
    "count the teeth of its ring against {mirror}: a hub, shaft or bearing for another version has "
    "another number"
)
_PLACES = (
    "follow its cable and that of {other} from the wheel to the plug of the brake unit: two "
    "connectors of the same shape have been exchanged"
)
_DEFINITIONS = (
    "if nobody has worked there, check the DBC and the [wheels] lines of the vehicle file: they "
    "may name the corners wrongly"
)
_SHARED = (
    "do not look for it at the wheel: the unit's whole message fails. Test supply, earth and plug "
    "of the brake unit, then the bus wiring and its end resistors"
)
_RECORDER = (
    "make sure that the recorder itself lost nothing: record again with nothing else running"
)
_CODES = "read and note the stored codes of the brake unit: it says itself that it has no value"
_GIVEN_UP = (
    "read and note the stored codes of the brake unit: they may name the signal that it has given "
    "up"
)
_CODING = (
    "check the coding of the brake unit, and whether it puts another wheel's value in the place of "
    "one that it has given up"
)
_OF_THE_UNIT = frozenset({_CODES, _GIVEN_UP, _CODING, _DEFINITIONS})
"""Checks that are done once, however many corners are faulty."""

_CABLE_TURNING = (
    "it goes with turning {turn}: hold the steering at full lock that way and look where the cable "
    "is stretched or rubs"
)

_CHECKS: dict[FaultKind, tuple[str, ...]] = {
    "no_signal": (
        _LOOK,
        _CONNECTOR,
        _WIRING,
        _ELECTRICAL,
        _GAP,
        _RING,
        _BEARING,
        _COMPARE,
        _UNIT,
    ),
    "late_pickup": (_LOOK, _GAP, _BEARING, _RING, _CONNECTOR, _ELECTRICAL, _COMPARE),
    "dropout": (_LOOK, _CONNECTOR, _WIRING, _GAP, _BEARING, _RING, _ELECTRICAL, _COMPARE, _UNIT),
    "frozen": (_GIVEN_UP, _CONNECTOR, _WIRING, _ELECTRICAL, _COMPARE, _UNIT),
    "ring_damage": (_LOOK, _RING, _BEARING, _GAP, _COMPARE),
    "wrong_ratio": (_TYRES, _TEETH, _CODING),
    "crossed": (_PLACES, _DEFINITIONS, _CODING),
    "erratic": (_LOOK, _CONNECTOR, _WIRING, _GAP, _RING, _BEARING, _ELECTRICAL, _COMPARE),
    "flagged_invalid": (_CODES, _LOOK, _CONNECTOR, _WIRING, _ELECTRICAL, _COMPARE, _UNIT),
    "message_missing": (_RECORDER, _SHARED),
    "copied": (_DEFINITIONS, _GIVEN_UP, _CODING),
}

_FOR_A_TIME: dict[str, tuple[str, ...]] = {
    OFF_S: _CHECKS["erratic"],
    REPEATED_S: (_GIVEN_UP, _CODING, *_CHECKS["frozen"][1:]),
}
"""By the evidence: no tyre, ring or DBC changes on the way; what is so for a part of the drive only
is a signal that is lost at times, whatever the unit makes of it."""

_OF_THE_WHOLE_UNIT: tuple[FaultKind, ...] = ("message_missing",)
"""Kinds that are not looked for at a wheel, so that a list for every corner would say one thing
four times."""

_DRIVES: dict[FaultKind, str] = {
    "no_signal": "drive 0.5 km above 15 km/h",
    "late_pickup": "set off gently from a standstill and roll to a stop again, five times",
    "dropout": "drive several kilometres over the road on which the complaint arises",
    "frozen": "drive 0.5 km with changing speed",
    "ring_damage": (
        "drive 1 km straight, half of it at a steady 15 km/h and half at 30 to 40 km/h"
    ),
    "wrong_ratio": "drive 0.5 km straight at a steady speed above 40 km/h",
    "crossed": "make two tight turns each way below 30 km/h, as round a roundabout",
    "erratic": "drive 1 km with changing speed",
    "flagged_invalid": "drive 0.5 km above 15 km/h",
    "message_missing": "drive 1 km with the recorder running throughout",
    "copied": "make two turns each way, so that no two wheels can run alike",
}
"""What shows each kind, in words that a driver can follow on a public road."""

_SERVICE_FIRST = (
    "Take the maker's service information for this vehicle: its values and its order of tests come "
    "before this list"
)
_PROVE = (
    "After the repair record the same route again and let compare judge both drives: a lamp that "
    "stays out is no proof yet"
)
_FIT = (
    "Put the DBC right, or get the one of this car: it does not fit what was recorded of "
    "{corners}, and no further drive shows more before it does"
)
_SEVERAL = (
    "{corners} show the same: begin with what they share, which is supply, earth and plug of the "
    "brake unit, and the last work done"
)

_STOOD_AXLE = (
    "If the car was driven on the road, not on rollers, jacked up or towed, both signals of the "
    "axle that seems to stand are missing: begin with what the two share, which is supply, earth "
    "and plug of the brake unit, then look at both sensors and cables"
)
_SELDOM = (
    "So much is needed at the {corner} because the fault showed only {times} in {before_km:.1f} km "
    "before the repair: over less, it could stay away by chance with nothing repaired. Any other "
    "recording from before the repair that shows it, given with --before, makes it less as a rule"
)


def advise(
    judgement: Judgement, drive_side: Side | None, *, unfit: Sequence[Corner] = ()
) -> tuple[str, ...]:
    """What to check or to drive next, in order.

    Parameters
    ----------
    judgement : of one drive.
    drive_side : side the steering wheel is on, to spell the corners out.
    unfit : corners for which the DBC does not fit: no drive shows them before it is put right.
    """
    faulty = judgement.with_verdict("faulty")
    first = _put_right(unfit, drive_side)
    again = _drive_again(judgement, drive_side, unfit)
    if not faulty:
        rest = [] if unfit else _drives_for_the_rest(judgement)
        return tuple(f"{step}." for step in (*first, *again, *rest))
    told_of_unit: set[str] = set()
    checks = [
        *_unit_checks(faulty, drive_side),
        *(step for judged in faulty for step in _corner_checks(judged, drive_side, told_of_unit)),
    ]
    shared = _shared_causes(faulty, drive_side)
    steps = [*first, _SERVICE_FIRST, *shared, *checks, _PROVE, *again]
    return tuple(f"{step}." for step in steps)


def advise_comparison(
    proof: Proof, after: Judgement, drive_side: Side | None, *, unfit: Sequence[Corner] = ()
) -> tuple[str, ...]:
    """What to check or to drive next after two drives, in order.

    Parameters
    ----------
    proof : of the two.
    after : the second drive.
    drive_side, unfit : as for `advise`, of the second drive.
    """
    if proof.verdict in {"repair_proven", "nothing_to_prove"}:
        return ()
    if proof.verdict in {"fault_still_there", "new_fault"}:
        return advise(after, drive_side, unfit=unfit)
    steps = [f"{step}." for step in _put_right(unfit, drive_side)]
    again = _drive_again(after, drive_side, unfit)
    if proof.to_drive.phrases:
        more = say_list(proof.to_drive.phrases)
        steps.append(
            f"Drive and record {more}. Then compare again with all recordings made after the "
            "repair: they add up."
        )
    steps += [f"{step}." for step in (*_say_why_so_far(proof, drive_side), *again)]
    if not proof.claims:
        steps.append(
            "The first drive shows no fault that is sure enough to be proven gone: compare with "
            "one that shows it."
        )
    return tuple(dict.fromkeys(steps))


def _say_why_so_far(proof: Proof, drive_side: Side | None) -> list[str]:
    """Why a fault that showed once or twice takes many times the first drive, and what helps."""
    return [
        _SELDOM.format(
            corner=claim.corner.described(drive_side),
            times="twice" if claim.count > 1 else "once",
            before_km=claim.before_km,
        )
        for claim in proof.claims
        if claim.pattern == "intermittent"
        and claim.count <= SELDOM_COUNT
        and not claim.still_there
        and claim.clean_km < claim.clean_km_needed
    ]


def _unit_checks(faulty: tuple[CornerJudgement, ...], drive_side: Side | None) -> Iterable[str]:
    """The checks that no corner has for itself, told once for all that show such a fault."""
    for kind in _OF_THE_WHOLE_UNIT:
        having = [j.corner for j in faulty if any(f.kind == kind for f in j.faults)]
        if having:
            names = say_list([corner.described(drive_side) for corner in having])
            first, *rest = _CHECKS[kind]
            yield capital(f"{names}, {KIND_WORDS[kind]}: {first}")
            yield from map(capital, rest)


def _corner_checks(
    judged: CornerJudgement, drive_side: Side | None, told_of_unit: set[str]
) -> Iterable[str]:
    """The checks at one corner, each once; the first for each fault names corner and fault.

    `told_of_unit` gathers what was told already of the unit and its files, or of a pair of cables.
    """
    told: set[str] = set()
    for finding in judged.faults:
        if finding.kind in _OF_THE_WHOLE_UNIT:
            continue
        subject = f"{judged.corner.described(drive_side)}, {KIND_WORDS[finding.kind]}: "
        for template in _templates(finding):
            place = _told_as(template, finding)
            known = told if place is None else told_of_unit
            if (place or template) in known:
                continue
            known.add(place or template)
            step = template.format(
                mirror=judged.corner.mirror.described(drive_side),
                other=_other_corner(finding).described(drive_side),
                turn=finding.evidence.get(GOES_WITH_TURN),
            )
            yield capital(subject + step)
            subject = ""


def _told_as(template: str, finding: Finding) -> str | None:
    """What a check is about where it is no corner's own: the unit, or both cables of a pair."""
    if template == _PLACES:
        return f"{template} {sorted((finding.corner, _other_corner(finding)))}"
    return template if template in _OF_THE_UNIT else None


def _templates(finding: Finding) -> tuple[str, ...]:
    if finding.evidence.get(OF_BOTH_PAIRS):
        # Nobody crosses four connectors so easily as a file names two axles the wrong way round.
        return (_DEFINITIONS, *(step for step in _CHECKS[finding.kind] if step != _DEFINITIONS))
    for_a_time = (_FOR_A_TIME[key] for key in finding.evidence if key in _FOR_A_TIME)
    checks = next(for_a_time, _CHECKS[finding.kind])
    turning = finding.evidence.get(GOES_WITH_TURN) in {"left", "right"}
    return (_CABLE_TURNING, *checks) if turning else checks


def _other_corner(finding: Finding) -> Corner:
    code = finding.evidence.get("with")
    others = (finding.corner.mirror, finding.corner.same_side, finding.corner.mirror.same_side)
    return next((other for other in others if other == code), finding.corner.mirror)


def _shared_causes(faulty: tuple[CornerJudgement, ...], drive_side: Side | None) -> tuple[str, ...]:
    """A hint where several corners have a fault of one kind that is a wheel's own as a rule."""
    for kind in KIND_WORDS:
        having = [j.corner for j in faulty if any(f.kind == kind for f in j.faults)]
        if len(having) > 1 and kind not in {"crossed", "copied", "message_missing"}:
            names = say_list([corner.described(drive_side) for corner in having])
            return (_SEVERAL.format(corners=capital(names)),)
    return ()


def _put_right(unfit: Sequence[Corner], drive_side: Side | None) -> list[str]:
    """What comes before everything else where the DBC does not fit some corners."""
    names = say_list([corner.described(drive_side) for corner in unfit])
    return [_FIT.format(corners=names)] if unfit else []


def _drive_again(
    judgement: Judgement, drive_side: Side | None, unfit: Sequence[Corner]
) -> list[str]:
    """What to drive before the corners can be judged that this drive left open."""
    steps = []
    for judged in judgement.with_verdict("doubtful"):
        signs = say_list([KIND_WORDS[finding.kind] for finding in judged.findings])
        steps.append(
            f"Buy no part for {judged.corner.described(drive_side)} yet: there are signs of "
            f"{signs}, too few to act on. {capital(_DRIVES[judged.findings[0].kind])}, and check "
            "again"
        )
    untested = [j for j in judgement.with_verdict("untested") if j.corner not in unfit]
    if untested:
        if any(event.kind == "one_axle_turning" for event in judgement.events):
            steps.append(_STOOD_AXLE)
        names = say_list([judged.corner.described(drive_side) for judged in untested])
        short_km = max(SOUND_NEEDS_KM - judged.coverage.read_km for judged in untested)
        steps.append(
            f"Drive another {say_km_to_drive(short_km)} above 15 km/h, straight and both ways "
            f"round, with a stop, to test {names}"
        )
    return steps


def _drives_for_the_rest(judgement: Judgement) -> list[str]:
    """What to drive to see the kinds that this drive could not show, each kind once."""
    kinds = dict.fromkeys(entry.kind for j in judgement.corners for entry in j.not_judged)
    return [f"To test for {KIND_WORDS[kind]} as well, {_DRIVES[kind]}" for kind in kinds]
