"""One frame as one line of the open SocketCAN text log, with the time stamp that it came with.

The library's own writer is not used: it gives a frame whose time stamp lies before the last one's
another time, drops the length of a remote frame, and replaces the class and the data of an error
frame. A recorder has to keep what it heard.
"""

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from can import Message

# linux/can.h, linux/can/error.h and linux/can.h's `canfd_frame.flags`
_ERROR_FRAME = 0x2000_0000
_ERROR_ON_THE_BUS = 0x80  # the class written when the adapter does not say one
_BIT_RATE_SWITCH = 0x01
_ERROR_STATE = 0x02

_PLAIN_NAME = re.compile(r"[A-Za-z][A-Za-z0-9._-]{0,30}\Z")
_MOST_NAMES = 250
"""More channels than this are no channels but rubbish in that field (`Frames` counts to 255)."""


class ChannelNames:
    """What the channel column says: one word, the adapter's own where it is one.

    Parameters
    ----------
    default : name for frames that come without a channel of their own.
    """

    def __init__(self, default: str) -> None:
        self.default = default
        self._names: dict[object, str] = {None: default}

    def name(self, channel: object) -> str:
        """Return the word for a frame's channel."""
        try:
            known = self._names.get(channel)
        except TypeError:  # an unhashable channel out of a damaged packet
            return self.default
        if known is None:
            known = one_word(channel, self.default)
            if len(self._names) < _MOST_NAMES:
                self._names[channel] = known
        return known


def one_word(channel: object, otherwise: str) -> str:
    """Return the channel as a word that can stand in a text log; numbers become ``can0``."""
    if isinstance(channel, int) or (isinstance(channel, str) and channel.isdecimal()):
        return f"can{channel}"
    if isinstance(channel, str) and _PLAIN_NAME.match(channel):
        return channel
    return otherwise


def log_line(message: "Message", channel: str) -> str:
    """Write a frame as a line, with its end of line; microseconds, as the format has it.

    Parameters
    ----------
    message : a frame with a finite, non-negative time stamp.
    channel : the word for the channel column.
    """
    head = f"({message.timestamp:.6f}) {channel} "
    end = "\n" if message.is_rx else " T\n"
    if message.is_error_frame:
        error_class = message.arbitration_id & 0x1FFF_FFFF or _ERROR_ON_THE_BUS
        return f"{head}{_ERROR_FRAME | error_class:08X}#{message.data.hex().upper()}{end}"
    width = 8 if message.is_extended_id else 3
    head = f"{head}{message.arbitration_id:0{width}X}#"
    if message.is_remote_frame:
        return f"{head}R{message.dlc or ''}{end}"
    if message.is_fd:
        flags = message.bitrate_switch * _BIT_RATE_SWITCH
        flags |= message.error_state_indicator * _ERROR_STATE
        head = f"{head}#{flags:X}"
    return f"{head}{message.data.hex().upper()}{end}"
