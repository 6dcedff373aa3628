"""The job file: every key optional, and told in one line what is wrong."""

from pathlib import Path

import pytest

from canwheel.errors import RequestError
from canwheel.job import Job, read_job


def job_of(tmp_path: Path, text: str) -> Job:
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    return read_job(path)


def test_every_key_is_optional(tmp_path: Path) -> None:
    assert job_of(tmp_path, "") == Job()
    for key in Job.__struct_fields__:
        assert getattr(job_of(tmp_path, f'{key} = "x"'), key) == "x"


def test_an_odometer_is_a_number_or_text(tmp_path: Path) -> None:
    assert job_of(tmp_path, "odometer_before = 123456").odometer_before == 123456
    assert job_of(tmp_path, "odometer_after = 12.5").odometer_after == 12.5
    assert job_of(tmp_path, 'odometer_after = "99 mi"').odometer_after == "99 mi"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tecnician = 'x'", "the unknown key `tecnician`"),
        ("notes = 3", "notes"),
        ("notes = ", "is not valid TOML"),
        (
            "odometer_before = true",
            "odometer_before: must be a number that is not negative, or text",
        ),
        ("odometer_before = nan", "odometer_before: must be a number"),
        ("odometer_after = inf", "odometer_after: must be a number"),
        ("odometer_after = -5", "odometer_after: must be a number"),
        ("odometer_after = -0.5", "odometer_after: must be a number"),
        ("odometer_after = [1]", "odometer_after: must be a number"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(RequestError) as caught:
        job_of(tmp_path, text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="cannot be read"):
        read_job(tmp_path / "missing.toml")
    path = tmp_path / "job.toml"
    path.write_bytes(b"notes = '\xff'")
    with pytest.raises(RequestError, match="UTF-8"):
        read_job(path)
