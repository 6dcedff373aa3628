"""Files that are written whole or not at all, and never over one that is there."""

import resource
from pathlib import Path

import pytest

from canwheel.errors import RequestError
from canwheel.new_file import check_free, write_new


def test_what_was_written_stands_there_once(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    check_free(path)
    write_new(path, "whole")
    for attempt in (check_free, lambda there: write_new(there, "another")):
        with pytest.raises(RequestError, match="is there already"):
            attempt(path)
    assert path.read_text() == "whole"


def test_a_link_that_leads_nowhere_is_there_as_well(tmp_path: Path) -> None:
    link = tmp_path / "link.html"
    link.symlink_to(tmp_path / "nowhere.html")
    for attempt in (check_free, lambda there: write_new(there, "text")):
        with pytest.raises(RequestError, match="is there already"):
            attempt(link)
    assert list(tmp_path.iterdir()) == [link]


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    path = tmp_path / "nowhere" / "page.html"
    with pytest.raises(RequestError, match="its folder does not exist"):
        check_free(path)
    with pytest.raises(RequestError, match="cannot be written"):
        write_new(path, "text")


def test_a_file_that_could_not_be_finished_does_not_stay(tmp_path: Path) -> None:
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))  # as if the disk were full
    try:
        with pytest.raises(RequestError, match="cannot be written"):
            write_new(tmp_path / "page.html", "x" * 100_000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []
