"""The page says what the JSON document says, in the promised order, and nothing that could run."""

import base64
import hashlib
import json
import re
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from canwheel.pipeline import Comparison
from canwheel.vehicle import Vehicle
from canwheel.version import VERSION
from canwheel.views.document import render_json

Pages = Mapping[str, Any]
VOID = {"meta", "link", "br", "img", "input", "rect", "line", "path", "circle"}

NAMES = (
    "check, faulty",
    "check, sound",
    "check, not enough",
    "check, doubtful",
    "check, many faults",
    "proven",
    "still there",
    "new fault",
    "not proven",
    "nothing to prove",
    "several drives",
    "with codes",
    "in mph with a job",
)


@dataclass
class Reader(HTMLParser):
    """What a page holds: its figures, its text outside charts, its elements."""

    figures: list[tuple[dict[str, str], str]] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    elements: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self.elements.append((tag, values))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "data":
            self.figures.append((values, ""))

    def handle_endtag(self, tag: str) -> None:
        assert tag in VOID or self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "data" in self._open:
            values, text = self.figures.pop()
            self.figures.append((values, text + data))
        elif not {"style", "svg", "title", "code"} & set(self._open):
            self.text.append(data)


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    return reader


def at(document: Any, place: str) -> Any:
    for key in place.split("."):
        document = document[int(key)] if key.isdigit() else document[key]
    return document


def leaves(document: Any) -> Iterator[Any]:
    if isinstance(document, dict):
        for value in document.values():
            yield from leaves(value)
    elif isinstance(document, list):
        for value in document:
            yield from leaves(value)
    else:
        yield document


def times(document: Any) -> Iterator[float]:
    """When each recording began. [s since 1970]"""
    for key, value in document.items():
        if key == "first_time":
            yield value
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict):
                yield from times(inner)


def seconds(text: str) -> float:
    """``1 min 31.2 s``, ``1 h 5 min``."""
    sizes = {"h": 3600, "min": 60, "s": 1}
    return sum(float(n) * sizes[u] for n, u in re.findall(r"([\d.]+) (h|min|s)\b", text))


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_is_the_json_documents(name: str, outcomes: Pages) -> None:
    page = outcomes[name]
    document = json.loads(render_json(page.document))
    reader = read(page.html)
    assert len(reader.figures) > 20
    for attributes, text in reader.figures:
        value = at(document, attributes["data-place"])
        assert float(attributes["value"]) == value, attributes
        shown = value * float(attributes.get("data-factor", 1))
        if " s" in text or " min" in text:
            hours = " h " in text
            assert seconds(text) == pytest.approx(value, abs=60 if hours else 0.51), attributes
        elif text == "over 99.9%":
            assert value > 0.999
        elif text.endswith("%"):
            decimals = len(text.rstrip("%").partition(".")[2])
            assert text == f"{value:.{decimals}%}"
        else:
            decimals = len(text.partition(".")[2])
            assert text == f"{shown:,.{decimals}f}", attributes


OWN = {"30", "15", "256", "95", *VERSION.split(".")}
"""Numbers that no document holds: the usual time of lamps, the speed from which a corner counts,
the name of the checksum, the confidence that counts as proof, the program's version."""


@pytest.mark.parametrize("name", [name for name in NAMES if "mph" not in name])
def test_no_number_on_the_page_comes_from_elsewhere(name: str, outcomes: Pages) -> None:
    page = outcomes[name]
    document = json.loads(render_json(page.document))
    text = " ".join(read(page.html).text).replace("2026-11-02 10:30", "")
    for at_s in times(document):
        day = time.strftime("%Y-%m-%d %H:%M", time.localtime(at_s))
        text = text.replace(day, "")
    known = set(OWN)
    for leaf in leaves(document):
        if isinstance(leaf, str):
            known.update(re.findall(r"\d+(?:\.\d+)?", leaf))
        elif leaf is not None:
            for number in (abs(leaf), abs(leaf) * 100):
                known.update(f"{number:.{decimals}f}" for decimals in range(4))
            minutes, rest = divmod(round(abs(leaf)), 60)
            known.update((str(minutes), str(rest)))
    numbered = {str(i) for i in range(1, 10)}  # "drive 2"
    strange = set(re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text)) - known - numbered
    assert not strange


def test_the_sections_stand_in_the_promised_order(outcomes: Pages) -> None:
    html = outcomes["in mph with a job"].html
    titles = re.findall(r"<h[12][^>]*>(.*?)</h[12]>", html, re.DOTALL)
    plain = [re.sub(r"<[^>]*>", "", title).strip() for title in titles]
    assert plain == [
        "✓ Repair proven",
        "The car, seen from above",
        "The proof",
        "Before beside after",
        "What was found",
        "What was driven, and what was not",
        "Warning lamps",
        "Figures, corner by corner",
        "Stored codes",
        "What was done",
        "Cautions",
        "What this page was made of",
    ]


def test_the_page_names_its_files_and_their_checksums(outcomes: Pages) -> None:
    page = outcomes["several drives"]
    drives = [page.document.before, page.document.after, *page.document.further_after]
    for drive in drives:
        assert drive.capture.sha256 in page.html
        assert drive.definitions.sha256 in page.html
    assert f"canwheel {VERSION}" in page.html
    assert "2026-11-02 10:30" in page.html
    assert "After the repair, drive 2" in page.html


