"""What to do next: the checks at a faulty corner in their order, or the driving still to do.

The order is common practice: look first, then what is cheap and often to blame (connector,
wiring), then the seat of the sensor and its air gap, ring, bearing, comparison with the mirror
side, and the brake unit last. It follows the technician guidelines of the US Department of
Transportation (FHWA-MC-98-008, 1998, section III and table 3) where they speak of it; the rest is
common practice, no source. The maker's service information comes first, and the text says so.
"""

from collections.abc import Iterable

from canwheel.corners import Side
from canwheel.judgement.proof import Proof
from canwheel.judgement.verdict import SOUND_NEEDS_KM, CornerJudgement, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_km_to_drive, say_list
from canwheel.outcome import GOES_WITH_TURN, FaultKind, Finding

_LOOK = (
    "Look at {here}: cable chafed, pinched or torn off, sensor or ring missing, rust or swarf "
    "under the sensor"
)
_CONNECTOR = (
    "Open the connector of {here}: water, green or bent pins, a lock that does not hold; clean it "
    "and plug it in until it locks"
)
_WIRING = (
    "Follow the wiring from {here} to the brake unit: wiggle it, stretch it as steering and "
    "suspension do, and test it for opens and for shorts to earth, to supply and to each other"
)
_ELECTRICAL = (
    "Test the sensor of {here}. Active (it has a supply): supply voltage and current levels as the "
    "service information gives them, and never an ohmmeter. Passive (a coil): resistance, and the "
    "voltage it makes when the wheel is turned by hand, both against {mirror}"
)
_GAP = (
    "Check how the sensor of {here} sits: flat, tight, no rust below it, air gap as the service "
    "information gives it"
)
_RING = (
    "Turn the wheel at {here} a whole turn by hand and look at its ring: cracks, missing or bent "
    "teeth, dirt, running out of true; a magnetic ring needs its own test card"
)
_BEARING = (
    "Check the wheel bearing at {here} for play and run-out: it moves the ring off the sensor"
)
_COMPARE = (
    "Compare with {mirror}, part by part. Where the service information allows it, swap the two "
    "sensors: a fault that moves with the sensor is the sensor, one that stays is cable or unit"
)
_UNIT = "Suspect the brake unit last, after its supply, its earth and its plug have been tested"
_TYRES = (
    "Read the tyre size on the side wall of all four wheels, then check pressure and wear: an odd "
    "tyre or a spare wheel reads like this"
)
_TEETH = (
    "Count the teeth of the ring at {here} against {mirror}: a hub, shaft or bearing for another "
    "version has another number"
)
_PLACES = (
    "Follow both cables, {here} and {other}, from the wheel to the plug of the brake unit: two "
    "connectors of the same shape have been exchanged"
)
_DEFINITIONS = (
    "If nobody has worked there, check the DBC and the [wheels] lines of the vehicle file: they "
    "may name the corners wrongly"
)
_SHARED = (
    "Do not look for it at the wheel: the unit's whole message fails. Test supply, earth and plug "
    "of the brake unit, then the bus wiring and its end resistors"
)
_RECORDER = (
    "Make sure that the recorder itself lost nothing: record again, with nothing else running"
)
_CODES = "Read and note the stored codes of the brake unit: it says itself that it has no value"
_CODING = (
    "Check the coding of the brake unit, and whether it puts another wheel's value in the place of "
    "one that it has given up"
)
_CABLE_TURNING = (
    "It goes with turning {turn}: hold the steering at full lock that way and look where the cable "
    "of {here} is stretched or rubs"
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
    "frozen": (_CODES, _CONNECTOR, _WIRING, _ELECTRICAL, _COMPARE, _UNIT),
    "ring_damage": (_LOOK, _RING, _BEARING, _GAP, _COMPARE),
    "wrong_ratio": (_TYRES, _TEETH, _CODING),
    "crossed": (_PLACES, _DEFINITIONS, _CODING),
    "erratic": (_LOOK, _CONNECTOR, _WIRING, _GAP, _RING, _BEARING, _ELECTRICAL, _COMPARE),
    "flagged_invalid": (_CODES, _LOOK, _CONNECTOR, _WIRING, _ELECTRICAL, _COMPARE, _UNIT),
    "message_missing": (_RECORDER, _SHARED),
    "copied": (_DEFINITIONS, _CODES, _CODING),
}

