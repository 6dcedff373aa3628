"""Which channel of a recording carries the wheels, one of whose messages may be silent."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture import IdCount, read_ids
from canwheel.corners import Corner
from canwheel.definitions.layout import SignalPlace, WheelLayout
from canwheel.errors import CanwheelError, CaptureError, RequestError
from canwheel.frames import Frames

MOST_NAMED = 12
"""As many identifiers as fit into two lines."""


STRAY_SHARE = 0.01
"""A channel with less of the wheel frames than this share of the fullest one's is no bus but a
name that damage to the file has left."""

FEWEST_MESSAGES, FEWEST_CORNERS = 2, 3
"""Where some wheel messages are never heard, the channel is still theirs if so many of them are, or
those of so many corners: whether they are this car's, the drive tells."""

_IS_SILENT = (
    "check that the DBC fits the car and that its whole bus was recorded; if so, the sender is"
    " silent"
)

STANDARD_MAX = 0x7FF
"""The largest identifier of 11 bits."""


@dataclass(frozen=True, slots=True)
class _Presence:
    """One channel of the recording: its position and the wheel messages found and not found.

    `count` is how many wheel frames it has.
    """

    number: int
    name: str
    found: tuple[SignalPlace, ...]
    missing: tuple[SignalPlace, ...]
    count: int


def choose_channel(
    frames: Frames, layout: WheelLayout, channel: str | None, file: Path, *, damage: str = ""
) -> tuple[Frames, str]:
    """Return the frames of the channel that carries the wheel messages, and its name.

    Some of them may never be heard there, as long as no other channel has them.

    Parameters
    ----------
    frames : those that `layout.wanted` asks for, of all channels.
    layout : where the wheels are.
    channel : the one asked for, None to find it.
    file : the recording, to say what it holds instead.
    damage : what is wrong with the file, in words, to be told where it leaves no channel.

    Raises
    ------
    RequestError : there is no such channel, or more than one carries the wheel messages.
    CaptureError : no channel carries enough of them, or damage has scrambled the channels.
    """
    heard = [_look_at(frames, layout, number) for number in range(len(frames.channels))]
    channels = heard if channel is None else [_named(heard, channel, file)]
    complete = [entry for entry in channels if not entry.missing]
    if not complete:
        for elsewhere in heard if channel is not None else ():
            if not elsewhere.missing:
                raise _on_another(channels[0], elsewhere, file)
        complete = _nearly_complete(channels, heard, layout)
        if damage or not complete:  # what is damaged may have had it
            raise _with_damage(_incomplete(channels, layout, file), damage)
    fullest = max(entry.count for entry in complete)
    stray = [entry for entry in complete if entry.count < STRAY_SHARE * fullest]
    complete = [entry for entry in complete if entry not in stray]
    if stray and damage:
        # What a defect has scrambled cannot be told from what the car sent: nobody is accused.
        raise CaptureError(
            f"{damage}; its lines are scrambled, wheel messages stand under"
            f" {len(stray) + len(complete)} channel names",
            where=str(file),
            remedy=(
                f"copy the file again from where it was recorded; --channel {complete[0].name}"
                " judges what is left of it"
            ),
        )
    if len(complete) > 1:
        names = ", ".join(entry.name for entry in complete)
        error = RequestError(
            f"channels {names} all carry the wheel messages",
            where=str(file),
            remedy=f"choose one, for example --channel {complete[0].name}",
        )
        raise _with_damage(error, damage)
    chosen = complete[0]
    return frames.select(frames.channel == chosen.number), chosen.name


def _look_at(frames: Frames, layout: WheelLayout, number: int) -> _Presence:
    here = frames.channel == number
    places = tuple({place.ids: place for place in layout.wheels}.values())
    counts = [
        int(np.sum(here & place.ids.matches(frames.can_id, frames.flags))) for place in places
    ]
    found = tuple(place for place, count in zip(places, counts, strict=True) if count)
    missing = tuple(place for place in places if place not in found)
    return _Presence(number, frames.channels[number], found, missing, sum(counts))


