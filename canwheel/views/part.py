"""What the JSON documents of the views are made of."""

import msgspec

from canwheel.version import VERSION

PROGRAM = f"canwheel {VERSION}"


class Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A document, or a part of one."""


def json_text(document: Part) -> str:
    """Return a document as JSON text, indented, with a line end."""
    return msgspec.json.format(msgspec.json.encode(document), indent=2).decode() + "\n"


def utf8(name: str) -> str:
    """A file name that is no Unicode, with its odd bytes spelt out, since JSON is UTF-8."""
    return name.encode("utf-8", "backslashreplace").decode()
