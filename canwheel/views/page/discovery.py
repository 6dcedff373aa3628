"""What was found without a DBC, as a page: the proposals, their reasons, and what to confirm.

As the page of a judgement: text from a file is text, no script, nothing fetched.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.discovery.hints import Hints
from canwheel.discovery.proposal import Candidate, Discovery, WheelField
from canwheel.plain_text import capital
from canwheel.version import VERSION
from canwheel.views.page.axes import HEIGHT, WIDTH
from canwheel.views.page.discovery_chart import (
    TraceChart,
    draw_sharpest_turn,
    draw_traces,
)
from canwheel.views.page.discovery_words import (
    CONFIRM,
    KIND_WORDS,
    corner_names,
    headline,
    may_be,
    say_bits,
    say_figures,
    say_hints,
    say_message,
    say_state,
    say_unknown,
    say_word,
)
from canwheel.views.page.pages import PageNotes
from canwheel.views.page.plan import SIGNS
from canwheel.views.page.template import content_policy, make_environment
from canwheel.views.page.units import Units
from canwheel.views.words import file_name, say_time

MOST_CANDIDATES = 6
"""With their charts; more would bury the best ones."""

_MEANING_FOUND = (
    "A proposal, made of how numbers on the bus move. It is no DBC from the maker: confirm it with "
    "a known speed and a known turn before anyone buys a part on its word."
)
_MEANING_NONE = (
    "Nothing is proposed rather than something doubtful. A longer drive with a stop, a straight "
    "and a tight turn each way may show more; a bus behind a gateway may not carry the speeds."
)


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that the page was made of, or that came of it. `sha256` may be empty."""

    label: str
    file: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class _FieldRow:
    """One of the four fields, in words."""

    name: str
    may_be: str
    place: Corner
    message: str
    channel: str
    bits: str
    short: str
    period: str
    state: str
    tone: str
    sign: str
    ratio: str


@dataclass(frozen=True, slots=True)
class _CandidateView:
    """One proposal, ready for the template."""

    number: int
    title: str
    rows: tuple[_FieldRow, ...]
    chart: TraceChart
    turn: TraceChart | None
    scale: str
    scale_says: str
    standstill: str
    unknown: str
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]
    figures: list[tuple[str, str]]


def render_discovery_page(
    discovery: Discovery,
    summary: CaptureSummary,
    *,
    hints: Hints | None = None,
    notes: PageNotes | None = None,
    further_files: Sequence[SourceFile] = (),
    cautions: Sequence[str] = (),
) -> str:
    """Return what was found as an HTML page.

    Parameters
    ----------
    discovery, summary : what was found, and the capture in which.
    hints : what the person said beside it.
    notes : unit of speed and date; a job's words are not on this page.
    further_files : a satellite track, a written DBC.
    cautions : beside those that every proposal carries.
    """
    notes = notes or PageNotes()
    units = Units(notes.speed)
    folder = files("canwheel.views.page")
    style = "".join(
        (folder / name).read_text(encoding="utf-8") for name in ("page.css", "discovery.css")
    )
    found = discovery.candidates
    views = [_view(n, one, units) for n, one in enumerate(found[:MOST_CANDIDATES])]
    made_at = (notes.made_at or datetime.now().astimezone()).strftime("%Y-%m-%d %H:%M")
    environment = make_environment(
        {
            "capital": capital,
            "file_name": file_name,
            "time": say_time,
            "units": units.say,
        }
    )
    return environment.get_template("discovery.html").render(
        word=say_word(discovery),
        headline=headline(discovery),
        meaning=_MEANING_FOUND if found else _MEANING_NONE,
        tone=_tone(discovery),
        candidates=views,
        left_out=len(found) - len(views),
        bus=discovery.bus,
        next_steps=discovery.next_steps,
        cautions=(*CONFIRM, *cautions) if found else tuple(cautions),
        hints=say_hints(hints or Hints()),
        corners=CORNERS,
        capture=summary,
        further_files=further_files,
        made_at=made_at,
        version=VERSION,
        style=style,
        policy=content_policy(style),
        box=(WIDTH, HEIGHT),
        signs=SIGNS,
    )


def _tone(discovery: Discovery) -> str:
    """Only four live fields at known corners are good; all else is open."""
    if not discovery.candidates:
        return "open"
    best = discovery.candidates[0]
    return "good" if best.is_complete and all(f.state == "live" for f in best.fields) else "open"


def _view(position: int, candidate: Candidate, units: Units) -> _CandidateView:
    names = corner_names(candidate)
    kind = KIND_WORDS[candidate.kind]
    if candidate.copy_of is not None:
        kind += f" (of number {candidate.copy_of + 1})"
    seen = "seen in this drive" if candidate.rest_seen else "not seen in this drive, inferred"
    return _CandidateView(
        number=position + 1,
        title=kind,
        rows=tuple(
            _row(candidate, name, field)
            for name, field in zip(names, candidate.fields, strict=True)
        ),
        chart=draw_traces(candidate, units),
        turn=draw_sharpest_turn(candidate, units),
        scale=_say_scale(candidate, units),
        scale_says=candidate.scale.says,
        standstill=f"raw value {candidate.rest_raw:,.0f}, {seen}",
        unknown=say_unknown(candidate),
        reasons=candidate.reasons,
        warnings=candidate.warnings,
        figures=say_figures(candidate),
    )


def _row(candidate: Candidate, name: str, field: WheelField) -> _FieldRow:
    tone = "fault" if field.state != "live" else "open" if field.corner is None else "known"
    return _FieldRow(
        name=capital(name),
        may_be="" if field.corner is not None else may_be(candidate, field),
        place=field.place,
        message=say_message(field),
        channel=field.channel,
        bits=say_bits(field.bits),
        short=f"{field.bits.length} bits from bit {field.bits.start}",
        period=f"every {field.period_s * 1000:.0f}\N{NO-BREAK SPACE}ms",
        state=say_state(field),
        tone=tone,
        sign=SIGNS.get(tone, ""),
        ratio="" if field.ratio is None else _say_ratio(field.ratio),
    )


def _say_ratio(ratio: float) -> str:
    """``+0.12 %``, ``−0.27 %``: how far a wheel is from the mean of the four."""
    off = round(100 * (ratio - 1), 2)
    sign = "+" if off > 0 else "\N{MINUS SIGN}" if off < 0 else ""
    return f"{sign}{abs(off):.2f} %"


def _say_scale(candidate: Candidate, units: Units) -> str:
    scale = candidate.scale
    if scale.kph is None:
        return "not known"
    return f"{units.convert(scale.kph):.4g} {units.speed} a step"
