"""Find the bus's bit rate by listening at the usual ones, one after the other.

Only ever in listen-only mode: an adapter that acknowledges or reports errors at the wrong rate
disturbs the car.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

from canwheel.bus.adapters import WITHOUT_BITRATE, AdapterSettings
from canwheel.bus.listening import AdapterGoneError, Listener, WouldAcknowledgeError
from canwheel.errors import AdapterError, RequestError

USUAL_BITRATES = (500_000, 250_000, 125_000, 1_000_000, 100_000, 83_300, 50_000)
"""In the order of how often the brake unit's network has them (common practice, no source);
250 kbit/s is SAE J1939-11's, from memory. [bit/s]"""

LISTEN_S = 1.5
"""At each rate; a brake unit sends its wheel speeds many times in that while. [s]"""

_ENOUGH_FRAMES = 50
"""So many clean frames settle it early."""

_MOST_ERRORS = 0.05
"""Share of error frames above which a rate is not believed. At the wrong rate a controller
hears next to nothing but errors, as every frame carries a check sum."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard at one rate. bitrate in bit/s."""

    bitrate: int
    frames: int
    errors: int

    @property
    def is_clean(self) -> bool:
        """Whether frames came, and hardly an error among them."""
        return self.frames > 0 and self.errors <= _MOST_ERRORS * self.frames

    @property
    def words(self) -> str:
        """``500 kbit/s: 61 frames, 0 errors``."""
        return f"{self.bitrate / 1000:g} kbit/s: {self.frames} frames, {self.errors} errors"


def find_bitrate(
    settings: AdapterSettings,
    open_adapter: Callable[[AdapterSettings], Listener],
    *,
    listen_s: float = LISTEN_S,
    tell: Callable[[Heard], None] = lambda heard: None,  # noqa: ARG005 - tells nobody
) -> int:
    """Listen at each usual rate and return the one that makes sense. [bit/s]

    Parameters
    ----------
    settings : the adapter.
    open_adapter : opens it at a rate; must not let it acknowledge.
    listen_s : time given to each rate. [s]
    tell : called with what was heard at each.

    Raises
    ------
    RequestError : the interface has no bit rate of its own, or the adapter cannot only listen.
    AdapterError : the adapter cannot be opened, or nothing makes sense at any rate.
    """
    if settings.interface in WITHOUT_BITRATE:
        raise RequestError(
            f"{settings.interface} has no bit rate that could be looked for",
            remedy="leave --bitrate out; a network device's rate is set with ip link",
        )
    tried: list[Heard] = []
    for bitrate in USUAL_BITRATES:
        try:
            heard = _listen(settings.at(bitrate), open_adapter, listen_s)
        except WouldAcknowledgeError as error:
            raise _only_while_listening() from error
        except AdapterError as error:
            if not tried or error.__cause__ is None or "itrate" not in str(error.__cause__):
                raise
            continue  # this adapter does not have that rate
        tried.append(heard)
        tell(heard)
        if heard.is_clean:
            return bitrate
    raise AdapterError(
        "nothing that makes sense was heard at any usual bit rate",
        remedy="check that the ignition is on and the adapter sits on the bus of the brake unit, "
        "or say --bitrate",
        details="\n".join(heard.words for heard in tried),
    )


def _only_while_listening() -> RequestError:
    return RequestError(
        "the bit rate is only looked for in listen-only mode, which this adapter has not",
        remedy=f"say it, as in --bitrate {USUAL_BITRATES[0]}",
    )


def _listen(
    settings: AdapterSettings,
    open_adapter: Callable[[AdapterSettings], Listener],
    listen_s: float,
) -> Heard:
    """Count what comes at one rate."""
    listener = open_adapter(settings)
    frames = errors = 0
    until = time.monotonic() + listen_s
    try:
        if listener.manner == "acknowledges":
            raise _only_while_listening()
        while time.monotonic() < until and frames < _ENOUGH_FRAMES:
            message = listener.receive(0.1)
            if message is not None:
                errors += message.is_error_frame
                frames += not message.is_error_frame
        assert settings.bitrate is not None  # noqa: S101 - it was given just above
        return Heard(settings.bitrate, frames, errors + listener.rubbish)
    except AdapterGoneError as error:
        raise AdapterError(error.what, remedy="plug it in and try again") from error
    finally:
        listener.close()
