"""The cautions that go with a judgement: those that fit what was found, and no others.

Common practice of workshops and road tests, no source, except where a line says so.
"""

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import WheelLayout
from canwheel.judgement.conditions import clean_km_needed
from canwheel.judgement.proof import SELDOM_COUNT, Proof
from canwheel.judgement.verdict import Judgement
from canwheel.judgement.wording import say_km_to_drive, say_list
from canwheel.track.direction import find_opposite_sign
from canwheel.track.no_speed import NoSpeed
from canwheel.track.units import assumed_scale
from canwheel.track.wheel_track import WheelSamples, WheelTrack
from canwheel.vehicle import Vehicle

_BRAKES = (
    "With a faulty wheel-speed signal the anti-lock and stability systems may not act, or act "
    "wrongly, with or without a lamp: keep speed down and distance up, and never brake hard to "
    "provoke the fault."
)
_TWO_PEOPLE = "On a test drive one person drives and does nothing else; another watches the screen."
_LISTENS = (
    "Who records and judges only listens, and sends nothing to a vehicle. Stored codes are asked "
    "for, and cleared, on one that stands."
)
# Wheels turning clear of the ground: UK MOT inspection manual, section on anti-lock systems
# (seen second-hand).
_RAISED = (
    "Raise the car at its proper points and support it before working at a wheel. Wheels that turn "
    "clear of the ground with the ignition on can set a fault code of their own."
)
_HIGH_VOLTAGE = (
    "A hybrid or electric car may move without a sound and holds dangerous voltage: only trained "
    "people work on it."
)
_CODES = (
    "Save stored codes before clearing any: clearing removes evidence, and the lamp going out is "
    "no proof of a repair."
)
_SCOPE = (
    "The judgement is about the four wheel-speed signals in what was driven, not about brakes, "
    "tyres or the roadworthiness of the car."
)
_RULES = (
    "The maker's service information, local rules and the practice of licensed workshops come "
    "before anything said here."
)
_PUBLIC_ROAD = (
    "Keep to the rules of the road on a route that you know; a fault that needs more to show "
    "itself is looked for on closed ground."
)
# Pins of the diagnostic socket: ISO 15031-3 and ISO 15765-4, from memory.
_PLUG_IN = (
    "Plug in with the ignition off, then switch it on. CAN high is on pin 6 and CAN low on pin 14 "
    "of the diagnostic socket; where a gateway keeps the brake unit's bus from the socket, take "
    "that bus where the maker's wiring diagram shows it. Keep the cable clear of the pedals."
)
_ORDER = (
    "By their clocks the second drive was recorded before the first one: make sure that the two "
    "files are not exchanged."
)
_SAME_FILE = "Both files hold the very same recording: nothing can be proven by it."
_OVERLAP = (
    "By their clocks recordings that are added up overlap: where they hold the same stretch of "
    "road, it is counted twice."
)
_SELDOM = (
    "The fault showed only {times} before the repair. The proof takes the first drive for an "
    "ordinary one; if it was kept because the fault happened to show in it, the fault is rarer "
    "than it seems, and can stay away this long by chance: watch for it on the coming drives."
)

_BUNCHED = (
    "At the {corner} the fault showed in bunches before the repair, {count} times in {bunches}, as "
    "if something that this road has in places shook it. The proof counts every time as one of its "
    "own. Counting bunches, it would need {more} without it: drive those places again."
)
_FALLS_BETWEEN = (
    "What showed at the {corner} before the repair was shorter than the time between two values "
    "after it: of every hundred times about {seen:.0f} would be seen there. The distance that is "
    "needed is longer by that."
)
_ASSUMED = {
    "rolling_circumference_m": (
        "The signals count turns of the wheel and the vehicle file gives no tyre size: "
        "{value:.2f} m a turn is assumed."
    ),
    "ring_teeth": (
        "The signals count pulses and the vehicle file gives no ring_teeth: {value:.0f} pulses a "
        "turn are assumed."
    ),
}
_NO_UNIT = (
    "Nothing says what unit the wheel signals are in: they are taken as km/h, and may be anything "
    "in proportion to it."
)
_ALL_ALIKE = (
    "If that is wrong, all speeds and distances here are wrong by one and the same factor, and so "
    "are the limits they are held to, such as 15 km/h for being tested. How the corners compare "
    "with one another does not depend on it. {remedy}"
)
_GIVE_SIZES = "Give {keys} in the vehicle file."
_GIVE_UNIT = "Compare a held speed with the dash, and give the unit in the DBC."

