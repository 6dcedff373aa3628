"""A simulated drive as a recorder hears it: frames on a bus, in columns or as a text log."""

import gzip
import io
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from canwheel.frames import FrameFlag, Frames
from canwheel.roadtest.bus_layout import BusLayout, SentMessage
from canwheel.roadtest.checks import CHECKS, check_column
from canwheel.roadtest.motion import BoolColumn, FloatColumn
from canwheel.roadtest.packing import Payloads, pack_column, to_raw
from canwheel.roadtest.quantities import latest, tell
from canwheel.roadtest.simulation import Drive
from canwheel.roadtest.traffic import Chatter, chatter_payloads

_EPOCH_S = 1_790_000_000
"""Clock of the recorder when a drive begins. [s]"""
_STREAM_TIMING, _STREAM_RECORDER = 0, 1
_FIRST_MESSAGE_STREAM = 10
_LATE_S = 0.00015
"""Standard deviation of a sender's timer. [s]"""
_CLOCK_PPM = 60.0
"""Standard deviation of a sender's clock. [parts per million]"""
_BITS_STANDARD, _BITS_EXTENDED = 47, 67
"""Bits of a frame without data, with the pause after it (Linux include/linux/can/length.h)."""
_STUFFED = 1.1
"""Usual growth by stuff bits; at most one in four (Davis et al. 2007, from memory)."""
_ROWS = 1 << 16
"""Frames written at a time."""


@dataclass(frozen=True, slots=True, eq=False)
class _Sent:
    """All sendings of one message."""

    ready_s: FloatColumn
    frame_id: int
    flags: int
    length: int
    payloads: Payloads


def record_frames(
    drive: Drive,
    layout: BusLayout,
    traffic: tuple[Chatter, ...] = (),
    *,
    started_s: float = 0.0,
) -> Frames:
    """Put the drive on a bus and hear it.

    Parameters
    ----------
    drive : simulated.
    layout : messages with the wheels and what else the DBC describes.
    traffic : messages around them.
    started_s : the recorder's clock when the drive began, after the day it always begins on. [s]

    Returns
    -------
    Frames on channel ``can0``, in the order heard.
    """
    sent = [_send_message(drive, message, number) for number, message in enumerate(layout.messages)]
    first = _FIRST_MESSAGE_STREAM + len(layout.messages)
    sent += [_send_chatter(drive, chatter, first + n) for n, chatter in enumerate(traffic)]
    frames = _on_the_bus(sent, layout.bitrate)
    time_s = frames.time_ns / 1e9
    if drive.scenario.batch_s:
        time_s = np.ceil(time_s / drive.scenario.batch_s) * drive.scenario.batch_s
    kept = np.ones(len(frames), bool)
    rng = drive.random(_STREAM_RECORDER)
    for effect, windows in zip(drive.scenario.effects, drive.windows, strict=True):
        time_s, keep = effect.record(time_s, windows, rng)
        kept &= keep
    heard = frames.select(kept)
    time_ns = np.rint(time_s[kept] * 1e6).astype(np.int64) * 1000 + round(
        (_EPOCH_S + started_s) * 1e9
    )
    return Frames(
        time_ns=time_ns,
        can_id=heard.can_id,
        flags=heard.flags,
        length=heard.length,
        data=heard.data,
        channel=heard.channel,
        channels=heard.channels,
        index=np.arange(len(heard), dtype=np.int64),
    )


def _sending_times(drive: Drive, cycle_s: float, rng: np.random.Generator) -> FloatColumn:
    """When a sender has the frame ready: its own phase, its own clock, some lateness."""
    cycle_s = cycle_s * (1.0 + rng.normal(0.0, _CLOCK_PPM) * 1e-6)
    nominal = np.arange(rng.uniform(0.0, cycle_s), drive.motion.duration_s, cycle_s)
    return nominal + np.abs(rng.normal(0.0, _LATE_S, len(nominal)))


def _send_message(drive: Drive, message: SentMessage, number: int) -> _Sent:
    rng = drive.random(_FIRST_MESSAGE_STREAM + number)
    ready_s = _sending_times(drive, message.cycle_s, rng)
    ready_s = ready_s[~_silenced(drive, message, ready_s)]
    payloads = np.zeros((len(ready_s), max(8, message.length)), np.uint8)
    pages = max((s.page + 1 for s in message.signals if s.page is not None), default=1)
    page = np.arange(len(ready_s)) % pages
    for signal in message.signals:
        values = tell(drive, signal, ready_s, rng)
        if signal.maximum > signal.minimum:
            values = np.clip(values, signal.minimum, signal.maximum)
        raw = to_raw(values, signal.bits, signal.scale, signal.offset)
        if signal.invalid_raw is not None and signal.quantity in message.corners:
            place = message.corners.index(signal.quantity)
            flagged = drive.flagged[latest(drive, ready_s), message.corners[place].position]
            raw = np.where(flagged, signal.invalid_raw, raw)
        if signal.page is None:
            pack_column(payloads, signal.bits, raw)
        else:
            here = page == signal.page
            paged = payloads[here]
            pack_column(paged, signal.bits, raw[here])
            payloads[here] = paged
    for signal in message.signals:
        if signal.quantity in CHECKS:
            pack_column(payloads, signal.bits, check_column(signal.quantity, payloads, message))
    flags = (FrameFlag.EXTENDED if message.extended else 0) | (FrameFlag.FD if message.fd else 0)
    return _Sent(ready_s, message.frame_id, int(flags), message.length, payloads)


