"""Satellite tracks: GPX 1.1 as its schema has it, and what is none."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from canwheel.discovery.gpx import read_gpx
from canwheel.errors import RequestError

START = datetime(2026, 11, 2, 10, 0, tzinfo=UTC)
DEGREE_M = 6_371_000 * np.pi / 180
"""A degree along a meridian of a round earth of the usual mean radius. [m]"""


def gpx(points: str, *, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> str:
    return (
        f'{head}<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk>'
        f"<trkseg>{points}</trkseg></trk></gpx>"
    )


def driving_north(mps: float, seconds: int, *, tells_speed: bool = False) -> str:
    speed = f"<extensions><speed>{mps}</speed></extensions>" if tells_speed else ""
    return "".join(
        f'<trkpt lat="{50 + mps * s / DEGREE_M:.9f}" lon="8.0"><time>'
        f"{(START + timedelta(seconds=s)).isoformat().replace('+00:00', 'Z')}</time>{speed}</trkpt>"
        for s in range(seconds)
    )


@pytest.mark.parametrize("tells_speed", [False, True])
def test_speed_over_ground(tmp_path: Path, *, tells_speed: bool) -> None:
    path = tmp_path / "drive.gpx"
    path.write_text(gpx(driving_north(15.0, 60, tells_speed=tells_speed)))
    track = read_gpx(path)
    assert track.time_s[0] == START.timestamp()
    assert len(track.time_s) == 60
    assert np.allclose(track.speed_kph, 54.0, rtol=1e-3)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        ("nonsense", "no GPX track"),
        ("<html></html>", "begins with <html>"),
        ("<gpx><trk>", "no whole XML"),
        (gpx(driving_north(15, 5)), "5 track points"),
        (
            gpx(
                driving_north(15, 60),
                head='<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "b">]>',
            ),
            "document type",
        ),
    ],
)
def test_what_is_no_track_is_told(tmp_path: Path, content: str, what: str) -> None:
    path = tmp_path / "drive.gpx"
    path.write_text(content)
    with pytest.raises(RequestError, match=what):
        read_gpx(path)


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / "drive.gpx"
    path.write_bytes(gpx(driving_north(15, 60)).encode("utf-16"))
    with pytest.raises(RequestError, match="UTF-8"):
        read_gpx(path)
    with pytest.raises(RequestError, match="cannot be read"):
        read_gpx(tmp_path / "none.gpx")
