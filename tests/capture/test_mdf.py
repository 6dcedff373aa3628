"""MDF 4 files of other recorders: fields left out, several groups, data kept apart."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from canwheel.capture import read_capture
from canwheel.capture.library import import_can
from canwheel.errors import CaptureError
from canwheel.frames import FrameFlag, IdPattern

asammdf = pytest.importorskip("asammdf")

START = datetime(2023, 11, 14, 22, 13, 20, tzinfo=UTC)
START_NS = 1_700_000_000 * 10**9


def write(path: Path, *groups: list[tuple[str, Any, Any]]) -> Path:
    """Write groups of bus signals: name, samples, and times. [s]"""
    from asammdf.blocks.v4_blocks import SourceInformation  # noqa: PLC0415
    from asammdf.blocks.v4_constants import BUS_TYPE_CAN, SOURCE_BUS  # noqa: PLC0415

    source = SourceInformation(source_type=SOURCE_BUS, bus_type=BUS_TYPE_CAN)
    with asammdf.MDF(version="4.10") as mdf:
        mdf.header.start_time = START
        for group in groups:
            mdf.append(
                [
                    asammdf.Signal(samples, np.asarray(times, float), name=name, source=source)
                    for name, samples, times in group
                ]
            )
        mdf.save(path)
    return path


def records(kind: str, count: int, **fields: tuple[str, Any]) -> np.ndarray[Any, Any]:
    """Return records of one kind."""
    table = np.zeros(count, [(f"{kind}.{name}", form) for name, (form, _) in fields.items()])
    for name, (_, column) in fields.items():
        table[f"{kind}.{name}"] = column
    return table


def test_fields_that_are_left_out_have_their_plain_meaning(tmp_path: Path) -> None:
    data = np.arange(24, dtype=np.uint8).reshape(3, 8)
    frames = records(
        "CAN_DataFrame",
        3,
        ID=("<u4", [0x123, 0x8000_0045, 0x18FEBF0B]),
        DLC=("u1", [8, 3, 0]),
        DataBytes=("(8,)u1", data),
        Dir=("S2", [b"Rx", b"Tx", b"Rx"]),
    )
    path = write(tmp_path / "a.mf4", [("CAN_DataFrame", frames, [0.5, 1.25, 2.000001])])
    read = read_capture(path).frames
    assert read.time_ns.tolist() == [START_NS + ns for ns in (5 * 10**8, 125 * 10**7, 2000001000)]
    assert read.can_id.tolist() == [0x123, 0x45, 0x18FEBF0B]
    assert read.flags.tolist() == [0, FrameFlag.EXTENDED | FrameFlag.SENT, FrameFlag.EXTENDED]
    assert read.length.tolist() == [8, 3, 0]
    assert read.data.tolist() == [list(range(8)), [8, 9, 10, 0, 0, 0, 0, 0], [0] * 8]
    assert read.channels == ("0",)


def test_data_may_be_kept_apart_from_the_records(tmp_path: Path) -> None:
    payloads = [b"\x01\x02\x03\x04\x05\x06\x07\x08", b"\x09" * 8, bytes(range(64))]
    frames = records(
        "CAN_DataFrame",
        3,
        BusChannel=("u1", [2, 1, 2]),
        ID=("<u4", [0x100, 0x101, 0x100]),
        IDE=("u1", [0, 1, 0]),
        EDL=("u1", [0, 0, 1]),
        DataLength=("u1", [8, 8, 64]),
    )
    times = [0.0, 1.0, 2.0]
    apart = np.array([list(p.ljust(64, b"\0")) for p in payloads], np.uint8)
    path = write(
        tmp_path / "a.mf4",
        [("CAN_DataFrame", frames, times), ("CAN_DataFrame.DataBytes", apart, times)],
    )
    read = read_capture(path).frames
    assert [row.tobytes()[:n] for row, n in zip(read.data, read.length, strict=True)] == payloads
    assert [read.channels[k] for k in read.channel] == ["2", "1", "2"]
    assert read.channels == ("2", "1")
    part = read_capture(path, (IdPattern.exactly(0x100, extended=False),)).frames
    assert part.index.tolist() == [0, 2]
    assert [r.tobytes()[:n] for r, n in zip(part.data, part.length, strict=True)] == payloads[::2]


@pytest.mark.parametrize("wanted", [None, (IdPattern.exactly(5, extended=False),)])
def test_groups_are_merged_by_time(tmp_path: Path, wanted: Any) -> None:
    random = np.random.default_rng(5)
    groups, expected = [], []
    for bus in range(3):
        times = np.sort(random.integers(0, 10**6, 150_000 if bus == 0 else 2000)) / 1000
        ids = random.integers(4, 8, len(times))
        frames = records(
            "CAN_DataFrame",
            len(times),
            BusChannel=("u1", bus),
            ID=("<u4", ids),
            IDE=("u1", 0),
            DataLength=("u1", 1),
            DataBytes=("(8,)u1", np.arange(len(times))[:, np.newaxis] % 256),
        )
        groups.append([("CAN_DataFrame", frames, times)])
        expected += list(zip(times, ids, np.arange(len(times)) % 256, strict=True))
    remote = records("CAN_RemoteFrame", 1, ID=("<u4", 5), IDE=("u1", 0), DLC=("u1", 4))
    groups.append([("CAN_RemoteFrame", remote, [500.0])])
    capture = read_capture(write(tmp_path / "a.mf4", *groups), wanted)
    read = capture.frames
    assert capture.summary.frames == 154_001
    assert (np.diff(read.time_ns) >= 0).all()
    if wanted is None:
        assert read.index.tolist() == list(range(154_001))
        assert (read.flags & FrameFlag.REMOTE != 0).sum() == 1
    else:
        assert (np.diff(read.index) > 0).all()
    seconds = (read.time_ns - START_NS) / 1e9
    is_data = read.flags & FrameFlag.REMOTE == 0
    found = zip(seconds[is_data], read.can_id[is_data], read.data[is_data, 0], strict=True)
    kept = [frame for frame in expected if wanted is None or frame[1] == 5]
    assert sorted((round(t, 3), int(i), int(d)) for t, i, d in found) == sorted(
        (round(float(t), 3), int(i), int(d)) for t, i, d in kept
    )


def test_error_frames_are_read_as_such(tmp_path: Path) -> None:
    errors = records("CAN_ErrorFrame", 2, BusChannel=("u1", 1), ID=("<u4", [0, 0x80]))
    frames = records(
        "CAN_DataFrame", 1, ID=("<u4", 1), DataLength=("u1", 0), DataBytes=("(8,)u1", 0)
    )
    path = write(
        tmp_path / "a.mf4",
        [("CAN_ErrorFrame", errors, [1.0, 3.0])],
        [("CAN_DataFrame", frames, [2.0])],
    )
    read = read_capture(path).frames
    assert [bool(f & FrameFlag.ERROR) for f in read.flags] == [True, False, True]
    assert read.length.tolist() == [0, 0, 0]


def test_python_can_is_imported_whole_where_it_already_was() -> None:
    import can.io.mf4  # noqa: PLC0415

    assert import_can() is can
    assert can.io.mf4.asammdf is not None


@pytest.mark.parametrize(("block", "place", "says"), [("CN", 4, "outside"), ("CG", 24, "size")])
def test_sizes_that_cannot_be_are_refused(
    tmp_path: Path, block: str, place: int, says: str
) -> None:
    """The library would write outside of its memory, or take gigabytes of it.

    Places within the two blocks from their description in asammdf.
    """
    frames = records(
        "CAN_DataFrame", 1, ID=("<u4", 1), DataLength=("u1", 0), DataBytes=("(8,)u1", 0)
    )
    path = write(tmp_path / "a.mf4", [("CAN_DataFrame", frames, [2.0])])
    with asammdf.MDF(path, process_bus_logging=False) as mdf:
        channel = next(c for c in mdf.groups[0].channels if c.name.endswith(".ID"))
        address = channel.address if block == "CN" else mdf.groups[0].channel_group.address
    content = bytearray(path.read_bytes())
    assert content[address : address + 4] == b"##" + block.encode()
    links = int.from_bytes(content[address + 16 : address + 24], "little")
    field = address + 24 + 8 * links + place
    content[field : field + 4] = b"\xff\xff\xff\x0f"
    path.write_bytes(content)
    with pytest.raises(CaptureError, match=f"damaged: .*{says}"):
        read_capture(path)