def _silenced(drive: Drive, message: SentMessage, ready_s: FloatColumn) -> BoolColumn:
    silent = np.zeros(len(ready_s), bool)
    for effect, windows in zip(drive.scenario.effects, drive.windows, strict=True):
        if effect.corner in message.corners:
            silent |= effect.silences(ready_s, windows)
    return silent


def _send_chatter(drive: Drive, chatter: Chatter, stream: int) -> _Sent:
    rng = drive.random(stream)
    ready_s = _sending_times(drive, chatter.cycle_s, rng)
    payloads = chatter_payloads(chatter, drive, ready_s, rng)
    return _Sent(ready_s, chatter.frame_id, 0, len(chatter.contents), payloads)


def _on_the_bus(sent: list[_Sent], bitrate: int) -> Frames:
    """Let all senders share one bus: one frame at a time, the urgent one first."""
    counts = [len(one.ready_s) for one in sent]
    width = max((one.payloads.shape[1] for one in sent), default=8)
    data = np.zeros((sum(counts), width), np.uint8)
    row = 0
    for one in sent:
        data[row : row + len(one.ready_s), : one.payloads.shape[1]] = one.payloads
        row += len(one.ready_s)
    ready_s = np.concatenate([one.ready_s for one in sent]) if sent else np.empty(0)
    can_id = np.repeat(np.array([one.frame_id for one in sent], np.uint32), counts)
    flags = np.repeat(np.array([one.flags for one in sent], np.uint8), counts)
    length = np.repeat(np.array([one.length for one in sent], np.uint8), counts)
    base = np.where(flags & FrameFlag.EXTENDED, _BITS_EXTENDED, _BITS_STANDARD)
    taken_s = (base + 8.0 * length) * _STUFFED / bitrate
    # Who is ready while another frame is on the bus goes by identifier.
    order = np.lexsort((can_id, np.floor(ready_s * bitrate / (_BITS_STANDARD + 64))))
    before = np.cumsum(taken_s[order]) - taken_s[order]
    end_s = np.maximum.accumulate(ready_s[order] - before) + before + taken_s[order]
    return Frames(
        time_ns=np.rint(end_s * 1e9).astype(np.int64),
        can_id=can_id[order],
        flags=flags[order],
        length=length[order],
        data=data[order],
        channel=np.zeros(len(order), np.uint8),
        channels=("can0",),
        index=np.arange(len(order), dtype=np.int64),
    )


def write_log(frames: Frames, path: Path) -> None:
    """Write frames as a SocketCAN text log; a name that ends in ``.gz`` is compressed.

    The same frames give the same bytes: nothing of the writer's clock or path goes in.

    Raises
    ------
    OSError : the file cannot be written.
    """
    with path.open("wb") as file:
        if path.suffix != ".gz":
            _write_lines(frames, file)
            return
        with gzip.GzipFile(
            filename="", mode="wb", fileobj=file, compresslevel=9, mtime=0
        ) as packed:
            buffer = io.BufferedWriter(packed, 1 << 20)
            _write_lines(frames, buffer)
            buffer.flush()


def _write_lines(frames: Frames, file: BinaryIO) -> None:
    for first in range(0, len(frames), _ROWS):
        rows = np.arange(first, min(first + _ROWS, len(frames)))
        file.write(_lines(frames.select(rows)))


_HEX = np.frombuffer(b"0123456789ABCDEF", np.uint8)


def _lines(frames: Frames) -> bytes:
    """Text lines of some frames: every part in its widest form, less what a row does not have."""
    rows = len(frames)
    extended = (frames.flags & FrameFlag.EXTENDED) > 0
    fd = (frames.flags & FrameFlag.FD) > 0
    always = np.ones(rows, bool)
    parts: list[tuple[NDArray[np.uint8], BoolColumn]] = []

    def put(text: NDArray[np.uint8], keep: BoolColumn) -> None:
        parts.append((text.reshape(rows, -1), keep))

    def put_mark(mark: bytes, keep: BoolColumn) -> None:
        put(np.broadcast_to(np.frombuffer(mark, np.uint8), (rows, len(mark))), keep)

    microseconds = frames.time_ns // 1000
    put_mark(b"(", always)
    put(_digits(microseconds // 10**6, 10), always)
    put_mark(b".", always)
    put(_digits(microseconds % 10**6, 6), always)
    put_mark(b") ", always)
    for number, channel in enumerate(frames.channels):
        put_mark(channel.encode() + b" ", frames.channel == number)
    nibbles = np.stack([frames.can_id >> shift & 0xF for shift in range(28, -1, -4)], axis=1)
    put(_HEX[nibbles[:, :5]], extended)
    put(_HEX[nibbles[:, 5:]], always)
    put_mark(b"#", always)
    brs = np.where(frames.flags & FrameFlag.BRS, 1, 0) + np.where(
        frames.flags & FrameFlag.ESI, 2, 0
    )
    put_mark(b"#", fd)
    put(_HEX[brs], fd)
    for byte, value in enumerate(frames.data.T):
        put(_HEX[np.stack((value >> 4, value & 0xF), axis=1)], frames.length > byte)
    put_mark(b"\n", always)
    text = np.concatenate([text for text, _ in parts], axis=1)
    keep = np.concatenate([np.broadcast_to(k[:, None], t.shape) for t, k in parts], axis=1)
    lines: bytes = text[keep].tobytes()
    return lines


def _digits(numbers: NDArray[np.int64], count: int) -> NDArray[np.uint8]:
    """Decimal digits with leading zeros. (n, count)"""
    powers = 10 ** np.arange(count - 1, -1, -1, dtype=np.int64)
    digits: NDArray[np.uint8] = (numbers[:, None] // powers % 10 + ord("0")).astype(np.uint8)
    return digits
