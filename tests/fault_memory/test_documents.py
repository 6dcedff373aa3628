"""Saved readings: kept, read back, and never believed beyond their numbers."""

from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.errors import RequestError
from canwheel.fault_memory.documents import (
    CodesDocument,
    StoredCode,
    UnitFacts,
    read_codes_file,
    save_document,
)


def document(*codes: StoredCode) -> CodesDocument:
    return CodesDocument(
        read_at="2026-11-02T10:00:00+00:00",
        unit=UnitFacts(request_id=0x7A0, response_id=0x7A8),
        status_supported=0xFF,
        codes=codes,
        answer="5902ff",
    )


@given(
    st.lists(
        st.builds(
            StoredCode.reported,
            st.integers(0, 0xFFFFFF),
            st.integers(0, 0xFF),
            extended=st.none() | st.binary(max_size=20),
        ),
        max_size=5,
    )
)
def test_save_and_read(tmp_path_factory: pytest.TempPathFactory, codes: list[StoredCode]) -> None:
    path = tmp_path_factory.mktemp("codes") / "codes.json"
    save_document(document(*codes), path)
    assert read_codes_file(path) == document(*codes)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "codes.json"
    path.write_text("evidence")
    with pytest.raises(RequestError, match="is there already"):
        save_document(document(), path)
    assert path.read_text() == "evidence"


def test_an_edited_corner_is_not_believed(tmp_path: Path) -> None:
    path = tmp_path / "codes.json"
    save_document(document(StoredCode.reported(0x403111, 0x28)), path)
    path.write_text(path.read_text().replace('"FL"', '"RR"').replace("front left", "rear right"))
    (code,) = read_codes_file(path).codes
    assert code.corner == "FL"
    assert code.meaning == "front left wheel-speed sensor"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{}",
        b"[]",
        b"\xff\xfe",
        b'{"schema": "canwheel-check/1"}',
        b"null",
        b"not json",
    ],
)
def test_other_files_are_refused_in_one_line(text: str, tmp_path: Path) -> None:
    path = tmp_path / "codes.json"
    path.write_bytes(text)
    with pytest.raises(RequestError, match="no saved reading") as caught:
        read_codes_file(path)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="cannot be read"):
        read_codes_file(tmp_path / "codes.json")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"number": 4206865', '"number": 99999999'),
        ('"status": 40', '"status": 4000'),
        ('"extended": null', '"extended": "zz"'),
        ('"schema": "canwheel-codes/1"', '"schema": "canwheel-codes/2"'),
    ],
)
def test_impossible_numbers_are_refused(old: str, new: str, tmp_path: Path) -> None:
    path = tmp_path / "codes.json"
    save_document(document(StoredCode.reported(0x403111, 0x28)), path)
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(RequestError, match="no saved reading"):
        read_codes_file(path)


def test_a_json_schema_can_be_made() -> None:
    schema = msgspec.json.schema(CodesDocument)
    assert "canwheel-codes/1" in str(schema)
