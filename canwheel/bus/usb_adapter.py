"""USB adapters of the open gs_usb kind, started so that they only listen.

python-can's driver starts the device in normal mode as soon as it is opened, once more when it is
closed, and has no option for anything else; and the package under it takes an unplugged device
for silence. Both are put right in the package's own class, for this whole process: nothing in it
can start such a device so that it acknowledges, unless the user said so.
"""

from dataclasses import dataclass
from typing import Any

import usb.core
from gs_usb import gs_usb as package
from gs_usb.constants import GS_CAN_MODE_HW_TIMESTAMP, GS_CAN_MODE_LISTEN_ONLY
from gs_usb.gs_usb import GsUsb
from gs_usb.gs_usb_frame import GsUsbFrame

_start_as_told = GsUsb.start
NoLibraryError = usb.core.NoBackendError


class CannotOnlyListenError(Exception):
    """The device's firmware has no listen-only mode."""


def start_listening(*, acknowledge: bool = False) -> None:
    """Have every gs_usb device of this process started in listen-only mode from now on.

    Parameters
    ----------
    acknowledge : start a device that has no such mode all the same.
    """

    def start(device: Any, flags: int = 0) -> None:  # noqa: ARG001 - the driver's own wish
        can_listen = device.device_capability.feature & GS_CAN_MODE_LISTEN_ONLY
        if not can_listen and not acknowledge:
            raise CannotOnlyListenError
        # the package leaves out what the device does not have
        _start_as_told(device, GS_CAN_MODE_LISTEN_ONLY | GS_CAN_MODE_HW_TIMESTAMP)

    GsUsb.start = start
    GsUsb.read = _read


def _read(device: Any, frame: GsUsbFrame, timeout_ms: int) -> bool:
    """Read one frame; a time-out is silence, anything else is not. [ms]

    Raises
    ------
    usb.core.USBError : the device is gone.
    """
    has_stamp = bool(device.device_flags & GS_CAN_MODE_HW_TIMESTAMP)
    size = frame.__sizeof__(has_stamp)
    try:
        data = device.gs_usb.read(0x81, size, timeout_ms)
    except usb.core.USBTimeoutError:
        return False
    if len(data) != size:
        raise ValueError(f"{len(data)} bytes are no frame of {size}")
    package.GsUsbFrame.unpack_into(frame, data, has_stamp)
    return True


@dataclass(frozen=True, slots=True)
class DeviceFacts:
    """How a device was started."""

    only_listens: bool
    stamps_time: bool

    @classmethod
    def of(cls, bus: Any) -> "DeviceFacts":
        """Read them from the driver's bus."""
        flags: int = bus.gs_usb.device_flags or 0
        return cls(
            only_listens=bool(flags & GS_CAN_MODE_LISTEN_ONLY),
            stamps_time=bool(flags & GS_CAN_MODE_HW_TIMESTAMP),
        )
