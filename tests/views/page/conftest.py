"""Ten outcomes, made of the shipped pair, and a browser to open their pages in."""

import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from canwheel.corners import Corner
from canwheel.fault_memory.against_drive import compare_readings, compare_with_drive
from canwheel.fault_memory.documents import CodesDocument, StoredCode, UnitFacts
from canwheel.job import Job
from canwheel.outcome import Event, Finding, NotJudged, Outcome, Span
from canwheel.pipeline import Check, CodesBeside, CodesCompared, Comparison, compare_checks
from canwheel.views.document import (
    CheckDocument,
    CompareDocument,
    document_check,
    document_comparison,
)
from canwheel.views.page import PageNotes, render_check_page, render_comparison_page

JOB = Job(
    vehicle="The white van",
    registration="AB 12 CDE",
    odometer_before=123456,
    odometer_after="123 463 km",
    complaint="Lamp on after a few minutes",
    work_done="Connector cleaned",
    part="none",
    technician="R. Example",
    notes="Cable clip was missing;\nnew one fitted.",
)
MADE_AT = datetime(2026, 11, 2, 10, 30, tzinfo=UTC)

Rejudge = Callable[..., Check]


def found(corner: Corner, kind: str, *spans: tuple[float, float], sure: float = 0.97) -> Finding:
    spells = tuple(Span(*span) for span in spans)
    says = f"Falls to nothing {len(spells)} times in 2.8 km at up to 84.6 km/h."
    return Finding(corner, kind, sure, spells, len(spells), says, {"count": len(spells)})


@dataclass(frozen=True)
class Page:
    """A page and what it was made of."""

    html: str
    document: CheckDocument | CompareDocument
    result: Check | Comparison

    @property
    def verdict(self) -> str:
        return self.document.verdict


def page_of(result: Check | Comparison, notes: PageNotes | None = None) -> Page:
    notes = notes or PageNotes(made_at=MADE_AT)
    if isinstance(result, Check):
        return Page(render_check_page(result, notes), document_check(result), result)
    return Page(render_comparison_page(result, notes), document_comparison(result), result)


@pytest.fixture(scope="session")
def make_page() -> Callable[..., Page]:
    return page_of


def reading(*codes: tuple[int, int]) -> CodesDocument:
    return CodesDocument(
        read_at="2026-11-02T10:00:00+00:00",
        vehicle="Bakery van 7",
        unit=UnitFacts(request_id=0x7A0, response_id=0x7A8),
        status_supported=0xFF,
        codes=tuple(StoredCode.reported(number, status) for number, status in codes),
        answer="",
    )


def with_codes(comparison: Comparison) -> Comparison:
    before, after = reading((0x403713, 0xAF), (0x403500, 0x28)), reading((0x403713, 0x50))
    sides = (
        CodesBeside(name, each, compare_with_drive(findings, each))
        for name, each, findings in (
            ("codes_before.json", before, comparison.before.judgement.corner(Corner.RL).faults),
            ("codes_after.json", after, ()),
        )
    )
    first, second = sides
    changes = compare_readings(before, after)
    return replace(comparison, codes=CodesCompared(first, second, changes))


@pytest.fixture(scope="session")
def outcomes(shipped: Comparison, rejudge: Rejudge) -> Mapping[str, Page]:
    """Pages of ten outcomes and more, by name."""
    sound, dead, judge = shipped.after, shipped.before, rejudge
    dropping = [(20.0 + 20 * i, 20.3 + 20 * i) for i in range(6)]
    events = (
        Event("wheel_lock", Corner.FR, 91.2, 91.9, "Stands still for 0.7 s at 40 km/h: it locked."),
        Event("recording_gap", None, 100.0, 102.0, "Nothing was recorded for 2.0 s."),
    )
    unseen = (NotJudged(Corner.FL, "crossed", "no turn sharp enough"),)
    loose = judge(
        sound, Outcome((found(Corner.FR, "dropout", *dropping),), events=events, not_judged=unseen)
    )
    doubtful = judge(sound, Outcome((found(Corner.RR, "erratic", (50.0, 50.2), sure=0.6),)))
    several = judge(
        sound,
        Outcome(
            tuple(
                found(corner, kind, (30.0, 250.0))
                for corner in Corner
                for kind in ("dropout", "ring_damage", "frozen")
            )
        ),
    )
    coverage = sound.judgement.coverage
    nothing = replace(
        coverage,
        distance_km=0.0,
        moving_s=0.0,
        top_speed_kph=0.0,
        corners=tuple(replace(own, km=own.km * 0, read_km=0.0) for own in coverage.corners),
    )
    parked = judge(sound, Outcome(), nothing)
    fresh = replace(sound, summary=replace(sound.summary, sha256="ab" * 32, frames=7))
    results = {
        "check, faulty": dead,
        "check, sound": sound,
        "check, not enough": parked,
        "check, doubtful": doubtful,
        "check, many faults": several,
        "proven": shipped,
        "still there": compare_checks([loose], [loose]),
        "new fault": compare_checks([sound], [several]),
        "not proven": compare_checks([loose], [parked]),
        "nothing to prove": compare_checks([sound], [fresh]),
        "several drives": compare_checks([loose], [sound, fresh]),
        "with codes": with_codes(shipped),
    }
    pages = {name: page_of(result) for name, result in results.items()}
    notes = PageNotes(job=JOB, speed="mph", made_at=MADE_AT)
    pages["in mph with a job"] = page_of(with_codes(shipped), notes)
    return pages


