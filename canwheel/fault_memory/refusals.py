"""Why the unit refuses, in words (negative response codes of ISO 14229-1, as udsoncan has them)."""

from canwheel.errors import UnitError

BUSY = 0x21
PENDING = 0x78
NOT_OFFERED = frozenset({0x11, 0x12, 0x7E, 0x7F})
"""The unit does not have this service at all, or not in the session that it is in."""

_SESSION = "it answers this only in another diagnostic session, and canwheel opens none"
_LOCKED = "it wants to be unlocked or authenticated first, and canwheel does not work around that"
_SPEED = "let the car stand still, ignition on, and try again"
_STATE = "bring the vehicle into the state that its service information asks for, and try again"
_ASK_DEALER = "use the maker's own route for this unit"
_AGAIN = "wait a moment and try again"
_ADDRESSES = "check request_id and response_id in [fault_memory]: is this the brake control unit?"

_WORDS: dict[int, tuple[str, str]] = {
    0x10: ("it rejects the request without a reason", _ADDRESSES),
    0x11: ("it does not have this service", _ADDRESSES),
    0x12: ("it does not have this kind of report", _ADDRESSES),
    0x13: ("it finds the request's length or format wrong", _ADDRESSES),
    0x14: ("its answer would be too long for its transport", _ASK_DEALER),
    0x21: ("it is busy, and stayed busy over several tries", _AGAIN),
    0x22: ("the conditions are not correct for it", _STATE),
    0x24: ("it expected another request before this one", _ASK_DEALER),
    0x25: ("a unit behind it does not answer", _AGAIN),
    0x26: ("a failure keeps it from doing this", _ASK_DEALER),
    0x31: ("it finds a value in the request out of its range", _ASK_DEALER),
    0x33: (f"security access denied: {_LOCKED}", _ASK_DEALER),
    0x34: (f"authentication required: {_LOCKED}", _ASK_DEALER),
    0x35: ("invalid key", _ASK_DEALER),
    0x36: ("too many attempts to unlock it were made before", _ASK_DEALER),
    0x37: ("it keeps a waiting time after an attempt to unlock it", _AGAIN),
    0x38: ("it wants secured transmission", _ASK_DEALER),
    0x39: ("it does not allow secured transmission", _ASK_DEALER),
    0x3A: ("it could not verify secured data", _ASK_DEALER),
    0x50: ("certificate: outside its period of validity", _ASK_DEALER),
    0x51: ("certificate: invalid signature", _ASK_DEALER),
    0x52: ("certificate: invalid chain of trust", _ASK_DEALER),
    0x53: ("certificate: invalid type", _ASK_DEALER),
    0x54: ("certificate: invalid format", _ASK_DEALER),
    0x55: ("certificate: invalid content", _ASK_DEALER),
    0x56: ("certificate: invalid scope", _ASK_DEALER),
    0x57: ("certificate: invalid", _ASK_DEALER),
    0x58: ("ownership could not be verified", _ASK_DEALER),
    0x59: ("a challenge could not be calculated", _ASK_DEALER),
    0x5A: ("access rights could not be set", _ASK_DEALER),
    0x5B: ("a session key could not be made", _ASK_DEALER),
    0x5C: ("configuration data could not be used", _ASK_DEALER),
    0x5D: ("authentication could not be ended", _ASK_DEALER),
    0x70: ("it does not accept uploads or downloads", _ASK_DEALER),
    0x71: ("a data transfer was suspended", _ASK_DEALER),
    0x72: ("a general programming failure", _ASK_DEALER),
    0x73: ("a wrong block counter", _ASK_DEALER),
    0x78: ("it asked for more time again and again, and never answered", _AGAIN),
    0x7E: (f"not in the active session: {_SESSION}", _ASK_DEALER),
    0x7F: (f"not in the active session: {_SESSION}", _ASK_DEALER),
    0x81: ("the engine speed is too high", _STATE),
    0x82: ("the engine speed is too low", _STATE),
    0x83: ("the engine is running", _STATE),
    0x84: ("the engine is not running", _STATE),
    0x85: ("the engine has not run long enough", _STATE),
    0x86: ("a temperature is too high", _STATE),
    0x87: ("a temperature is too low", _STATE),
    0x88: ("the vehicle speed is too high", _SPEED),
    0x89: ("the vehicle speed is too low", _STATE),
    0x8A: ("the accelerator pedal is pressed too far", _STATE),
    0x8B: ("the accelerator pedal is not pressed far enough", _STATE),
    0x8C: ("the transmission is not in neutral", _STATE),
    0x8D: ("the transmission is not in gear", _STATE),
    0x8F: ("the brake pedal switch is not closed", _STATE),
    0x90: ("the selector lever is not in park", _STATE),
    0x91: ("the torque converter clutch is locked", _STATE),
    0x92: ("the supply voltage is too high", _STATE),
    0x93: ("the supply voltage is too low", "charge or support the battery, and try again"),
    0x94: ("a resource is not available at this moment", _AGAIN),
}

_VEHICLE_MAKER = range(0xF0, 0xFF)  # set aside for conditions of the maker's own, by ISO 14229-1


def refusal_words(code: int) -> tuple[str, str]:
    """Return the reason for a refusal, and what to do about it."""
    if code in _WORDS:
        return _WORDS[code]
    if code in _VEHICLE_MAKER:
        return "a condition of the maker's own is not met", _STATE
    return "for a reason that the open standard does not name", _ASK_DEALER


class RefusalError(UnitError):
    """The unit answered that it will not; `code` is its negative response code."""

    def __init__(self, action: str, code: int, *, where: str, session: int | None = None) -> None:
        reason, remedy = refusal_words(code)
        if session is not None and code in (0x7E, 0x7F):
            reason += f" (the vehicle file names session {session:#04x})"
        super().__init__(
            f"the unit refuses {action}: {reason} (response code {code:02X})",
            where=where,
            remedy=remedy,
        )
        self.code = code