_CHECK_FIELD = "Check byte order, length and scale in {file}."


def caution_recording() -> tuple[str, ...]:
    """Return the cautions that come before a recording."""
    return (_TWO_PEOPLE, _BRAKES, _PUBLIC_ROAD, _PLUG_IN, _LISTENS, _RULES)


def caution_check(judgement: Judgement) -> tuple[str, ...]:
    """Return the cautions that fit one drive."""
    if judgement.verdict == "all_sound":
        return (_SCOPE, _CODES, _RULES)
    if judgement.verdict == "not_enough_driving":
        return (_TWO_PEOPLE, _BRAKES, _LISTENS, _SCOPE, _RULES)
    return (_BRAKES, _TWO_PEOPLE, _RAISED, _HIGH_VOLTAGE, _CODES, _LISTENS, _RULES)


def caution_scale(layout: WheelLayout, vehicle: Vehicle) -> tuple[str, ...]:
    """Say what speeds in km/h rest on that nobody gave: a tyre, a ring's count, a unit.

    Nothing where the signals are speeds in a unit of their own, or the vehicle file gives it.
    """
    if layout.unit == "proportional":
        return (f"{_NO_UNIT} {_ALL_ALIKE.format(remedy=_GIVE_UNIT)}",)
    assumed = assumed_scale(layout.unit, vehicle)
    if not assumed:
        return ()
    said = " ".join(_ASSUMED[key].format(value=value) for key, value in assumed.items())
    keys = say_list(["tyre" if key == "rolling_circumference_m" else key for key in assumed])
    return (f"{said} {_ALL_ALIKE.format(remedy=_GIVE_SIZES.format(keys=keys))}",)


def caution_fit(track: WheelTrack, layout: WheelLayout) -> tuple[str, ...]:
    """Say where the DBC does not fit what was heard, and what was made of it.

    Corners whose message never came; one that no frame, or not every frame, carries; values that
    can be no speed; and one that counts the other way than the rest.
    """
    said = _say_unheard(track, layout)
    for corner in CORNERS:
        wheel = track.wheel(corner)
        if wheel.is_heard and (len(wheel.time_s) == 0 or wheel.too_short):
            said.append(_say_not_carried(corner, wheel, layout))
        if wheel.no_speed is not None:
            said.append(_say_no_speed(corner, wheel.no_speed, layout))
    said += [_say_opposite(corner, layout) for corner in find_opposite_sign(track)]
    return tuple(said)


def _say_unheard(track: WheelTrack, layout: WheelLayout) -> list[str]:
    """Say of each message that never came whose it is; it may be no message of this car's."""
    silent: dict[str, list[str]] = {}
    for corner in track.unheard:
        place = layout.wheel(corner)
        silent.setdefault(f"{place.message} (0x{place.frame_id:X})", []).append(corner.words)
    return [
        f"{message} was never heard, which by {layout.file} carries {say_list(corners)}: its sender"
        f" is silent, its bus was not recorded, or {layout.file} is not quite this car's. Make sure"
        " of the file before anything is taken apart."
        for message, corners in silent.items()
    ]


def _say_not_carried(corner: Corner, wheel: WheelSamples, layout: WheelLayout) -> str:
    place = layout.wheel(corner)
    message = f"{place.message} (0x{place.frame_id:X})"
    carried = len(wheel.time_s)
    if carried:
        return (
            f"{wheel.too_short:,} of {wheel.too_short + carried:,} frames of {message} are too"
            f" short to carry {place.signal} ({corner.words}). Check that {layout.file} fits the"
            " car, and that the recorder cuts no frames."
        )
    why = (
        "they are all too short for it"
        if wheel.too_short
        else "the multiplexer value that goes with it never comes"
    )
    return (
        f"No frame of {message} carries {place.signal} ({corner.words}): {why}. The corner is not"
        f" judged. Check that {layout.file} fits the car."
    )


