"""`RecordingFacts`: how a recording was made, beside it in ``OUT.toml``.

The log itself holds frames and nothing else. The file is replaced as a whole whenever the
recording's state changes, so that it is never half written, and a view of a running recording
reads there what the log cannot tell.
"""

import contextlib
import os
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Literal

import msgspec

from canwheel.bus.safe_file import FULL_DISK, sync_folder
from canwheel.errors import RecordingError, RequestError

_BLOCK_BYTES = 4096
"""The smallest piece in which usual file systems give out room."""

State = Literal["recording", "waiting", "ended"]
"""Frames are taken down; the adapter is gone and waited for; nothing more comes."""


class Gap(msgspec.Struct, frozen=True, omit_defaults=True):
    """The adapter was gone; `to` is missing while it still is, or when it never came back."""

    since: datetime
    why: str
    to: datetime | None = None


class RecordingFacts(msgspec.Struct, frozen=True, omit_defaults=True, kw_only=True):
    """The side file.

    Attributes
    ----------
    started, ended : this computer's clock.
    listen_only : whether nothing of ours reached the wire; `manner` says how.
    bitrate : None where the interface has none, or nobody knows. [bit/s]
    clock : whose time stamps the frames carry, ``adapter`` or ``system``.
    rubbish : pieces received that were no frame.
    """

    recording: str
    version: str
    started: datetime
    state: State = "recording"
    ended: datetime | None = None
    end_reason: str | None = None
    interface: str
    channel: str | None = None
    bitrate: int | None = None
    listen_only: bool
    manner: str
    clock: str
    vehicle: str | None = None
    vehicle_file: str | None = None
    frames: int | None = None
    error_frames: int | None = None
    rubbish: int = 0
    gap: tuple[Gap, ...] = ()


def side_path(log: Path) -> Path:
    """``OUT.toml`` for ``OUT.log``."""
    return log.with_suffix(".toml")


def write_facts(path: Path, facts: RecordingFacts, *, new: bool = False) -> None:
    """Write the side file, whole or not at all.

    Parameters
    ----------
    path : of the side file.
    facts : what it says.
    new : the file must not exist yet.

    Raises
    ------
    RequestError : it exists.
    RecordingError : it cannot be written.
    """
    import tomli_w  # noqa: PLC0415 - only where a recording is made

    text = tomli_w.dumps(msgspec.to_builtins(facts, builtin_types=(datetime,)))
    if new and path.exists():
        raise RequestError(
            "exists already, and a recording's side file is never overwritten",
            where=str(path),
            remedy="choose another name for the recording",
        )
    draft = path.with_name(path.name + ".part")
    try:
        with draft.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        if not new and error.errno in FULL_DISK and _write_in_place(path, text.encode()):
            return
        raise RecordingError(
            f"cannot be written: {error.strerror}",
            where=str(path),
            remedy="check the disk; the recording itself is not touched by this",
        ) from error
    sync_folder(path.parent)


def _write_in_place(path: Path, text: bytes) -> bool:
    """Write into the room that the file has on a full disk; return whether it went in.

    So the file can still say that the disk is full, and a view that reads it can end.
    """
    if len(text) > _BLOCK_BYTES:
        return False
    try:
        with path.open("r+b", buffering=0) as file:
            is_whole = file.write(text) == len(text)
            file.truncate()
            os.fsync(file.fileno())
    except OSError:
        return False
    return is_whole


def read_facts(log: Path) -> RecordingFacts | None:
    """Read the side file of a recording, None when there is none that can be read."""
    try:
        text = side_path(log).read_text(encoding="utf-8")
        return msgspec.convert(tomllib.loads(text), RecordingFacts)
    except (OSError, ValueError, RecursionError):
        return None