def _nearly_complete(
    channels: list[_Presence], heard: list[_Presence], layout: WheelLayout
) -> list[_Presence]:
    """Those of the channels that have the most of the wheel messages, if it is most of them.

    None where what is missing there is on another channel: then it is no sender's silence.
    """
    most = max((len(entry.found) for entry in channels), default=0)
    fullest = [entry for entry in channels if len(entry.found) == most]
    return [
        entry
        for entry in fullest
        if _is_enough(entry, layout)
        and not any(place in other.found for other in heard for place in entry.missing)
    ]


def _is_enough(entry: _Presence, layout: WheelLayout) -> bool:
    ids = {place.ids for place in entry.found}
    corners = sum(place.ids in ids for place in layout.wheels)
    return len(entry.found) >= FEWEST_MESSAGES or corners >= FEWEST_CORNERS


def _with_damage(error: CanwheelError, damage: str) -> CanwheelError:
    """Return the error with the damage of the file named first: it may be the reason."""
    if damage:
        error.what = f"{damage}; {error.what}"
    return error


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


def _on_another(asked: _Presence, elsewhere: _Presence, file: Path) -> RequestError:
    return RequestError(
        f"channel {asked.name} does not carry {_say(asked.missing)}; {elsewhere.name} does",
        where=str(file),
        remedy=f"give --channel {elsewhere.name}",
    )


def _incomplete(channels: list[_Presence], layout: WheelLayout, file: Path) -> CaptureError:
    heard = [entry for entry in channels if entry.found]
    if not heard:
        wanted = _say(tuple({place.ids: place for place in layout.wheels}.values()))
        return CaptureError(
            f"no wheel message of {layout.file} is in this recording: not {wanted}",
            where=str(file),
            remedy="check that the DBC fits the car and that the brake unit's bus was recorded",
            details=_say_heard(layout, file),
        )
    fullest = max(heard, key=lambda entry: len(entry.found))
    return CaptureError(
        f"channel {fullest.name} has {_say(fullest.found)} but never {_say(fullest.missing)}",
        where=str(file),
        remedy=_IS_SILENT,
        details="\n".join(
            f"channel {entry.name} has {_say(entry.found)}" for entry in heard if entry != fullest
        ),
    )


def never_heard(
    layout: WheelLayout, corners: Sequence[Corner], channel: str, file: str
) -> CaptureError:
    """Say that a channel never has the messages of some corners, and too little of the others.

    Parameters
    ----------
    corners : whose messages are missing.
    channel, file : where.
    """
    silent = {layout.wheel(corner).ids: layout.wheel(corner) for corner in corners}
    found = {place.ids: place for place in layout.wheels if place.ids not in silent}
    return CaptureError(
        f"channel {channel} has {_say(tuple(found.values()))} but never"
        f" {_say(tuple(silent.values()))}, and no drive by which the others are plainly this car's",
        where=file,
        remedy=_IS_SILENT,
    )


def _say(places: tuple[SignalPlace, ...]) -> str:
    return ", ".join(f"{place.message} (0x{place.frame_id:X})" for place in places)


def _say_heard(layout: WheelLayout, file: Path) -> str:
    """The identifiers that the recording does hold, those heard most often."""
    heard = sorted(read_ids(file), key=lambda entry: -entry.count)
    if not heard:
        return "it has no frame with data"
    named = ", ".join(_say_id(entry) for entry in heard[:MOST_NAMED])
    more = f" and {len(heard) - MOST_NAMED} more" if len(heard) > MOST_NAMED else ""
    return f"it has {named}{more}{_say_other_length(heard, layout)}"


def _say_id(entry: IdCount) -> str:
    # Up to three digits an identifier may be of either length.
    bits = "29 bits, " if entry.extended and entry.can_id <= STANDARD_MAX else ""
    return f"0x{entry.can_id:X} ({bits}{entry.count} times)"


def _say_other_length(heard: list[IdCount], layout: WheelLayout) -> str:
    """Whether a wheel's identifier is there as a number, but with the other count of bits."""
    numbers = {(entry.can_id, entry.extended) for entry in heard}
    for place in layout.wheels:
        extended = place.ids.extended
        if (place.frame_id, not extended) in numbers and (place.frame_id, extended) not in numbers:
            own, there = ("29", "11") if extended else ("11", "29")
            return (
                f"; 0x{place.frame_id:X} has {there} bits in the recording and {own} in"
                f" {layout.file}: one of them is wrong"
            )
    return ""
