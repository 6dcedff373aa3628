"""The vehicle file: what it may say, and how it says what is wrong with one."""

from pathlib import Path

import pytest

from canwheel.errors import VehicleError
from canwheel.vehicle import ASSUMED_CIRCUMFERENCE_M, read_vehicle, rolling_circumference_m

# Nominal diameter by the size marking (ISO 4000-1) and rolling circumference by the ETRTO rule
# C = 3.05 d, seen in second-hand copies of both; the millimetres are computed from these rules.
SIZES_MM = {
    "175/65 R14": 1778.5,
    "185/65 R15": 1895.6,
    "195/65 R15": 1935.2,
    "205/55 R16": 1927.3,
    "205/60 R16": 1989.8,
    "225/45 R17": 1934.6,
    "225/40 R18": 1943.5,
    "215/55 R17": 2038.3,
    "235/40 R18": 1967.9,
}


@pytest.mark.parametrize(("size", "expected_mm"), SIZES_MM.items())
def test_a_tyre_size_gives_its_rolling_circumference(size: str, expected_mm: float) -> None:
    assert rolling_circumference_m(size) * 1000 == pytest.approx(expected_mm, abs=0.1)


@pytest.mark.parametrize(
    "size", ["195/65R15 91H", " 195/65 r15", "P195/65 ZR15", "LT195/65R15C", "195 / 65 R 15"]
)
def test_a_size_may_be_written_in_any_usual_way(size: str) -> None:
    assert rolling_circumference_m(size) == rolling_circumference_m("195/65 R15")


def test_a_bias_ply_tyre_rolls_a_little_less() -> None:
    # 2.99 against 3.05 times the free diameter (ETRTO rule, seen second-hand)
    ratio = rolling_circumference_m("195/65-15") / rolling_circumference_m("195/65 R15")
    assert ratio == pytest.approx(2.99 / 3.05)


def read(tmp_path: Path, text: str) -> str:
    path = tmp_path / "car.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(VehicleError) as caught:
        read_vehicle(path)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[vehicle]\nwheelbase_m = 'long'", "vehicle.wheelbase_m: expected a number, got text"),
        ("[vehicle]\nwheelbase_m = -1", "vehicle.wheelbase_m: expected a number > 0"),
        ("[vehicle]\nring_teeth = 4", "vehicle.ring_teeth: expected a whole number >= 8"),
        ("[vehicle]\nring_teeth = 48.5", "vehicle.ring_teeth: expected a whole number, got"),
        ("[vehicle]\ndrive_side = 'middle'", 'vehicle.drive_side: must be "left" or "right"'),
        ("[vehicle]\ndriven = 4", 'vehicle.driven: must be "front", "rear" or "all"'),
        ("[fault_memory]\nid_bits = 12", "fault_memory.id_bits: must be 11 or 29"),
        ("[fault_memory]\naddressing = 'mixed'", 'must be "normal" or "extended"'),
        ("[fault_memory]\npadding = 'no'", 'must be a byte, 0 to 255, or "none"'),
        ("[vehicle]\ntyre = 'round'", "vehicle.tyre: 'round' is no tyre size"),
        ("[vehicle]\nwheels = 4", "vehicle: has the unknown key `wheels`"),
        ("colour = 'red'", "car.toml: has the unknown key `colour`"),
        ("vehicle = 3", "vehicle: expected a section, got a whole number"),
        ("[wheels]\nFL = 'no dot'", 'wheels.FL: must be "Message.Signal"'),
        ("[wheels]\nXX = 'A.B'", "wheels: has the unknown key `XX`"),
        ("[bus]\nbitrate = 0", "bus.bitrate: expected a whole number >= 1"),
        ("[vehicle", "is not valid TOML"),
        (f"[bus]\nbitrate = {'9' * 5000}", "car.toml: has a number of thousands of digits. Write"),
        (
            f"wheels = {'[' * 5000}{']' * 5000}",
            "car.toml: is nested too deeply. A vehicle file has",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_key(tmp_path: Path, text: str, says: str) -> None:
    told = read(tmp_path, text)
    assert says in told
    assert "\n" not in told


@pytest.mark.parametrize("size", ["000/00 R00", "195/999 R99", "195/00 R01"])
def test_a_tyre_that_fits_no_car_is_refused(tmp_path: Path, size: str) -> None:
    told = read(tmp_path, f'[vehicle]\ntyre = "{size}"')
    assert f"vehicle.tyre: a tyre '{size}' would roll" in told
    assert "Write the size on the side wall" in told


def test_a_file_that_is_no_text_is_told(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(VehicleError, match="not UTF-8"):
        read_vehicle(path)
    with pytest.raises(VehicleError, match="cannot be read"):
        read_vehicle(tmp_path)


def test_every_key_is_optional(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text("\ufeff", encoding="utf-8")  # an editor's mark at the start is no content
    vehicle = read_vehicle(path)
    assert vehicle.drive_side is None
    assert vehicle.circumference_m == ASSUMED_CIRCUMFERENCE_M
    assert not vehicle.circumference_is_known


@pytest.mark.parametrize(
    ("text", "expected_m"),
    [
        ("rolling_circumference_m = 1.9", 1.9),
        ("tyre = '195/65 R15'", 1.9352),
        ("tyre = '195/65 R15'\nrolling_circumference_m = 1.9", 1.9),
    ],
)
def test_what_was_measured_comes_before_what_the_side_wall_says(
    tmp_path: Path, text: str, expected_m: float
) -> None:
    path = tmp_path / "car.toml"
    path.write_text(f"[vehicle]\n{text}\n", encoding="utf-8")
    vehicle = read_vehicle(path)
    assert vehicle.circumference_m == pytest.approx(expected_m, abs=1e-4)
    assert vehicle.circumference_is_known


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "rolling_circumference_m = 1938",
            "1938 is no length in metres that this can be. Write 1.938",
        ),
        ("wheelbase_m = 2980", "2980 is no length in metres that this can be. Write 2.98,"),
        ("track_m = 160", "160 is no length in metres that this can be. Write 1.6,"),
        ("wheelbase_m = inf", "inf is no length in metres that this can be. Give it in metres"),
        ("track_m = 1e300", "1e+300 is no length in metres that this can be. Give it in metres"),
        (
            "wheelbase_m = 1e-308",
            "1e-308 is no length in metres that this can be. Give it in metres",
        ),
    ],
)
def test_lengths_that_are_not_in_metres_are_refused(tmp_path: Path, text: str, says: str) -> None:
    told = read(tmp_path, f"[vehicle]\n{text}")
    assert f"car.toml, vehicle.{text.partition(' ')[0]}: {says}" in told


@pytest.mark.parametrize("metres", [(0.8, 1.04, 1.1), (3.4, 6.7, 2.1)])
def test_a_go_kart_and_a_lorry_may_be_driven(
    tmp_path: Path, metres: tuple[float, float, float]
) -> None:
    path = tmp_path / "car.toml"
    keys = ("rolling_circumference_m", "wheelbase_m", "track_m")
    lines = [f"{key} = {length}" for key, length in zip(keys, metres, strict=True)]
    path.write_text("\n".join(["[vehicle]", *lines]))
    facts = read_vehicle(path).vehicle
    assert tuple(getattr(facts, key) for key in keys) == metres
