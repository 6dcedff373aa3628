"""The live view: four corners as on the car seen from above, the bus, and what to drive next.

The application draws what its feed says, some times a second, and asks it in a thread of its own,
so that keys are answered while a long drive is judged.
"""

from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal, Vertical
from textual.widgets import Digits, Footer, Static

from canwheel.corners import CORNERS, Corner, Side
from canwheel.judgement.guide import Guide
from canwheel.plain_text import printable
from canwheel.views.feeds import Feed, LiveState
from canwheel.views.live_words import (
    STATE_WORDS,
    CornerSign,
    corner_sign,
    judged_corner,
    say_clock,
    say_flow,
    say_lamps,
    say_speed,
)
from canwheel.views.past import PAST_S, draw_past, full_scale_kph
from canwheel.views.replayed_drive import ReplayedDrive

ASK_EVERY_S = 0.25
"""How often the feed is asked. [s]"""

FULL_BAR_KPH = 130.0
"""Speed at which a corner's bar is full, unless the drive is faster. [km/h]"""

WIDE_FROM = 120
"""From this width on what was found stands beside the guide. [columns]"""

TALL_FROM = 44
"""From this height on the last minute of every corner is drawn below. [lines]"""

STEP_S = 10.0
"""How far the arrow keys go in a replay. [s]"""

_BAR = 24
_GUIDE_BAR = 20
_PAST_ROWS = 4
_BODY = ("╭──────────╮", "│{}│", "╰──────────╯")
_BODY_LINES = 11


class CornerPanel(Vertical):
    """One corner: its name, its speed in big digits, a bar, and what is said of it.

    Parameters
    ----------
    corner : which.
    side : side the steering wheel is on.
    """

    def __init__(self, corner: Corner, side: Side | None) -> None:
        super().__init__(id=corner.value, classes=f"corner {corner.side}")
        self.corner = corner
        self._title = corner.described(side)

    def compose(self) -> ComposeResult:
        """Return the parts."""
        yield Static(self._title, classes="title")
        yield Digits("--.-")
        yield Static(classes="bar")
        yield Static(classes="sign")

    def show(self, speed_kph: float | None, sign: CornerSign, full_kph: float) -> None:
        """Show a speed and what is said of the corner."""
        self.query_one(Digits).update(say_speed(speed_kph))
        share = min(1.0, max(0.0, (speed_kph or 0.0) / full_kph))
        bar = max(1, min(_BAR, self.size.width - 1))
        self.query_one(".bar", Static).update(_bar(share, bar))
        self.query_one(".sign", Static).update(Text(sign.line))
        self.set_class(sign.is_contradicted, "contradicted")
        self.set_class(sign.is_sound, "sound")


