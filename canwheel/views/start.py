"""What is shown before a recording begins: the cautions, in full."""

from rich.text import Text

from canwheel.judgement.cautions import caution_recording
from canwheel.views.terminal import OPEN, Screen, banner, bullets, render_parts, section


def render_start(adapter: str, screen: Screen) -> str:
    """Return the start screen as text.

    Parameters
    ----------
    adapter : what will be listened to, in words.
    """
    parts = [
        banner("BEFORE YOU DRIVE", OPEN, f"recording from {adapter}"),
        *section("Cautions", bullets(caution_recording())),
        Text("\nThe recording goes on whatever happens to this screen."),
    ]
    return render_parts(parts, screen)
