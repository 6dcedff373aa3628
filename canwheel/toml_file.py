"""TOML files that people write: read, checked against a struct, told in one line what is wrong."""

import tomllib
from pathlib import Path
from typing import TypeVar

import msgspec

from canwheel.errors import CanwheelError

Struct = TypeVar("Struct", bound=msgspec.Struct)


def read_toml(path: Path, kind: type[Struct], error_type: type[CanwheelError], what: str) -> Struct:
    """Read a TOML file into a struct.

    Parameters
    ----------
    path : the file, UTF-8.
    kind : struct that says which keys there are and what may stand in them.
    error_type : of error to raise.
    what : what sort of file it is, with its article: ``a vehicle file``.

    Raises
    ------
    CanwheelError : of `error_type`: unreadable, no TOML, an unknown key or a wrong type; the
        message names the line or the key.
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
            message[0].lower() + message[1:],
            where=f"{path}, {key}" if key else str(path),
            remedy=f"README lists the keys that {what} may have",
        ) from error
