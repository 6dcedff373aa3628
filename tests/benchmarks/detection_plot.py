"""The picture of the detection curves: one panel a kind, one line a message period, as SVG."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

SPACE = "http://www.w3.org/2000/svg"
COLUMNS = 3
WIDTH, HEAD, FOOT = 960, 84, 14
PANEL_W, PANEL_H = 300, 206
LEFT, TOP, PLOT_W, PLOT_H = 46, 34, 236, 118
"""Where the axes stand in a panel. [px]"""

LINES = (
    ("#0072B2", "", 6.0),
    ("#E69F00", "", 3.6),
    ("#009E73", "7 3", 2.4),
    ("#000000", "2 3", 1.6),
)
"""Colour (after Okabe and Ito, safe for the colour-blind), dashes and width: the wide ones are
drawn first, so that lines on one another are all seen."""

STYLE = (
    "text{font-family:system-ui,Segoe UI,Helvetica,Arial,sans-serif;fill:#1a1a1a;font-size:12px}"
    ".h{font-weight:600;font-size:13px}.s{fill:#444}"
)


@dataclass(frozen=True, slots=True)
class Panel:
    """One kind: the share found at each size, by message period."""

    title: str
    axis: str
    sizes: Sequence[float]
    shares: Mapping[float, Sequence[float]]


def draw(panels: Sequence[Panel], periods_s: Sequence[float], drives: int) -> str:
    """Draw all panels."""
    rows = -(-len(panels) // COLUMNS)
    height = HEAD + rows * PANEL_H + FOOT
    parts = [
        f'<svg xmlns="{SPACE}" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" role="img">',
        "<title>Share of simulated drives in which a fault is found, by its size</title>",
        f"<style>{STYLE}</style>",
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        *_legend(periods_s, drives),
    ]
    for number, panel in enumerate(panels):
        x = 30 + number % COLUMNS * PANEL_W
        y = HEAD + number // COLUMNS * PANEL_H
        parts.append(f'<g transform="translate({x} {y})">')
        parts += _panel(panel, periods_s)
        parts.append("</g>")
    return "\n".join([*parts, "</svg>", ""])


def _text(x: float, y: float, words: str, *, anchor: str = "start", css: str = "") -> str:
    kind = f' class="{css}"' if css else ""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}"{kind}>{escape(words)}</text>'


def _stroke(number: int) -> str:
    colour, dashes, width = LINES[number % len(LINES)]
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'fill="none" stroke="{colour}" stroke-width="{width:g}"{dashed}'


def _legend(periods_s: Sequence[float], drives: int) -> list[str]:
    parts = [
        _text(30, 26, "Share of drives in which the corner and the fault are found [%]", css="h"),
        _text(30, 62, f"{drives} drives a point; a message every"),
    ]
    x = 254
    for number, period_s in enumerate(periods_s):
        parts.append(f'<path d="M{x} 58h44" {_stroke(number)}/>')
        parts.append(_text(x + 52, 62, f"{1000 * period_s:g} ms"))
        x += 130
    parts.append(f'<path d="M{x} 58h44" stroke="#777" stroke-width="1" stroke-dasharray="1 2"/>')
    parts.append(_text(x + 52, 62, "nine of ten"))
    return parts


def _panel(panel: Panel, periods_s: Sequence[float]) -> list[str]:
    step = PLOT_W / (len(panel.sizes) - 1) if len(panel.sizes) > 1 else 0.0
    at = [LEFT + step * n for n in range(len(panel.sizes))]

    def level(share: float) -> float:
        return TOP + PLOT_H * (1 - share)

    middle = TOP + PLOT_H / 2
    parts = [
        _text(LEFT, TOP - 14, panel.title, css="h"),
        f'<g transform="translate(10 {middle:g}) rotate(-90)">',
        _text(0, 0, "found [%]", anchor="middle", css="s"),
        "</g>",
    ]
    for share in (0.0, 0.5, 1.0):
        y = level(share)
        parts.append(f'<path d="M{LEFT} {y:g}h{PLOT_W}" stroke="#cccccc" stroke-width="1"/>')
        parts.append(_text(LEFT - 8, y + 4, f"{100 * share:.0f}", anchor="end", css="s"))
    parts.append(
        f'<path d="M{LEFT} {level(0.9):g}h{PLOT_W}" stroke="#777" stroke-width="1"'
        ' stroke-dasharray="1 2"/>'
    )
    for x, size in zip(at, panel.sizes, strict=True):
        parts.append(f'<path d="M{x:g} {TOP + PLOT_H}v4" stroke="#777" stroke-width="1"/>')
        parts.append(_text(x, TOP + PLOT_H + 17, f"{size:g}", anchor="middle", css="s"))
    parts.append(_text(LEFT + PLOT_W / 2, TOP + PLOT_H + 34, panel.axis, anchor="middle", css="s"))
    for number, period_s in enumerate(periods_s):
        points = " ".join(
            f"{x:g},{level(share):g}" for x, share in zip(at, panel.shares[period_s], strict=True)
        )
        parts.append(f'<polyline points="{points}" {_stroke(number)}/>')
    return parts
