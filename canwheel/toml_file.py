"""TOML files that people write: read, checked against a struct, told in one line what is wrong."""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TypeVar

import msgspec

from canwheel.errors import CanwheelError

Struct = TypeVar("Struct", bound=msgspec.Struct)


_WORDS = {
    "`object`": "a section",
    "object contains": "has",
    "`float": "`a number",
    "`int": "`a whole number",
    "`str": "`text",
    "`bool": "`true or false",
    "`array": "`a list",
    " | null": "",
    "unknown field": "the unknown key",
}
"""The library's words for what a TOML file holds, and those of the people who write one."""


def read_toml(
    path: Path,
    kind: type[Struct],
    error_type: type[CanwheelError],
    what: str,
    *,
    allowed: Mapping[str, str] | None = None,
) -> Struct:
    """Read a TOML file into a struct.

    Parameters
    ----------
    path : the file, UTF-8.
    kind : struct that says which keys there are and what may stand in them.
    error_type : of error to raise.
    what : what sort of file it is, with its article: ``a vehicle file``.
    allowed : what may stand under a key, in words, where the library would say less.

    Raises
    ------
    CanwheelError : of `error_type`: unreadable, no TOML, nested too deeply, an unknown key or
        a wrong type; the message names the line or the key.
    """
    try:
        document = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
        return msgspec.convert(document, kind)
    except OSError as error:
        raise error_type(
            f"cannot be read: {error.strerror}",
            where=str(path),
            remedy=f"check the path; {what} is expected here",
        ) from error
    except UnicodeDecodeError as error:
        raise error_type(
            f"is not UTF-8 text (byte {error.start})",
            where=str(path),
            remedy=f"{what} is TOML text, save it as UTF-8",
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise error_type(
            f"is not valid TOML: {error}", where=str(path), remedy="mend that line"
        ) from error
    except msgspec.ValidationError as error:
        message, _, key = str(error).partition(" - at `$")
        key = key.strip("`").lstrip(".")
        raise error_type(
            _in_plain_words(message, key, allowed or {}),
            where=f"{path}, {key}" if key else str(path),
            remedy=f"README lists the keys that {what} may have",
        ) from error
    except RecursionError as error:
        raise error_type(
            "is nested too deeply", where=str(path), remedy=f"{what} has sections and plain values"
        ) from error
    except ValueError as error:  # Python's own limit of digits; the one that is no TOML error
        raise error_type(
            "has a number of thousands of digits",
            where=str(path),
            remedy="write the number that is meant",
        ) from error


def _in_plain_words(message: str, key: str, allowed: Mapping[str, str]) -> str:
    if key in allowed:
        return f"must be {allowed[key]}"
    if "matching regex" in message:
        return 'must be "Message.Signal", as the DBC spells the two names'
    message = message[0].lower() + message[1:]
    for theirs, ours in _WORDS.items():
        message = message.replace(theirs, ours)
    return re.sub(r"`(a number|a whole number|text|true or false|a list)`", r"\1", message)
