"""Which channel of a recording carries the wheels."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture import read_ids
from canwheel.definitions.layout import SignalPlace, WheelLayout
from canwheel.errors import CaptureError, RequestError
from canwheel.frames import Frames

MOST_NAMED = 12
"""As many identifiers as fit into two lines."""


@dataclass(frozen=True, slots=True)
class _Presence:
    """One channel of the recording: its position and the wheel messages found and not found."""

    number: int
    name: str
    found: tuple[SignalPlace, ...]
    missing: tuple[SignalPlace, ...]


def choose_channel(
    frames: Frames, layout: WheelLayout, channel: str | None, file: Path
) -> tuple[Frames, str]:
    """Return the frames of the channel that carries all wheel messages, and its name.

    Parameters
    ----------
    frames : those that `layout.wanted` asks for, of all channels.
    layout : where the wheels are.
    channel : the one asked for, None to find it.
    file : the recording, to say what it holds instead.

    Raises
    ------
    RequestError : there is no such channel, or more than one carries all wheel messages.
    CaptureError : no channel carries all wheel messages.
    """
    channels = [_look_at(frames, layout, number) for number in range(len(frames.channels))]
    if channel is not None:
        channels = [_named(channels, channel, file)]
    complete = [entry for entry in channels if not entry.missing]
    if not complete:
        raise _incomplete(channels, layout, file)
    if len(complete) > 1:
        names = ", ".join(entry.name for entry in complete)
        raise RequestError(
            f"channels {names} all carry the wheel messages",
            where=str(file),
            remedy=f"choose one, for example --channel {complete[0].name}",
        )
    chosen = complete[0]
    return frames.select(frames.channel == chosen.number), chosen.name


def _look_at(frames: Frames, layout: WheelLayout, number: int) -> _Presence:
    here = frames.channel == number
    places = tuple({place.ids: place for place in layout.wheels}.values())
    found = tuple(
        place for place in places if np.any(here & place.ids.matches(frames.can_id, frames.flags))
    )
    missing = tuple(place for place in places if place not in found)
    return _Presence(number, frames.channels[number], found, missing)


def _named(channels: list[_Presence], name: str, file: Path) -> _Presence:
    for entry in channels:
        if entry.name == name:
            return entry
    names = ", ".join(entry.name for entry in channels)
    raise RequestError(
        f"no wanted message is on a channel {name!r}",
        where=str(file),
        remedy=f"choose one of these: {names}" if names else "leave --channel out",
    )


def _incomplete(channels: list[_Presence], layout: WheelLayout, file: Path) -> CaptureError:
    heard = [entry for entry in channels if entry.found]
    if not heard:
        wanted = _say(tuple({place.ids: place for place in layout.wheels}.values()))
        return CaptureError(
            f"no wheel message of {layout.file} is in this recording: not {wanted}",
            where=str(file),
            remedy="check that the DBC fits the car and that the brake unit's bus was recorded",
            details=_say_heard(file),
        )
    fullest = max(heard, key=lambda entry: len(entry.found))
    return CaptureError(
        f"channel {fullest.name} has {_say(fullest.found)} but never {_say(fullest.missing)}",
        where=str(file),
        remedy="check that the DBC fits the car and that its whole bus was recorded",
        details="\n".join(
            f"channel {entry.name} has {_say(entry.found)}" for entry in heard if entry != fullest
        ),
    )


def _say(places: tuple[SignalPlace, ...]) -> str:
    return ", ".join(f"{place.message} (0x{place.frame_id:X})" for place in places)


def _say_heard(file: Path) -> str:
    """The identifiers that the recording does hold, those heard most often."""
    heard = sorted(read_ids(file), key=lambda entry: -entry.count)
    named = ", ".join(f"0x{entry.can_id:X} ({entry.count} times)" for entry in heard[:MOST_NAMED])
    more = f" and {len(heard) - MOST_NAMED} more" if len(heard) > MOST_NAMED else ""
    return f"it has {named}{more}"
