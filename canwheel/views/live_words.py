"""The words of the live view, for the terminal screen and for one line a second alike."""

from dataclasses import dataclass

from canwheel.corners import CORNERS, Corner, Side
from canwheel.judgement.verdict import CornerJudgement
from canwheel.judgement.wording import say_kinds
from canwheel.pipeline import Check
from canwheel.track.lamps import USUAL_OUT_S, Lamp
from canwheel.views.bus_flow import BusFlow
from canwheel.views.feeds import LiveState
from canwheel.views.words import say_size

STATE_WORDS = {
    "recording": "RECORDING",
    "waiting": "WAITING FOR THE ADAPTER",
    "playing": "PLAYING",
    "paused": "PAUSED",
    "ended": "ENDED",
}


@dataclass(frozen=True, slots=True)
class CornerSign:
    """What is said of one corner: a sign, words, and whether the others contradict it."""

    sign: str
    words: str
    is_contradicted: bool
    is_sound: bool = False

    @property
    def line(self) -> str:
        """Sign and words."""
        return f"{self.sign} {self.words}"


_NOTHING_YET = CornerSign("·", "nothing judged yet", is_contradicted=False)


def corner_sign(judged: CornerJudgement | None) -> CornerSign:
    """Say what the drive so far says of a corner."""
    if judged is None:
        return _NOTHING_YET
    kinds = say_kinds(dict.fromkeys(finding.kind for finding in judged.findings))
    match judged.verdict:
        case "faulty":
            return CornerSign("✗", f"FAULT: {kinds}", is_contradicted=True)
        case "doubtful":
            return CornerSign("?", f"DOUBTFUL: {kinds}", is_contradicted=True)
        case "sound":
            open_yet = "; drop-outs open" if judged.may_have_dropped_out else ""
            return CornerSign("✓", f"sound so far{open_yet}", is_contradicted=False, is_sound=True)
        case _:
            return CornerSign("·", "not tested yet", is_contradicted=False)


def judged_corner(state: LiveState, corner: Corner) -> CornerJudgement | None:
    """Return what the drive so far says of a corner, None before there is anything."""
    return None if state.check is None else state.check.judgement.corner(corner)


def say_speed(speed_kph: float | None) -> str:
    """``48.3``, or dashes where the corner says nothing."""
    return "--.-" if speed_kph is None else f"{speed_kph:.1f}"


def say_clock(seconds: float) -> str:
    """``0:03:12``."""
    minutes, rest_s = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest_s:02}"


def say_flow(flow: BusFlow) -> str:
    """Frames a second, error frames, how full the bus is, file size."""
    words = f"{flow.frames_per_s:,.0f} frames/s · {flow.error_frames:,} error frames"
    if flow.load_pct is not None:
        least, most = (f"{share:.0f}" for share in flow.load_pct)
        words += f" · bus {least if least == most else f'{least} to {most}'} % full"
    return f"{words} · {flow.frames:,} frames, {say_size(flow.size_bytes)}"


def say_lamps(check: Check | None) -> str:
    """What each lamp did, counted from moving off; empty where the DBC has none."""
    alike: dict[str, list[str]] = {}  # most cars light two or three together
    for lamp in check.judgement.lamps if check is not None else ():
        alike.setdefault(_say_lamp(lamp), []).append(lamp.name)
    says = " · ".join(f"{', '.join(names)} {words}" for words, names in alike.items())
    return f"Lamps: {says}" if says else ""


def _say_lamp(lamp: Lamp) -> str:
    if lamp.lit_again_s is not None:
        speed = "" if lamp.lit_again_kph is None else f" at {lamp.lit_again_kph:.0f} km/h"
        return f"✗ LIT at {lamp.lit_again_s:.0f} s{speed}"
    if lamp.went_out_s is None:
        return "✗ LIT" if lamp.lit_at_start else "off"
    if lamp.after_moving_s is None or lamp.after_moving_s < 0:
        return "out"
    late = "" if lamp.out_as_usual else f" (usual: {USUAL_OUT_S:.0f} s)"
    return f"out {lamp.after_moving_s:.0f} s after moving off{late}"


def say_line(state: LiveState, side: Side | None) -> str:
    """Say everything on one line, for where there is no terminal."""
    parts = [f"{say_clock(state.at_s)} {STATE_WORDS[state.state].lower()}", say_flow(state.flow)]
    if any(speed is not None for speed in state.speed_kph):
        speeds = zip(CORNERS, state.speed_kph, strict=True)
        parts.append(" ".join(f"{corner} {say_speed(kph)}" for corner, kph in speeds) + " km/h")
    for corner in CORNERS:
        sign = corner_sign(judged_corner(state, corner))
        if sign.is_contradicted:
            parts.append(f"{corner.described(side)}: {sign.words}")
    parts += [words for words in (say_lamps(state.check),) if words]
    parts += [state.guide.says] if state.guide else []
    parts += [state.says] if state.says else []
    return " | ".join(parts)
