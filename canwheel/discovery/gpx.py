"""A satellite track in GPX form: XML, of which only times, places and speeds are read."""

import re
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np

from canwheel.discovery.hints import SatelliteTrack
from canwheel.errors import RequestError

_LARGEST_BYTES = 64 * 1024 * 1024
"""A day's track at ten points a second is half of it."""

_FEWEST_POINTS = 20
_EARTH_M = 6_371_000.0
_OVER_S = 3.0
"""Speeds between places are taken over so long: a place is good to some metres. [s]"""

_DOCTYPE = re.compile(rb"<!(?:DOCTYPE|ENTITY)")
"""What could make a small file grow without end; no track needs it."""


def read_gpx(path: Path) -> SatelliteTrack:
    """Read the points of a GPX file that have a time.

    Raises
    ------
    RequestError : it cannot be read, is no GPX file, or has too few points with a time.
    """
    points = _points(_content(path), path)
    if len(points) < _FEWEST_POINTS:
        raise RequestError(
            f"has {len(points)} track points with a time, and {_FEWEST_POINTS} are needed",
            where=str(path),
            remedy="give the track of this drive, with times",
        )
    table = np.array(sorted(points))
    _, keep = np.unique(table[:, 0], return_index=True)
    time_s, latitude, longitude, told_mps = table[keep].T
    speed_kph = 3.6 * told_mps
    if np.isnan(told_mps).any():
        speed_kph = 3.6 * _speed_mps(time_s, np.radians(latitude), np.radians(longitude))
    return SatelliteTrack(path.name, time_s, speed_kph)


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise RequestError(
                f"is larger than {_LARGEST_BYTES >> 20} MB",
                where=str(path),
                remedy="cut out this drive",
            )
        content = path.read_bytes()
        content.decode("utf-8-sig")
    except OSError as error:
        raise RequestError(
            f"cannot be read: {error.strerror}", where=str(path), remedy="check the track's name"
        ) from error
    except UnicodeDecodeError as error:
        raise _no_gpx(path, "it is not UTF-8 text") from error
    if _DOCTYPE.search(content):
        raise _no_gpx(path, "it defines a document type of its own")
    return content


def _points(content: bytes, path: Path) -> list[tuple[float, float, float, float]]:
    """Time, latitude, longitude and told speed of each point; the last NaN where none is told."""
    try:
        root = ET.fromstring(content)  # noqa: S314 - size, encoding and entities are checked
    except ET.ParseError as error:
        raise _no_gpx(path, f"it is no whole XML: {error}") from error
    if _bare(root.tag) != "gpx":
        raise _no_gpx(path, f"it begins with <{_bare(root.tag)[:40]}>")
    return [
        point
        for element in root.iter()
        if _bare(element.tag) == "trkpt" and (point := _point(element)) is not None
    ]


def _point(element: ET.Element) -> tuple[float, float, float, float] | None:
    time_s, speed_mps = np.nan, np.nan
    for part in element.iter():
        text = (part.text or "").strip()
        if _bare(part.tag) == "time":
            time_s = _epoch_s(text)
        elif _bare(part.tag) == "speed":
            speed_mps = _number(text)
    latitude, longitude = _number(element.get("lat", "")), _number(element.get("lon", ""))
    if not np.isfinite([time_s, latitude, longitude]).all():
        return None
    return time_s, latitude, longitude, speed_mps


def _epoch_s(text: str) -> float:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return np.nan
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan


def _speed_mps(time_s: np.ndarray, latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Speed over ground from places, by the haversine formula. (n,) [m/s]"""
    half = np.sin(np.diff(latitude) / 2) ** 2
    half += np.cos(latitude[:-1]) * np.cos(latitude[1:]) * np.sin(np.diff(longitude) / 2) ** 2
    way_m = np.concatenate([[0.0], np.cumsum(2 * _EARTH_M * np.arcsin(np.sqrt(half)))])
    before = np.maximum(time_s - _OVER_S / 2, time_s[0])
    after = np.minimum(time_s + _OVER_S / 2, time_s[-1])
    moved_m = np.interp(after, time_s, way_m) - np.interp(before, time_s, way_m)
    speed: np.ndarray = moved_m / np.maximum(after - before, 1e-3)
    return speed


def _bare(tag: str) -> str:
    """A tag without its name space."""
    return str(tag).rpartition("}")[2]


def _no_gpx(path: Path, why: str) -> RequestError:
    return RequestError(
        f"is no GPX track: {why}", where=str(path), remedy="export the track as GPX 1.1"
    )