class LiveView(App[None]):
    """The view of a drive that is being recorded, or replayed.

    Parameters
    ----------
    feed : what is shown.
    side : side the steering wheel is on.
    """

    ENABLE_COMMAND_PALETTE = False
    TITLE = "canwheel"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_FROM, "-wide")]  # noqa: RUF012 - the base's
    VERTICAL_BREAKPOINTS = [(0, "-low"), (TALL_FROM, "-tall")]  # noqa: RUF012 - the base's
    CSS = """
    Screen { layout: vertical; overflow: hidden; }
    #head { height: 1; background: $panel; }
    #car { layout: grid; grid-size: 3 2; grid-columns: 1fr 14 1fr; grid-rows: 7 7; height: 14; }
    #body { row-span: 2; padding: 1 1; height: 14; color: $text-muted; }
    .corner { height: 7; }
    .corner Static, .corner Digits { width: 1fr; height: auto; }
    .left Static, .left Digits { text-align: right; }
    .corner .title { text-style: bold; }
    .contradicted Digits { color: $error; }
    .contradicted .sign { color: $error; text-style: bold reverse; }
    .sound .sign { color: $success; }
    #lamps, #flow { height: 1; }
    #below { height: 1fr; }
    #guide { width: 1fr; height: 1fr; }
    #found { width: 1fr; height: 1fr; display: none; }
    .-wide #found { display: block; }
    .-tall #lamps, .-tall #below { margin-top: 1; }
    #past { height: auto; display: none; }
    .-tall #past { display: block; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "leave", "end"),
        Binding("ctrl+c", "end_now", show=False, priority=True),
        Binding("space", "pause", "pause"),
        Binding("left", "step(-1)", "back"),
        Binding("right", "step(1)", "forward"),
        Binding("n", "next_finding", "finding"),
        Binding("plus", "faster(1)", "faster", key_display="+"),
        Binding("minus", "faster(-1)", "slower", key_display="-"),
    ]

    def __init__(self, feed: Feed, side: Side | None) -> None:
        super().__init__()
        self.feed = feed
        self.side: Side | None = side
        self.state: LiveState | None = None
        self._is_asking = False
        self._is_leaving = False
        self._told: set[Corner] = set()
        self._full_kph = FULL_BAR_KPH

    @property
    def _replay(self) -> ReplayedDrive | None:
        return self.feed if isinstance(self.feed, ReplayedDrive) else None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the keys of a replay in a replay only."""
        del parameters
        return action not in {"pause", "step", "next_finding", "faster"} or bool(self._replay)

    def compose(self) -> ComposeResult:
        """Return the parts of the screen."""
        yield Static(id="head")
        with Container(id="car"):
            yield CornerPanel(Corner.FL, self.side)
            yield Static(_draw_body(self.side), id="body")
            yield CornerPanel(Corner.FR, self.side)
            yield CornerPanel(Corner.RL, self.side)
            yield CornerPanel(Corner.RR, self.side)
        yield Static(id="lamps")
        yield Static(id="flow")
        with Horizontal(id="below"):
            yield Static(id="guide")
            yield Static(id="found")
        yield Static(id="past")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        """Begin to ask the feed."""
        self.set_interval(ASK_EVERY_S, self._ask)
        self._ask()

    def _ask(self) -> None:
        if not self._is_asking:
            self._is_asking = True
            self.run_worker(self._refresh, thread=True, group="feed")

    def _refresh(self) -> None:
        state = self.feed.refresh()
        self.call_from_thread(self.show, state)

    def show(self, state: LiveState) -> None:
        """Draw a state."""
        self._is_asking = False
        self.state = state
        if not self.query("#head"):  # a last state that comes while the view closes
            return
        self.query_one("#head", Static).update(self._head(state))
        known = [speed for speed in state.speed_kph if speed is not None]
        self._full_kph = max(self._full_kph, *known, 0.0)
        for corner in CORNERS:
            sign = corner_sign(judged_corner(state, corner))
            speed_kph = state.speed_kph[corner.position]
            self.query_one(f"#{corner.value}", CornerPanel).show(speed_kph, sign, self._full_kph)
            self._tell_once(corner, sign)
        self.query_one("#lamps", Static).update(Text(say_lamps(state.check)))
        self.query_one("#flow", Static).update(Text(say_flow(state.flow)))
        self.query_one("#guide", Static).update(_guide(state.guide, printable(state.says)))
        self.query_one("#found", Static).update(_found(state, self.side))
        self._draw_past(state)
        if state.state == "ended" and self._replay is None:
            self.exit()

    def _draw_past(self, state: LiveState) -> None:
        """Draw the last minute of every corner, one below the other, to one scale."""
        if state.check is None or self.size.height < TALL_FROM:
            return
        track = state.check.track
        full_kph = full_scale_kph(track.time_s, track.speed_kph)
        text = Text(no_wrap=True)
        for corner in CORNERS:
            name = f"{corner.described(self.side)}, last {PAST_S:.0f} s, up to {full_kph:.0f} km/h"
            lines = draw_past(
                track.time_s,
                track.speed_kph[:, corner.position],
                width=max(1, self.size.width - 1),
                rows=_PAST_ROWS,
                full_kph=full_kph,
            )
            text.append(f"{name}\n", "bold")
            text.append(f"{lines}\n")
        text.rstrip()
        self.query_one("#past", Static).update(text)

    def _tell_once(self, corner: Corner, sign: CornerSign) -> None:
        """Ring the terminal's bell when a corner is contradicted for the first time."""
        if sign.is_contradicted and corner not in self._told:
            self._told.add(corner)
            self.bell()

    def _head(self, state: LiveState) -> Text:
        style = "bold reverse" if state.state == "waiting" else "bold"
        head = Text.assemble((f" {STATE_WORDS[state.state]} ", style), f" {printable(state.name)}")
        head.append(f"  {say_clock(state.at_s)}", "bold")
        if state.length_s is not None:
            head.append(f" of {say_clock(state.length_s)}, {state.speed:g} times speed")
        if state.adapter:
            head.append(f"  {printable(state.adapter)}")
        if self._is_leaving:
            head = Text(" Press q once more to end; any other key goes on. ", "bold reverse")
        return head

    def on_key(self, event: object) -> None:
        """Forget that somebody began to leave when another key comes."""
        if getattr(event, "key", "") != "q":
            self._is_leaving = False

    def action_leave(self) -> None:
        """End, if it was meant: a recording is not ended by one slip."""
        ended = self.state is not None and self.state.state == "ended"
        if self._is_leaving or ended:
            self.exit()
            return
        self._is_leaving = True
        if self.state is not None:
            self.query_one("#head", Static).update(self._head(self.state))

    def action_end_now(self) -> None:
        """End at once, as Ctrl-C does everywhere else in a terminal."""
        self.exit()

    def action_pause(self) -> None:
        """Stop the replay, or go on."""
        if self._replay:
            self._replay.pause()
            self._ask()

    def action_step(self, steps: int) -> None:
        """Go forward or back in the replay."""
        if self._replay:
            self._replay.step(steps * STEP_S)
            self._ask()

    def action_faster(self, steps: int) -> None:
        """Replay faster or slower."""
        if self._replay:
            self._replay.faster(steps)
            self._ask()

    def action_next_finding(self) -> None:
        """Go to the next finding of the recording."""
        if self._replay and not self._replay.next_finding():
            self.notify("No finding comes after this.", timeout=2)
        self._ask()