_DRIVES: dict[FaultKind, str] = {
    "no_signal": "drive 0.5 km above 15 km/h",
    "late_pickup": "set off gently from a standstill and roll to a stop again, five times",
    "dropout": "drive several kilometres over the road on which the complaint arises",
    "frozen": "drive 0.5 km with changing speed",
    "ring_damage": "drive 1 km straight at a steady 30 to 40 km/h",
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
_SEVERAL = (
    "{corners} show the same: begin with what they share, which is supply, earth and plug of the "
    "brake unit, and the last work done"
)


def advise(judgement: Judgement, drive_side: Side | None) -> tuple[str, ...]:
    """What to check or to drive next, in order.

    Parameters
    ----------
    judgement : of one drive.
    drive_side : side the steering wheel is on, to spell the corners out.
    """
    faulty = judgement.with_verdict("faulty")
    steps = [step for judged in faulty for step in _corner_checks(judged, drive_side)]
    if faulty:
        shared = _shared_causes(faulty, drive_side)
        steps = [_SERVICE_FIRST, *shared, *dict.fromkeys(steps), _PROVE]
    again = _drive_again(judgement, drive_side)
    if not faulty:
        again += _drives_for_the_rest(judgement)
    return tuple(f"{step}." for step in (*steps, *again))


def advise_comparison(proof: Proof, after: Judgement, drive_side: Side | None) -> tuple[str, ...]:
    """What to check or to drive next after two drives, in order.

    Parameters
    ----------
    proof : of the two.
    after : the second drive.
    drive_side : side the steering wheel is on, to spell the corners out.
    """
    if proof.verdict in {"repair_proven", "nothing_to_prove"}:
        return ()
    if proof.verdict in {"fault_still_there", "new_fault"}:
        return advise(after, drive_side)
    steps = [f"Drive {phrase}, and compare again." for phrase in proof.to_drive]
    steps += [f"{step}." for step in _drive_again(after, drive_side)]
    if not proof.claims:
        steps.append(
            "The first drive shows no fault that is sure enough to be proven gone: compare with "
            "one that shows it."
        )
    return tuple(dict.fromkeys(steps))


def _corner_checks(judged: CornerJudgement, drive_side: Side | None) -> Iterable[str]:
    for finding in judged.faults:
        for template in _templates(finding):
            yield template.format(
                here=judged.corner.described(drive_side),
                mirror=judged.corner.mirror.words,
                other=_other_corner(finding),
                turn=finding.evidence.get(GOES_WITH_TURN),
            )


def _templates(finding: Finding) -> tuple[str, ...]:
    turning = finding.evidence.get(GOES_WITH_TURN) in {"left", "right"}
    return (_CABLE_TURNING, *_CHECKS[finding.kind]) if turning else _CHECKS[finding.kind]


def _other_corner(finding: Finding) -> str:
    code = finding.evidence.get("with")
    others = (finding.corner.mirror, finding.corner.same_side, finding.corner.mirror.same_side)
    named = next((other for other in others if other == code), finding.corner.mirror)
    return named.words


def _shared_causes(faulty: tuple[CornerJudgement, ...], drive_side: Side | None) -> tuple[str, ...]:
    """A hint where several corners have a fault of one kind that is a wheel's own as a rule."""
    for kind in KIND_WORDS:
        having = [j.corner for j in faulty if any(f.kind == kind for f in j.faults)]
        if len(having) > 1 and kind not in {"crossed", "copied", "message_missing"}:
            names = say_list([corner.described(drive_side) for corner in having])
            return (_SEVERAL.format(corners=names[0].upper() + names[1:]),)
    return ()


def _drive_again(judgement: Judgement, drive_side: Side | None) -> list[str]:
    """What to drive before the corners can be judged that this drive left open."""
    steps = []
    for judged in judgement.with_verdict("doubtful"):
        signs = say_list([KIND_WORDS[finding.kind] for finding in judged.findings])
        steps.append(
            f"Buy no part for {judged.corner.described(drive_side)} yet: there are signs of "
            f"{signs}, too few to act on. {_capital(_DRIVES[judged.findings[0].kind])}, and check "
            "again"
        )
    untested = judgement.with_verdict("untested")
    if untested:
        names = say_list([judged.corner.described(drive_side) for judged in untested])
        short_km = max(SOUND_NEEDS_KM - judged.coverage.read_km for judged in untested)
        steps.append(
            f"Drive another {say_km_to_drive(short_km)} above 15 km/h, straight and both ways "
            f"round, with a stop, to test {names}"
        )
    return steps


def _drives_for_the_rest(judgement: Judgement) -> list[str]:
    """What to drive to see the kinds that this drive could not show, each kind once."""
    whys: dict[FaultKind, dict[str, None]] = {}
    for judged in judgement.corners:
        for entry in judged.not_judged:
            whys.setdefault(entry.kind, {})[entry.why] = None
    return [
        f"To test for {KIND_WORDS[kind]} as well, {_DRIVES[kind]} (not shown yet: {'; '.join(why)})"
        for kind, why in whys.items()
    ]


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