HOSTILE = (
    "<script>window.ran=1</script>",
    '"><img src=x onerror="window.ran=1">',
    "'><svg onload=window.ran=1>",
    "</style><script>window.ran=1</script>",
    "</title><script>window.ran=1</script>",
    "{{ 7*191 }}{% raw %}",
    "javascript:window.ran=1",
    "&lt;b&gt; &amp; \u202egnp.exe \x1b[2J \x00",
)


@dataclass(frozen=True)
class Attack:
    """Words that would like to be more than words, and pages full of them."""

    words: str
    pages: Mapping[str, Page]


def hostile_check(check: Check, words: str) -> Check:
    """Put the words wherever a file's words can come onto the page."""
    wheels = tuple(
        replace(place, message=words, signal=words, unit=words, comment=words)
        for place in check.layout.wheels
    )
    facts = msgspec.structs.replace(check.vehicle.vehicle, name=words)
    return replace(
        check,
        summary=replace(check.summary, file=words, damage=words),
        channel=words,
        layout=replace(check.layout, file=words, wheels=wheels, cautions=(words,)),
        vehicle=msgspec.structs.replace(check.vehicle, vehicle=facts),
        cautions=(words, *check.cautions),
    )


@pytest.fixture(scope="module", params=HOSTILE)
def attack(request: pytest.FixtureRequest, shipped: Comparison) -> Attack:
    words = request.param
    notes = PageNotes(job=Job(**dict.fromkeys(Job.__struct_fields__, words)))
    coded = with_codes(shipped)
    before, after = (hostile_check(check, words) for check in (coded.before, coded.after))
    assert coded.codes is not None
    assert coded.codes.before is not None
    marked = msgspec.structs.replace(coded.codes.before.reading, vehicle=words, read_at=words)
    codes = replace(coded.codes, before=replace(coded.codes.before, reading=marked, file=words))
    comparison = replace(coded, before=before, after=after, cautions=(words,), codes=codes)
    return Attack(words, {"check": page_of(before, notes), "compare": page_of(comparison, notes)})


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium; skips the test where there is none."""
    names = ("chromium", "chromium-browser", "google-chrome")
    path = next((path for path in map(shutil.which, names) if path), None)
    if path is None:
        pytest.skip("no Chromium on this machine (Debian: apt-get install chromium)")
    return path


FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    """One browser for a module: its event loop must be gone before tests that run their own."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def saved(tmp_path: Path) -> Callable[[str], str]:
    """Write a page to a file; return its address."""

    def write(html: str) -> str:
        path = tmp_path / "page.html"
        path.write_text(html, encoding="utf-8")
        return path.as_uri()

    return write


def watch(context: Any) -> tuple[Any, list[str]]:
    """A tab, and what it complains of or asks for beyond the page itself."""
    complaints: list[str] = []
    tab = context.new_page()
    tab.on("console", lambda message: complaints.append(f"console: {message.text}"))
    tab.on("pageerror", lambda error: complaints.append(f"error: {error}"))
    tab.on("dialog", lambda dialog: (complaints.append("dialog"), dialog.dismiss()))
    tab.on(
        "request",
        lambda request: (
            request.is_navigation_request() or complaints.append(f"request: {request.url}")
        ),
    )
    return tab, complaints


@pytest.fixture(scope="session")
def watched() -> Callable[[Any], tuple[Any, list[str]]]:
    return watch


@pytest.fixture(params=HOSTILE)
def hostile(request: pytest.FixtureRequest) -> str:
    return str(request.param)
