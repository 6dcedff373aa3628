"""`Recorder`: adapter to file, whatever happens on the drive.

Two threads. One does nothing but take frames from the adapter, so that no disk and no screen ever
keeps it; it also waits for an adapter that was pulled out. The other writes what came, every
`WRITE_S` seconds, as whole lines. A third, `SafeLog`'s own, asks the file onto the disk.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from canwheel.bus.listening import AdapterGoneError, Listener
from canwheel.bus.log_line import log_line
from canwheel.bus.safe_file import SafeLog
from canwheel.bus.side_file import (
    Gap,
    RecordingFacts,
    State,
    side_path,
    write_facts,
)
from canwheel.errors import CanwheelError, RecordingError, RequestError
from canwheel.version import VERSION

if TYPE_CHECKING:
    from can import Message

WRITE_S = 0.2
"""How often what came is written; a kill loses at most this, and the last frames' way. [s]"""

_RECEIVE_S = 0.1  # how long the receiving thread waits before it looks whether to stop
_DRAIN_S = 2.0  # most time at the end for what had arrived already and waits in the driver
_RETRY_S = 1.0  # between attempts to find the adapter again
_SUFFIX = ".log"


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a recording stands. Sizes in bytes, counts since the start."""

    state: State
    frames: int
    error_frames: int
    size_bytes: int
    rubbish: int
    gaps: int
    says: str


class Recorder:
    """One recording.

    Parameters
    ----------
    path : the log, which must not exist, nor its side file.
    open_adapter : opens the adapter, the first time and after each loss.
    wait : whether to wait for an adapter that is pulled out; otherwise the recording ends there.
    vehicle, vehicle_file : what the side file says of the car.

    Raises
    ------
    RequestError : a file of that name exists, or it is not a ``.log``.
    AdapterError : the adapter cannot be opened; no file is left behind.
    """

    def __init__(
        self,
        path: Path,
        open_adapter: Callable[[], Listener],
        *,
        wait: bool = True,
        vehicle: str | None = None,
        vehicle_file: str | None = None,
    ) -> None:
        check_names(path)
        self.path = path
        self._open_adapter = open_adapter
        self._wait = wait
        self._listener: Listener | None = open_adapter()
        self._heard: deque[Message] = deque()
        self._stop = threading.Event()
        self._received_all = threading.Event()
        self._failure: Exception | None = None
        self._side_failure: CanwheelError | None = None
        self._names = self._listener.channel_names
        self._rubbish_before = 0
        self._frames = 0
        self._error_frames = 0
        self._facts_lock = threading.Lock()
        self._facts = self._first_facts(self._listener, vehicle, vehicle_file)
        try:
            self._log = self._make_files()
        except BaseException:
            self._listener.close()
            raise
        self._threads = [
            threading.Thread(target=self._receive_all, name="canwheel-receive", daemon=True),
            threading.Thread(target=self._write_all, name="canwheel-write", daemon=True),
        ]

    def _make_files(self) -> SafeLog:
        """Make both files, or neither."""
        log = SafeLog(self.path)
        try:
            write_facts(side_path(self.path), self._facts, new=True)
        except BaseException:
            log.close()
            self.path.unlink()
            raise
        return log

    def _first_facts(
        self, listener: Listener, vehicle: str | None, vehicle_file: str | None
    ) -> RecordingFacts:
        channel = listener.settings.channel
        return RecordingFacts(
            recording=self.path.name,
            version=VERSION,
            started=_now(),
            interface=listener.settings.interface,
            channel=None if channel is None else str(channel),
            bitrate=listener.bitrate,
            listen_only=listener.manner != "acknowledges",
            manner=listener.manner,
            clock=listener.clock,
            vehicle=vehicle,
            vehicle_file=vehicle_file,
        )

    def start(self) -> None:
        """Begin to record."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Ask for the end; `finish` waits for it."""
        self._stop.set()

    @property
    def is_running(self) -> bool:
        """Whether frames are still taken down or waited for."""
        return any(thread.is_alive() for thread in self._threads)

    @property
    def facts(self) -> RecordingFacts:
        """What the side file says."""
        return self._facts

    @property
    def progress(self) -> Progress:
        """Where the recording stands."""
        gaps = self._facts.gap
        says = gaps[-1].why if gaps and gaps[-1].to is None else ""
        return Progress(
            state=self._facts.state,
            frames=self._frames,
            error_frames=self._error_frames,
            size_bytes=self._log.size_bytes,
            rubbish=self._rubbish(),
            gaps=len(gaps),
            says=says or (str(self._side_failure) if self._side_failure else ""),
        )

    def finish(self) -> RecordingFacts:
        """Wait until everything that was heard is on the disk, and close.

        Raises
        ------
        RecordingError : the disk is full or gone.
        Exception : a defect of canwheel's; what was heard until then is on the disk.
        """
        for thread in self._threads:
            thread.join()
        try:
            self._log.close()
        except RecordingError as error:
            self._failure = self._failure or error
        gaps = self._facts.gap
        lost = gaps[-1].why if gaps and gaps[-1].to is None else "ended as asked"
        self._tell(
            state="ended",
            ended=_now(),
            end_reason=str(self._failure) if self._failure else lost,
            frames=self._frames,
            error_frames=self._error_frames,
            rubbish=self._rubbish(),
        )
        if self._failure is not None:
            raise self._failure
        return self._facts

    def _rubbish(self) -> int:
        listener = self._listener
        return self._rubbish_before + (listener.rubbish if listener else 0)

    def _tell(self, **changes: object) -> None:
        """Change what the side file says; failing to write it never ends the recording."""
        with self._facts_lock:
            self._facts = msgspec.structs.replace(self._facts, **changes)
            try:
                write_facts(side_path(self.path), self._facts)
            except CanwheelError as error:
                self._side_failure = error

    # the receiving thread

    def _receive_all(self) -> None:
        try:
            while not self._stop.is_set():
                if self._listener is None:
                    self._look_for_adapter()
                else:
                    self._receive_from(self._listener)
        except Exception as error:  # noqa: BLE001 - told by `finish`; what came is still written
            self._failure = error
        finally:
            if self._listener is not None:
                self._rubbish_before += self._listener.rubbish
                self._listener.close()
                self._listener = None
            self._received_all.set()

    def _receive_from(self, listener: Listener) -> None:
        """Take frames until the end is asked for or the adapter is gone."""
        receive, heard, stop = listener.receive, self._heard, self._stop
        last_s = time.monotonic()
        try:
            while not stop.is_set():
                message = receive(_RECEIVE_S)
                if message is not None:
                    heard.append(message)
                    last_s = 0.0
                elif not last_s:
                    last_s = time.monotonic()
                elif time.monotonic() - last_s > listener.renew_after_s:
                    self._renew(listener)
                    return
            self._take_what_waits(listener)
        except AdapterGoneError as error:
            self._lose(listener, error.what)

    def _take_what_waits(self, listener: Listener) -> None:
        """Take what had arrived before the end was asked for, by its time stamp if that tells."""
        asked_s, until_s = time.time(), time.monotonic() + _DRAIN_S
        while time.monotonic() < until_s:
            message = listener.receive(0.0)
            if message is None:
                return
            self._heard.append(message)
            if listener.clock == "system" and message.timestamp >= asked_s:
                return

    def _renew(self, listener: Listener) -> None:
        """Open a silent adapter afresh: one that was without power has forgotten its channel."""
        self._rubbish_before += listener.rubbish
        self._listener = None
        listener.close()
        try:
            self._listener = self._open_adapter()
        except CanwheelError as error:
            self._lose(listener, error.what)

    def _lose(self, listener: Listener, why: str) -> None:
        """Put the loss on record, and wait or end."""
        if self._listener is not None:
            self._rubbish_before += listener.rubbish
            self._listener = None
            listener.close()
        gap = Gap(since=_now(), why=" ".join(why.split()))
        self._tell(state="waiting", gap=(*self._facts.gap, gap))
        if not self._wait:
            self._stop.set()

    def _look_for_adapter(self) -> None:
        """Try once to open the adapter again."""
        try:
            self._listener = self._open_adapter()
        except CanwheelError:
            self._stop.wait(_RETRY_S)
            return
        *before, gap = self._facts.gap
        back = msgspec.structs.replace(gap, to=_now())
        self._tell(state="recording", gap=(*before, back))

    # the writing thread

    def _write_all(self) -> None:
        try:
            while True:
                no_more_comes = self._received_all.wait(WRITE_S)
                self._write_heard()
                if no_more_comes:
                    return
        except Exception as error:  # noqa: BLE001 - told by `finish`
            self._failure = error
            self._stop.set()

    def _write_heard(self) -> None:
        """Write what has come so far."""
        heard, name = self._heard, self._names.name
        messages = [heard.popleft() for _ in range(len(heard))]
        if not messages:
            return
        try:
            lines = "".join([log_line(message, name(message.channel)) for message in messages])
        except (TypeError, ValueError):  # a damaged packet with a word where a number belongs
            messages, lines = self._only_frames(messages)
        before_bytes = self._log.size_bytes
        try:
            self._log.write(lines.encode("ascii"))
        finally:  # a full disk may have taken some of them
            went_in = lines[: self._log.size_bytes - before_bytes].count("\n")
            self._frames += went_in
            self._error_frames += sum(message.is_error_frame for message in messages[:went_in])

    def _only_frames(self, messages: "list[Message]") -> "tuple[list[Message], str]":
        """Leave out, and count, what cannot be written as a line."""
        kept, lines = [], []
        for message in messages:
            try:
                lines.append(log_line(message, self._names.name(message.channel)))
            except (TypeError, ValueError):
                self._rubbish_before += 1
            else:
                kept.append(message)
        return kept, "".join(lines)


def _now() -> datetime:
    return datetime.now(UTC)


def check_names(path: Path) -> None:
    """Refuse what would be overwritten, or would not be taken for a text log.

    Raises
    ------
    RequestError : see there.
    """
    if path.suffix != _SUFFIX:
        raise RequestError(
            "a recording is a text log, and its name ends in .log",
            where=str(path),
            remedy=f"call it {path.with_suffix(_SUFFIX)}; canwheel convert makes other formats",
        )
    for taken in (path, side_path(path)):
        if taken.exists():
            raise RequestError(
                "exists already, and a recording is never overwritten",
                where=str(taken),
                remedy="choose another name",
            )
