"""The optional helper signals, where a DBC is plain about them.

Nothing needs them, so none is taken on a likelihood: one candidate must be left by name and unit,
and a steering angle or a yaw rate must say in its comment which way is positive, for that is what
they are wanted for. A road speed is never taken: most are made from the wheels by the brake unit,
and no name tells those from the others; the vehicle file can name one.
"""

import re
from collections.abc import Iterator
from dataclasses import replace

from canwheel.definitions.dbc import Definitions
from canwheel.definitions.layout import HelperName, SignalPlace
from canwheel.definitions.names import word_set, words_in

_LONGEST_SWITCH = 3
"""A switch or a lamp is a bit or a few. [bits]"""

_SHORTEST_MEASURE = 8
"""A measured quantity is longer. [bits]"""

_ANGLE_UNITS = word_set("deg degree degrees ° grad unit_degreofarc")
_RATE_UNITS = word_set("deg/s °/s degree/s degrees/s grad/s rad/s degpersec degps")

_SPEED = word_set("speed spd velocity vel geschw geschwindigkeit")
_STEERING = word_set("steering steer strg swa lenkwinkel lenkradwinkel sas lws")
_ANGLE = word_set("angle ang position pos winkel lenkwinkel lenkradwinkel swa")
_YAW = word_set("yaw gier gierrate yawrate yrs")
_RATE = word_set("rate gierrate yawrate yaw")
_BRAKE = word_set("brake brk bremse bremspedal")
_PRESSED = word_set("pressed pedal applied switch betaetigt bremspedal")
_LAMP = word_set("lamp light led warning warn telltale mil indicator lampe warnlampe")
_LAMPS: dict[HelperName, frozenset[str]] = {
    "lamp_abs": word_set("abs"),
    "lamp_stability": word_set("esp esc dsc vsc vdc stability"),
    "lamp_brake": word_set("ebd brakesystem parkbrake"),
}
_NOT_THE_THING = word_set(
    "valid validity invalid quality qual qf status stat sts state error err fault fehler flag",
    "checksum crc counter cnt offset limit max min target tgt request req cmd command set setpoint",
    "cruise acc display cluster gps radar object obj torque tq trq force pressure temp target",
    "raw avg mean disp engine motor park parking hand epb hold",
)
"""Words by which a signal is about such a quantity and is not it."""

_LEFT_POSITIVE = re.compile(
    r"(?:positive|\+|>\s*0)\W{0,3}(?:is|=|:|means|to|when|for|turn\w*|the|\s)*left"
    r"|left\W{0,3}(?:is|=|:|turn\w*|\s)*(?:positive|\+)",
    re.IGNORECASE,
)
_RIGHT_POSITIVE = re.compile(_LEFT_POSITIVE.pattern.replace("left", "right"), re.IGNORECASE)

_LEFT, _RIGHT = word_set("left links"), word_set("right rechts")
_SIDE_FLAG = word_set("is to turn turned wheel angle sign side direction dir")
"""Words that the name of a flag for the steering's side may hold beside the side itself: with any
other it is a button on the steering wheel, or the side that the driver sits on."""


def plain_helpers(definitions: Definitions) -> dict[HelperName, SignalPlace]:
    """Return the helpers about which a DBC leaves no doubt.

    Parameters
    ----------
    definitions : of the DBC.

    Returns
    -------
    Places by helper; a steering angle or a yaw rate that counts to the right is turned round, so
    that left is positive.
    """
    places = [signal.place for message in definitions.messages for signal in message.signals]
    found: dict[HelperName, list[SignalPlace]] = {}
    for place in places:
        for name in _helpers_that_it_is(place):
            found.setdefault(name, []).append(place)
    single = {name: places[0] for name, places in found.items() if len(places) == 1}
    helpers = {name: _left_positive(name, place) for name, place in single.items()}
    plain = {name: place for name, place in helpers.items() if place is not None}
    flags = [flag for place in places if (flag := steering_side(place)) is not None]
    sized = {place.message for place in found.get("steering", ()) if not place.bits.is_signed}
    if "steering" not in plain and len(flags) == 1 and flags[0].message in sized:
        plain["steering"] = flags[0]
    return plain


def steering_side(place: SignalPlace) -> SignalPlace | None:
    """Return the flag that tells to which side the steering is turned, 1 for left, -1 for right.

    Where the angle is sent as a size and a side, the side alone tells which way the car turns.
    None where a signal is no such flag by its length and name.
    """
    words = set(words_in(place.signal))
    left, right = bool(words & _LEFT), bool(words & _RIGHT)
    others = words - _STEERING - _SIDE_FLAG - _LEFT - _RIGHT
    if place.bits.length > 1 or others or left == right or not words & _STEERING:
        return None
    scale, offset = (2.0, -1.0) if left else (-2.0, 1.0)
    return replace(place, scale=scale, offset=offset, minimum=-1.0, maximum=1.0)


def _helpers_that_it_is(place: SignalPlace) -> Iterator[HelperName]:
    """Yield the helpers that a signal can be by its name and unit."""
    words = set(words_in(place.signal))
    if not words.isdisjoint(_NOT_THE_THING) or place.multiplex:
        return
    unit = place.unit.lower().replace(" ", "")
    measured = place.bits.length >= _SHORTEST_MEASURE
    is_angle = unit in _ANGLE_UNITS and words & _ANGLE and words.isdisjoint(_RATE | _SPEED)
    if measured and is_angle and words & _STEERING:
        yield "steering"
    if measured and unit in _RATE_UNITS and words & _YAW and words & _RATE:
        yield "yaw_rate"
    if place.bits.length > _LONGEST_SWITCH or place.unit:
        return
    if words & _BRAKE and words & _PRESSED and words.isdisjoint(_LAMP):
        yield "brake"
    for lamp, system in _LAMPS.items():
        if words & system and words & _LAMP:
            yield lamp


def _left_positive(name: HelperName, place: SignalPlace) -> SignalPlace | None:
    """Return a place that counts to the left, None when nobody says which way it counts."""
    if name not in ("steering", "yaw_rate"):
        return place
    left = _LEFT_POSITIVE.search(place.comment) is not None
    right = _RIGHT_POSITIVE.search(place.comment) is not None
    if left == right:
        return None
    if left:
        return place
    lowest, highest = place.minimum, place.maximum
    return replace(
        place,
        scale=-place.scale,
        offset=-place.offset,
        minimum=None if highest is None else -highest,
        maximum=None if lowest is None else -lowest,
    )
