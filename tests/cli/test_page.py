"""The page by the command line, several drives, and stored codes beside them."""

import json
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

import canwheel.views.page
from canwheel.cli.app import run
from canwheel.fault_memory.documents import CodesDocument, StoredCode, UnitFacts, save_document
from canwheel.views.document import CheckDocument, CompareDocument

Captured = pytest.CaptureFixture[str]
Cut = Callable[[Callable[[list[str]], list[str]]], str]


@pytest.fixture
def codes(tmp_path: Path) -> str:
    """A saved reading with one code, for the rear left."""
    path = tmp_path / "codes.json"
    document = CodesDocument(
        read_at="2026-11-02T10:00:00+00:00",
        unit=UnitFacts(request_id=0x7A0, response_id=0x7A8),
        status_supported=0xFF,
        codes=(StoredCode.reported(0x403713, 0xAF),),
        answer="",
    )
    save_document(document, path)
    return str(path)


@pytest.fixture
def pair(before: str, after: str) -> list[str]:
    return [before, after]


def line_of(captured: Captured, *arguments: str) -> str:
    assert run(arguments) == 2
    output = captured.readouterr()
    assert output.out == ""
    (line,) = output.err.splitlines()
    return line


def test_check_writes_the_page_beside_its_other_output(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    out = tmp_path / "page.html"
    assert run(["check", before, *car, "--page", str(out), "--json"]) == 1
    document = msgspec.json.decode(capsys.readouterr().out, type=CheckDocument)
    html = out.read_text(encoding="utf-8")
    assert "Fault found" in html
    assert document.capture.sha256 in html


def test_compare_writes_the_page_with_job_units_and_codes(
    pair: list[str], car: list[str], codes: str, tmp_path: Path, capsys: Captured
) -> None:
    out, job = tmp_path / "page.html", tmp_path / "job.toml"
    job.write_text('technician = "R. <b>Example</b>"\n')
    arguments = ["compare", *pair, *car, "--page", str(out), "--job", str(job)]
    arguments += ["--units", "mph", "--codes-before", codes, "--codes-after", codes]
    assert run(arguments) == 0
    assert "REPAIR PROVEN" in capsys.readouterr().out
    html = out.read_text(encoding="utf-8")
    assert "R. &lt;b&gt;Example&lt;/b&gt;" in html
    assert "mph" in html
    assert "C0037-13" in html


def test_no_file_is_ever_written_over(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    out = tmp_path / "page.html"
    out.write_text("mine")
    line = line_of(capsys, "check", before, *car, "--page", str(out))
    assert line.startswith(f"canwheel: {out}: is there already and stays as it is.")
    assert out.read_text() == "mine"
    link = tmp_path / "link.html"
    link.symlink_to(tmp_path / "nowhere.html")
    assert "is there already" in line_of(capsys, "check", before, *car, "--page", str(link))
    assert link.is_symlink()


def test_a_file_that_appears_meanwhile_stays(
    before: str,
    car: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Captured,
) -> None:
    out = tmp_path / "page.html"

    def slow(*_args: object) -> str:
        out.write_text("theirs")
        return "ours"

    monkeypatch.setattr(canwheel.views.page, "render_check_page", slow)
    assert "is there already" in line_of(capsys, "check", before, *car, "--page", str(out))
    assert out.read_text() == "theirs"


def test_what_cannot_be_is_told_before_the_recording_is_read(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    nowhere = str(tmp_path / "missing" / "page.html")
    assert "its folder does not exist" in line_of(
        capsys, "check", "no.log", *car, "--page", nowhere
    )
    page = ["--page", str(tmp_path / "page.html")]
    job = str(tmp_path / "job.toml")
    assert job in line_of(capsys, "check", "no.log", *car, *page, "--job", job)
    assert "Add --page OUT.html" in line_of(capsys, "check", before, *car, "--job", job)
    assert "Add --page OUT.html" in line_of(capsys, "check", before, *car, "--units", "mph")
    assert "'knots'" in line_of(capsys, "check", before, *car, *page, "--units", "knots")
    assert not (tmp_path / "page.html").exists()


def test_codes_are_told_and_change_no_verdict(
    before: str, after: str, car: list[str], codes: str, capsys: Captured
) -> None:
    assert run(["check", before, *car, "--codes", codes]) == 1
    assert "Agree: C0037-13 and the drive agree" in capsys.readouterr().out
    assert run(["check", after, *car, "--codes", codes, "--json"]) == 0
    document = msgspec.json.decode(capsys.readouterr().out, type=CheckDocument)
    assert document.codes is not None
    assert [one.relation for one in document.codes.beside_drive] == ["code_without_finding"]
    assert [code.state for code in document.codes.codes] == ["fails_now"]
    assert run(["compare", before, after, *car, "--codes-after", codes, "--json"]) == 0
    comparison = msgspec.json.decode(capsys.readouterr().out, type=CompareDocument)
    assert comparison.codes is not None
    assert comparison.codes.before is None
    assert comparison.codes.after is not None
    assert comparison.codes.changes == []


def test_codes_that_are_none_are_refused(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    path = tmp_path / "codes.json"
    path.write_text('{"schema": "canwheel-check/1"}')
    assert "is no saved reading" in line_of(capsys, "check", before, *car, "--codes", str(path))


def test_several_drives_add_up(
    before: str, car: list[str], cut: Cut, tmp_path: Path, capsys: Captured
) -> None:
    short = cut(lambda lines: lines[: len(lines) * 2 // 5])
    rest = tmp_path / "rest.log"
    rest.write_bytes(Path(short).read_bytes())
    short = str(rest)
    rest = cut(lambda lines: lines[len(lines) * 2 // 5 :])
    assert run(["compare", before, short, *car, "--json"]) == 3
    alone = json.loads(capsys.readouterr().out)
    assert alone["further_after"] == []
    assert run(["compare", before, short, rest, *car, "--json"]) == 0
    both = json.loads(capsys.readouterr().out)
    assert len(both["further_after"]) == 1
    parts = (both["after"], *both["further_after"])
    total_km = sum(part["drive"]["distance_km"] for part in parts)
    assert both["proof"]["clean_km"] == pytest.approx(total_km, abs=0.1)
    assert run(["compare", before, short, rest, *car]) == 0
    text = capsys.readouterr().out
    assert "Figures of drive 2 after the repair" in text


def test_several_drives_before_the_repair(
    before: str, after: str, car: list[str], cut: Cut, capsys: Captured
) -> None:
    part = cut(lambda lines: lines[:4000])
    assert run(["compare", before, after, *car, "--before", part, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [each["capture"]["file"] for each in document["further_before"]] == [part]


def test_a_single_file_beside_before_is_the_one_after(
    before: str, after: str, car: list[str], capsys: Captured
) -> None:
    assert run(["compare", "--before", before, after, *car, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["verdict"] == "repair_proven"
    assert document["before"]["capture"]["file"] == before
    assert document["further_before"] == []
    assert "one recording is named" in line_of(capsys, "compare", before, *car)


def test_a_drive_given_twice_is_refused(
    before: str, after: str, car: list[str], capsys: Captured
) -> None:
    line = line_of(capsys, "compare", before, after, after, *car)
    assert "holds the same recording as" in line
    assert "Give each drive once" in line
    line_of(capsys, "compare", before, after, *car, "--before", before)


def test_the_drive_after_may_have_another_dbc(
    before: str, after: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    # The same signals under other names.
    dbc = Path(car[1]).read_text()
    other = tmp_path / "other.dbc"
    other.write_text(dbc.replace("WHEEL_SPEED_", "WS_").replace("WHEELS:", "SPEEDS:"))
    plain = ["--dbc", car[1]]
    arguments = ["compare", before, after, *plain, "--after-dbc", str(other), "--json"]
    assert run(arguments) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["before"]["definitions"]["wheels"]["FL"]["message"] == "WHEELS"
    assert document["after"]["definitions"]["wheels"]["FL"]["message"] == "SPEEDS"
    hashes = {document[side]["definitions"]["sha256"] for side in ("before", "after")}
    assert len(hashes) == 2
