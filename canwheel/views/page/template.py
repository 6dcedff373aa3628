"""What every page shares: an environment that escapes what it is given, and a strict policy.

A page runs no script and fetches nothing: its content security policy says so to the browser.
"""

import base64
import hashlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

_ODD = "\N{REPLACEMENT CHARACTER}"


def make_environment(filters: dict[str, Callable[..., Any]]) -> "Environment":
    """Return an environment for the page's templates; ``given`` is for text from a file."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - heavy

    environment = Environment(
        loader=PackageLoader("canwheel.views", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(filters, given=printable)
    return environment


def content_policy(style: str) -> str:
    """Content security policy: no script at all, this style sheet, nothing from anywhere."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def printable(text: str) -> str:
    """Text from a file without what turns lines around or hides; line ends stay."""
    return "".join(sign if sign.isprintable() or sign == "\n" else _ODD for sign in text)
