"""The demo: a pair that the program itself understands, and that never writes over anything."""

import gzip
import shlex
from pathlib import Path

import pytest
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from canwheel.cli.app import run
from canwheel.corners import Corner
from canwheel.fault_memory.documents import read_codes_file
from canwheel.outcome import FAULT_KINDS
from canwheel.pipeline import check, compare
from canwheel.roadtest.demo import DEMO_FAULTS, make_pair
from canwheel.roadtest.recording import write_log

PROJECT = Path(__file__).parents[2]
FILES = (
    "before.log.gz",
    "after.log.gz",
    "bakery_van.dbc",
    "bakery_van.toml",
    "codes_before.json",
    "codes_after.json",
)
DBC = PROJECT / "dbc_examples" / "bakery_van.dbc"
VEHICLE = PROJECT / "dbc_examples" / "bakery_van.toml"


@pytest.fixture(scope="module")
def demo_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "new" / "pair"
    assert run(["demo", str(folder)]) == 0
    return folder


def test_shipped_pair_is_the_demo_s(demo_dir: Path) -> None:
    for name in FILES[:2]:
        shipped = gzip.decompress((PROJECT / "captures" / name).read_bytes()).splitlines()
        made = gzip.decompress((demo_dir / name).read_bytes()).splitlines()
        assert len(shipped) == len(made)
        # Another machine's last bit of a sine may round a few numbers the other way.
        assert sum(map(bytes.__eq__, shipped, made)) > 0.99 * len(made)
    for name in FILES[2:4]:
        assert (PROJECT / "dbc_examples" / name).read_bytes() == (demo_dir / name).read_bytes()


def test_shipped_pair_is_small() -> None:
    sizes = [(PROJECT / "captures" / name).stat().st_size for name in FILES[:2]]
    assert sum(sizes) < 350_000


def test_shipped_pair_proves_the_repair() -> None:
    captures = PROJECT / "captures"
    result = compare(captures / FILES[0], captures / FILES[1], DBC, VEHICLE)
    assert result.proof.verdict == "repair_proven"
    found = {(f.corner, f.kind) for c in result.before.judgement.corners for f in c.findings}
    assert found == {(Corner.RL, "no_signal")}
    assert result.after.judgement.verdict == "all_sound"


def test_another_corner_and_seed_give_another_pair(tmp_path: Path) -> None:
    options = ["--corner", "fr", "--fault", "dropout", "--seed", "5"]
    assert run(["demo", str(tmp_path), *options]) == 0
    result = check(tmp_path / FILES[0], tmp_path / FILES[2], tmp_path / FILES[3])
    faulty = [c.corner for c in result.judgement.corners if c.verdict == "faulty"]
    assert faulty == [Corner.FR]
    assert "dropout" in {f.kind for c in result.judgement.corners for f in c.findings}


def test_next_command_is_told_and_can_be_typed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "with space"
    assert run(["demo", str(folder)]) == 0
    told = capsys.readouterr().out
    assert f"canwheel compare '{folder}/before.log.gz'" in told.replace("\\", "/")


@pytest.mark.parametrize("name", FILES)
def test_nothing_is_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    (tmp_path / name).write_text("mine")
    assert run(["demo", str(tmp_path)]) == 2
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"
    message = capsys.readouterr().err
    assert name in message
    assert message.count("\n") == 1


def test_a_file_in_place_of_the_folder_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "file"
    path.write_text("mine")
    assert run(["demo", str(path)]) == 2
    assert "not a folder" in capsys.readouterr().err
    assert run(["demo", str(path / "deeper")]) == 2
    assert path.read_text() == "mine"


def test_every_kind_has_its_demo() -> None:
    assert set(DEMO_FAULTS) == set(FAULT_KINDS)
    for kind, make in DEMO_FAULTS.items():
        assert make(Corner.FL).kind == kind


def test_pair_is_the_same_for_the_same_seed(tmp_path: Path) -> None:
    for name in ("one.log", "two.log"):
        write_log(make_pair(Corner.FL, "frozen", seed=3).before, tmp_path / name)
    assert (tmp_path / "one.log").read_bytes() == (tmp_path / "two.log").read_bytes()


def test_the_units_codes_go_with_the_drives(demo_dir: Path) -> None:
    before, after = (read_codes_file(demo_dir / name) for name in FILES[4:])
    (code,) = before.faults
    assert (code.corner, code.state) == (Corner.RL, "fails_now")
    assert [code.state for code in after.faults] == ["stored"]
    # Outside reference: udsoncan's own reading of the unit's answer.
    response = Response.from_payload(bytes.fromhex(before.answer))
    data = ReadDTCInformation.interpret_response(response, subfunction=0x02).service_data
    assert [dtc.id for dtc in data.dtcs] == [code.number]


def test_the_second_command_writes_the_page_with_the_codes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["demo", str(tmp_path)]) == 0
    typed = shlex.split(capsys.readouterr().out.strip().splitlines()[-1])
    assert run(typed[1:]) == 0
    assert "agree" in capsys.readouterr().out
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "Repair proven" in page
    assert "C0037-13" in page