def _bar(share: float, length: int) -> str:
    filled = round(share * length)
    return "█" * filled + "░" * (length - filled)


def _draw_body(side: Side | None) -> str:
    """The car's body from above, its front up, the steering wheel where it is."""
    top, middle, bottom = _BODY
    seats = {"left": "(o)".ljust(8), "right": "(o)".rjust(8), None: " " * 8}[side]
    empty = middle.format(" " * 10)
    rows = [empty] * (_BODY_LINES - 2)
    rows[2] = middle.format(f" {seats} ")
    return "\n".join(["front".center(12).rstrip(), top, *rows, bottom])


def _found(state: LiveState, side: Side | None) -> Text:
    """What was found so far, in full sentences."""
    text = Text()
    for corner in CORNERS:
        judged = judged_corner(state, corner)
        for finding in judged.findings if judged is not None else ():
            text.append(f"{corner.described(side)}: ", "bold")
            text.append(f"{finding.says} Confidence {finding.confidence:.0%}.\n")
    return text


def _guide(guide: Guide | None, remark: str) -> Text:
    """What to drive: one sentence, and how far each part of it has come."""
    text = Text(no_wrap=True, overflow="ellipsis")
    if remark:
        text.append(f"{remark}\n", "bold")
    if guide is None:
        text.append("" if remark else "Waiting for the wheels' first frames.", "bold")
        return text
    text.append(f"{'✓' if guide.enough else '→'} {guide.says}\n", "bold")
    for line in guide.lines:
        mark = "✓" if line.is_done else " "
        text.append(f"{mark} {line.name:<30}{_bar(line.done, _GUIDE_BAR)}\n")
    text.rstrip()
    return text
