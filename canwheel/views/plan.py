"""The car seen from above, a word at each corner: what a cold workshop sees first."""

from collections.abc import Mapping
from dataclasses import dataclass

from rich.text import Text

from canwheel.corners import Corner, Side

PLAN_WIDTH = 74
"""Columns the plan takes; it fits into a terminal of 80."""

_BODY_WIDTH = 12
_TYRE_WIDTH = 2
_WORDS_WIDTH = (PLAN_WIDTH - _BODY_WIDTH) // 2 - _TYRE_WIDTH - 2  # less body line and space
_WORD_LINES = 3  # a tyre is as high as the words beside it


@dataclass(frozen=True, slots=True)
class CornerWords:
    """What stands at one corner.

    Attributes
    ----------
    tyre : the character it is drawn with, so that it is understood without colour.
    word : the verdict.
    notes : up to two short lines below it.
    style : of tyre and word, as rich names it.
    """

    tyre: str
    word: str
    notes: tuple[str, ...]
    style: str


def draw_plan(corners: Mapping[Corner, CornerWords], drive_side: Side | None) -> Text:
    """Draw the car from above, its front up, the steering wheel where it is.

    Parameters
    ----------
    corners : what stands at each corner.
    drive_side : side the steering wheel is on, None leaves it out.
    """
    steering = {"left": " (o)", "right": "(o) ", None: ""}[drive_side]
    seats = steering.ljust(_BODY_WIDTH) if drive_side == "left" else steering.rjust(_BODY_WIDTH)
    return Text("\n").join(
        [
            _middle("front"),
            _middle("╭" + "─" * _BODY_WIDTH + "╮"),
            *_axle(corners[Corner.FL], corners[Corner.FR]),
            _middle(f"│{seats}│"),
            _middle("│" + " " * _BODY_WIDTH + "│"),
            *_axle(corners[Corner.RL], corners[Corner.RR]),
            _middle("╰" + "─" * _BODY_WIDTH + "╯"),
            _sides(drive_side),
        ]
    )


def _middle(text: str) -> Text:
    return Text(text.center(PLAN_WIDTH).rstrip())


def _sides(drive_side: Side | None) -> Text:
    """Which side is which, below the car."""
    names = {"left": "left", "right": "right"}
    if drive_side is not None:
        names = {s: f"{s}, {'driver' if s == drive_side else 'passenger'}'s side" for s in names}
    between = " " * (PLAN_WIDTH - 2 * _WORDS_WIDTH)
    return Text(f"{names['left']:>{_WORDS_WIDTH}}{between}{names['right']}")


def _axle(left: CornerWords, right: CornerWords) -> list[Text]:
    """The lines of one axle: words, tyre, body, tyre, words."""
    lines = []
    for left_words, right_words in zip(_words(left), _words(right), strict=True):
        left_words.align("right", _WORDS_WIDTH)
        lines.append(
            Text.assemble(
                left_words,
                " ",
                (left.tyre * _TYRE_WIDTH, left.style),
                f"│{' ' * _BODY_WIDTH}│",
                (right.tyre * _TYRE_WIDTH, right.style),
                " ",
                right_words,
            )
        )
    return lines


def _words(corner: CornerWords) -> list[Text]:
    lines = [Text(corner.word, corner.style), *(Text(note) for note in corner.notes)]
    lines += [Text() for _ in range(_WORD_LINES - len(lines))]
    for line in lines:
        line.truncate(_WORDS_WIDTH, overflow="ellipsis")
    return lines[:_WORD_LINES]