def test_a_proof_that_has_no_figure_tells_none(outcomes: Pages) -> None:
    # A constant fault is shown gone or it is not; one that is still there has no clean distance.
    for name, told in (("proven", True), ("not proven", True), ("still there", False)):
        places = {figure["data-place"] for figure, _ in read(outcomes[name].html).figures}
        assert ("proof.clean_km" in places) == told
        confidence = outcomes[name].document.proof.confidence
        assert ("proof.confidence" in places) == (told and confidence > 0)


def test_the_page_says_when_each_drive_was_recorded(
    shipped: Comparison, outcomes: Pages, make_page: Callable[..., Any]
) -> None:
    html = outcomes["proven"].html
    for part in (outcomes["proven"].document.before, outcomes["proven"].document.after):
        # Outside reference: the C library's own calendar.
        day = time.strftime("%Y-%m-%d %H:%M", time.localtime(part.capture.first_time))
        assert f'recorded <span class="whole">{day}<' in html
    undated = replace(
        shipped.after, summary=replace(shipped.after.summary, first_time_ns=5 * 10**9)
    )
    assert ", recorded" not in make_page(undated).html


def test_the_head_names_the_car_as_the_customer_does(outcomes: Pages) -> None:
    def head(name: str) -> str:
        return " ".join(" ".join(read(outcomes[name].html).text).split()).partition("Repair")[0]

    assert "The white van · AB 12 CDE" in head("in mph with a job")
    assert "Bakery van 7" in head("proven")


def test_the_definitions_checksum_is_that_of_the_file(shipped: Comparison) -> None:
    dbc = Path(__file__).parents[3] / "dbc_examples" / "bakery_van.dbc"
    # Outside reference: hashlib over the file's own bytes.
    assert shipped.before.definitions_sha256 == hashlib.sha256(dbc.read_bytes()).hexdigest()


@pytest.mark.parametrize("name", NAMES)
def test_there_is_nothing_that_could_run_or_be_fetched(name: str, outcomes: Pages) -> None:
    html = outcomes[name].html
    reader = read(html)
    tags = {tag for tag, _ in reader.elements}
    assert not tags & {"script", "img", "iframe", "object", "embed", "form", "base", "a", "image"}
    for tag, attributes in reader.elements:
        assert not any(attribute.startswith("on") for attribute in attributes)
        assert "style" not in attributes
        assert "src" not in attributes
        assert tag == "link" or "href" not in attributes
    policy = next(a["content"] for _, a in reader.elements if "http-equiv" in a)
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "script-src" not in policy  # so that default-src holds: none
    assert "unsafe" not in policy
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in policy
    assert "url(" not in style
    assert "@import" not in style


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_small(name: str, outcomes: Pages) -> None:
    assert len(outcomes[name].html.encode()) < 2_000_000


def test_the_verdict_is_said_first_and_in_words(outcomes: Pages) -> None:
    expected = {
        "check, faulty": ("Fault found", "Rear left (passenger's side): no signal."),
        "check, sound": ("All four sound", "No fault in what was driven."),
        "check, not enough": ("Not enough driving", "No corner could be tested."),
        "check, doubtful": ("Not enough driving", "Rear right (driver's side): erratic reading."),
        "proven": ("Repair proven", "Rear left (passenger's side): no signal, now gone."),
        "still there": ("Fault still there", "Front right (driver's side): drop-outs."),
        "not proven": ("Repair not proven yet", "front right (driver's side): drop-outs"),
        "nothing to prove": ("Nothing to prove", "Both drives are sound."),
    }
    for name, words in expected.items():
        text = " ".join(" ".join(read(outcomes[name].html).text).split())
        head = text[:400]
        assert all(word in head for word in words), (name, head)
    assert "Still to drive: another" in outcomes["not proven"].html
    assert "Looks like a fault and need not be one" in outcomes["still there"].html


def test_in_mph_no_kilometre_is_left(outcomes: Pages) -> None:
    reader = read(outcomes["in mph with a job"].html)
    text = " ".join(reader.text).replace("123 463 km", "")  # the job file's own words stay
    assert "km" not in text
    assert "mph" in text


def test_the_jobs_words_stand_as_they_are(outcomes: Pages) -> None:
    html = outcomes["in mph with a job"].html
    for words in ("AB 12 CDE", "123456", "123 463 km", "Cable clip was missing;\nnew one fitted."):
        assert words in html
    assert "What was done" not in outcomes["proven"].html


@pytest.mark.parametrize("form", ["check", "compare"])
def test_words_from_files_are_text(form: str, attack: Any, outcomes: Pages) -> None:
    page = attack.pages[form]
    reader = read(page.html)
    plain = {
        tag
        for name in ("check, faulty", "with codes")
        for tag, _ in read(outcomes[name].html).elements
    }
    assert {tag for tag, _ in reader.elements} <= plain | {"ol"}
    assert "1337" not in page.html
    assert "\u202e" not in page.html
    assert "\x1b" not in page.html
    shown = "".join(sign if sign.isprintable() else "\ufffd" for sign in attack.words)
    assert "".join(reader.text).count(shown) >= 8


def test_without_a_vehicle_file_no_side_is_claimed(
    shipped: Comparison, make_page: Callable[..., Any]
) -> None:
    html = make_page(replace(shipped.before, vehicle=Vehicle())).html
    assert "steering wheel" not in html
    assert "'s side" not in html.partition("Check next")[0].replace("&#39;", "'")
