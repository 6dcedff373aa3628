"""What can go wrong with what the user gave: what, where, what to do.

::

    CanwheelError
     ├── CaptureError       the recording
     ├── DefinitionsError   the DBC file
     ├── VehicleError       the vehicle file
     ├── AdapterError       the adapter: not there, pulled out, will not only listen
     ├── RecordingError     the recording being made: the disk is full, the file is taken away
     ├── RequestError       the question itself: a channel, an option, an output that exists
     └── UnitError          the brake control unit, or the way to it, did not do what was asked

What the system refuses anywhere (`OSError`: a full disk, no right to write) the command line tells
in one line as well. Everything else is a defect of canwheel and may show a traceback.
"""

from canwheel.plain_text import capital


class CanwheelError(Exception):
    """A problem that the user can put right, told in one line.

    Parameters
    ----------
    what : the problem, a short sentence without a full stop.
    where : file, and line or key in it, when there is one.
    remedy : what to do about it, a short sentence without a full stop.
    details : further lines (a list of candidates, lines to paste), printed below the one line.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "", details: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy
        self.details = details

    def __str__(self) -> str:
        """Return ``where: what. Remedy.`` on one line."""
        line = f"{self.where}: {self.what}" if self.where else self.what
        if self.remedy:
            line = f"{line}. {capital(self.remedy)}."
        return " ".join(line.split())


class CaptureError(CanwheelError):
    """The recording cannot be read, or holds nothing that can be judged."""


class DefinitionsError(CanwheelError):
    """The DBC file cannot be read, or does not say which signal is which corner."""


class VehicleError(CanwheelError):
    """The vehicle file cannot be read, or says something that cannot be."""


class AdapterError(CanwheelError):
    """The adapter is not there, was pulled out, or will not listen without acknowledging."""


class RecordingError(CanwheelError):
    """The recording cannot be begun or cannot go on; what came before it is safe."""


class RequestError(CanwheelError):
    """What was asked for does not fit the files given."""


class UnitError(CanwheelError):
    """The brake control unit, or the way to it, did not do what was asked of it."""