def _say_no_speed(corner: Corner, no_speed: NoSpeed, layout: WheelLayout) -> str:
    times = "once" if no_speed.count == 1 else f"{no_speed.count:,} times"
    values = "a value" if no_speed.count == 1 else "values"
    said = (
        f"{layout.wheel(corner).path} ({corner.words}) gives {values} of {no_speed.usual_kph:.4g}"
        f" km/h, {times}, which can be no speed"
    )
    if no_speed.is_misplaced:
        return f"{said}: the corner is not judged. {_CHECK_FIELD.format(file=layout.file)}"
    if no_speed.mark is not None:
        return (
            f"{said}. The raw value {no_speed.mark} comes back and is taken for the unit's mark of"
            f" having no value, though {layout.file} does not say so."
        )
    taken = "it is taken for a jump" if no_speed.count == 1 else "they are taken for jumps"
    return f"{said}: {taken}. {_CHECK_FIELD.format(file=layout.file)}"


def _say_opposite(corner: Corner, layout: WheelLayout) -> str:
    return (
        f"{layout.wheel(corner).path} ({corner.words}) has the opposite sign of the other corners,"
        f" all the way: it counts backwards. Either {layout.file} has its sign wrong, or a sensor"
        " that feels which way the wheel turns is not the right one, or fitted or wired the wrong"
        " way round. Its speed is judged without the sign."
    )


def caution_comparison(
    proof: Proof,
    after: Judgement,
    *,
    exchanged: bool,
    same_file: bool,
    overlapping: bool = False,
) -> tuple[str, ...]:
    """Return the cautions that fit two drives.

    Parameters
    ----------
    proof : of the two.
    after : the second drive.
    exchanged : the second recording is older than the first.
    same_file : both are the same recording.
    overlapping : recordings that are added up overlap in time.
    """
    doubts = (
        *((_ORDER,) if exchanged else ()),
        *((_SAME_FILE,) if same_file else ()),
        *((_OVERLAP,) if overlapping else ()),
        *_seldom(proof),
        *_bunched(proof),
        *_falls_between(proof),
    )
    if proof.verdict == "repair_not_proven":
        return (*doubts, _TWO_PEOPLE, _BRAKES, _CODES, _LISTENS, _SCOPE, _RULES)
    return (*doubts, *caution_check(after))


def _seldom(proof: Proof) -> tuple[str, ...]:
    """A doubt about a proof that rests on a fault seen once or twice."""
    counts = [
        max(1, claim.count)
        for claim in proof.claims
        if claim.proven and claim.pattern == "intermittent"
    ]
    fewest = min(counts, default=SELDOM_COUNT + 1)
    if fewest > SELDOM_COUNT:
        return ()
    return (_SELDOM.format(times="once" if fewest == 1 else "twice"),)


def _bunched(proof: Proof) -> tuple[str, ...]:
    """Doubts about proofs that hold only where each time is taken for a cause of its own."""
    return tuple(
        _BUNCHED.format(
            corner=claim.corner.words,
            count=claim.count,
            bunches="one" if claim.bunches == 1 else claim.bunches,
            more=f"another {say_km_to_drive(needed_km - claim.clean_km)}",
        )
        for claim in proof.claims
        if claim.proven
        and claim.bunches < claim.count
        and (needed_km := clean_km_needed(claim.bunches, claim.before_km) / claim.seen_share)
        > claim.clean_km
    )


def _falls_between(proof: Proof) -> tuple[str, ...]:
    """Doubts about drives whose values come too seldom to hold so short a fault."""
    return tuple(
        _FALLS_BETWEEN.format(corner=claim.corner.words, seen=max(1.0, 100 * claim.seen_share))
        for claim in proof.claims
        if claim.seen_share < 1 and not claim.still_there
    )
