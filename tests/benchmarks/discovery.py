"""How often the wheel speeds are found without a DBC: simulated drives, layouts of an open set.

    python tests/benchmarks/discovery.py --layouts 46 --seed 1 --dead --negatives 50
    python tests/benchmarks/discovery.py --time

Every four-wheel layout of the PyPI package `opendbc` (an open data set, MIT licence) takes its
turn: a drive is packed by it, among 30 to 60 other messages. Prints one table: how often the four
fields stand first in the ranking, with the very bits; with one bit more or less at an end; and
with those of the bits that moved at all in the drive, which is all that data can show; how often
the corners are right, given one declared turn; how often nothing is proposed. Captures without
four wheel speeds: how often something is. ``--show`` prints each case that went wrong, ``--case``
draws one of them again. ``--time`` measures a capture of 2.4 million frames over ten minutes.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import opendbc

REPOSITORY = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(REPOSITORY))

from canwheel.corners import CORNERS, Corner  # noqa: E402
from canwheel.definitions.assign import wheel_sets  # noqa: E402
from canwheel.definitions.dbc import read_definitions  # noqa: E402
from canwheel.definitions.layout import BitField, WheelLayout  # noqa: E402
from canwheel.discovery import Candidate, DeclaredTurn, Hints, discover_wheels  # noqa: E402
from canwheel.errors import RequestError  # noqa: E402
from canwheel.roadtest.adopt import adopt_layout  # noqa: E402
from canwheel.roadtest.bus_layout import BusLayout  # noqa: E402
from canwheel.roadtest.not_wheels import LOOK_ALIKES  # noqa: E402
from canwheel.roadtest.packing import bit_places  # noqa: E402
from canwheel.roadtest.recording import write_log  # noqa: E402
from canwheel.roadtest.route import random_route  # noqa: E402
from canwheel.roadtest.unlabelled import (  # noqa: E402
    Trouble,
    TrueField,
    UnlabelledCapture,
    unlabelled_drive,
    without_wheels,
)
from canwheel.roadtest.wheel_messages import wheel_messages  # noqa: E402
from canwheel.vehicle import Vehicle, VehicleFacts  # noqa: E402

TROUBLES: tuple[Trouble, ...] = ("dead", "late", "frozen", "flagged")
COARSE_KPH = 0.9
"""A step from which a set of four is a copy for show, not to be judged by. [km/h]"""
BIG_FRAMES, BIG_S = 2_400_000, 600.0


# --- what the program found, in the terms of this benchmark --------------------------------------


@dataclass(frozen=True, slots=True)
class Found:
    """One proposal.

    Attributes
    ----------
    kind : ``speed`` or what else it is called.
    fields : its four fields.
    corners : the same by corner, where the proposal says which is which.
    """

    kind: str
    fields: tuple[TrueField, ...]
    corners: dict[Corner, TrueField] | None


def discovered(capture: UnlabelledCapture) -> list[Found]:
    """Run the program on a capture, with one declared left turn; the ranking, best first."""
    hints = Hints(turns=(DeclaredTurn("left", capture.left_s),) if capture.wheels else ())
    first_ns = int(capture.frames.time_ns[0])
    try:
        discovery = discover_wheels(capture.frames, first_ns, hints)
    except RequestError:  # what it found did not turn then: it found something else
        discovery = discover_wheels(capture.frames, first_ns)
    return [_found(candidate) for candidate in discovery.candidates]


def _found(candidate: Candidate) -> Found:
    fields = tuple(
        TrueField(field.can_id, field.extended, field.bits) for field in candidate.fields
    )
    kind = "speed" if candidate.kind == "wheel speeds" else candidate.kind
    return Found(
        kind, fields, dict(zip(CORNERS, fields, strict=True)) if candidate.is_complete else None
    )


# --- layouts -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Layout:
    """Four wheel speeds of a DBC file.

    Attributes
    ----------
    name : file and first message.
    coarse : one step is about a km/h.
    """

    name: str
    path: Path
    number: int
    coarse: bool

    def messages(self, rng: np.random.Generator) -> BusLayout:
        """The messages, with contents in their other fields too."""
        definitions = read_definitions(self.path)
        family = wheel_sets(definitions, _ANY_CAR)[self.number]
        fl, fr, rl, rr = (wheel.place for wheel in family.wheels)
        layout = WheelLayout(self.path.name, (fl, fr, rl, rr), family.unit)
        return wheel_messages(rng, adopt_layout(definitions, layout), definitions)


_ANY_CAR = Vehicle(vehicle=VehicleFacts(driven="front"))
"""Which axle is driven; one file names its wheels by that."""


def open_layouts(files: str = "*") -> list[Layout]:
    """Every set of four wheel speeds of the open data set; counts of pulses are none."""
    layouts = []
    for path in sorted(Path(opendbc.__file__).parent.rglob(f"{files}.dbc")):
        for number, family in enumerate(wheel_sets(read_definitions(path), _ANY_CAR)):
            if family.unit == "pulse count":
                continue
            name = f"{path.stem}:{family.wheels[0].place.message}"
            coarse = family.is_copy or (family.step_kph or 0.0) >= COARSE_KPH
            layouts.append(Layout(name, path, number, coarse))
    return layouts


# --- how well a proposal fits the truth ----------------------------------------------------------


def _ends(bits: BitField) -> tuple[int, int]:
    """Places of the lowest and the highest bit in the line of rising significance."""
    if bits.byte_order == "little_endian":
        return bits.start, bits.start + bits.length - 1
    first = 8 * (bits.start // 8) + 7 - bits.start % 8
    return -(first + bits.length - 1), -first


def _same_order(one: BitField, other: BitField) -> bool:
    """Within one byte both byte orders are the same field."""
    in_one_byte = all(len({place // 8 for place in bit_places(bits)}) == 1 for bits in (one, other))
    return one.byte_order == other.byte_order or in_one_byte


def _apart(found: TrueField, truth: TrueField) -> tuple[int, int] | None:
    """How many bits the lowest and the highest end are off; None where it is another field."""
    if (found.frame_id, found.extended) != (truth.frame_id, truth.extended):
        return None
    if found.bits.byte_order == truth.bits.byte_order:
        low, high = _ends(found.bits)
        true_low, true_high = _ends(truth.bits)
        return low - true_low, high - true_high
    if not _same_order(found.bits, truth.bits):
        return None
    return _apart(_little(found), _little(truth))


def _little(one: TrueField) -> TrueField:
    """A field within one byte, told the other way."""
    places = sorted(bit_places(one.bits))
    return TrueField(one.frame_id, one.extended, BitField(places[0], len(places), "little_endian"))


def _moved(capture: UnlabelledCapture, one: TrueField) -> frozenset[int]:
    """Bits of the message that change in the capture."""
    frames = capture.frames
    extended = (frames.flags & 1) > 0
    data = frames.data[(frames.can_id == one.frame_id) & (extended == one.extended)]
    changes = np.bitwise_or.reduce(data ^ data[0], axis=0)
    bits = np.unpackbits(changes[:, None], axis=1, bitorder="little").ravel()
    return frozenset(np.flatnonzero(bits).tolist())


def fit(capture: UnlabelledCapture, found: TrueField, truth: TrueField) -> str:
    """``exact``, ``near`` (a bit at an end), ``shown`` (all that moved), or ``wrong``."""
    apart = _apart(found, truth)
    if apart is None:
        return "wrong"
    if apart == (0, 0):
        return "exact"
    if abs(apart[0]) <= 1 and abs(apart[1]) <= 1:
        return "near"
    if abs(apart[0]) > 1:
        return "wrong"
    differing = bit_places(found.bits) ^ bit_places(truth.bits)
    return "wrong" if differing & _moved(capture, truth) else "shown"


_GRADES = ("exact", "near", "shown", "wrong")


def grade(capture: UnlabelledCapture, found: Found) -> tuple[str, bool | None]:
    """The worst fit of the four, each with its best partner; whether the corners are right."""
    worst = "exact"
    left = list(found.fields)
    partner: dict[Corner, TrueField] = {}
    for corner, truth in zip(CORNERS, capture.wheels, strict=True):
        fits = [(_GRADES.index(fit(capture, one, truth)), n) for n, one in enumerate(left)]
        if not fits:
            return "wrong", None
        best, place = min(fits)
        worst = max(worst, _GRADES[best], key=_GRADES.index)
        partner[corner] = left.pop(place)
    if worst == "wrong" or found.corners is None:
        return worst, None
    return worst, all(found.corners.get(corner) == one for corner, one in partner.items())


# --- the tables ----------------------------------------------------------------------------------


@dataclass(slots=True)
class Row:
    """Counts of one kind of case."""

    cases: int = 0
    exact: int = 0
    near: int = 0
    shown: int = 0
    lower: int = 0
    corners: int = 0
    nothing: int = 0
    taken_s: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def ranking_of(capture: UnlabelledCapture, label: str) -> list[Found] | None:
    """The ranking; None, and a line, where the program fell over: the other cases go on."""
    try:
        return discovered(capture)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is a failed case
        print(f"{label}: fell over: {error!r}")  # noqa: T201
        return None


def score(row: Row, label: str, capture: UnlabelledCapture) -> None:
    """Add one drive with wheels to its row."""
    begin_s = time.perf_counter()
    ranking = ranking_of(capture, label) or []
    row.taken_s.append(time.perf_counter() - begin_s)
    row.cases += 1
    grades = [grade(capture, found) for found in ranking]
    if not grades:
        row.nothing += 1
        row.wrong.append(f"{label}: nothing proposed; truth {_told(capture.wheels)}")
        return
    first, corners = grades[0]
    row.exact += first == "exact"
    row.near += first in {"exact", "near"}
    row.shown += first != "wrong"
    row.corners += bool(corners)
    row.lower += first == "wrong" and any(one != "wrong" for one, _ in grades[1:])
    if first in {"shown", "wrong"} or not corners:
        place = next((n for n, (one, _) in enumerate(grades) if one != "wrong"), None)
        row.wrong.append(
            f"{label}: first {ranking[0].kind} {_told(ranking[0].fields)} ({first}, corners "
            f"{corners}); truth {_told(capture.wheels)} "
            + (f"ranks {place + 1}" if place is not None else "not among them")
        )


def _told(fields: tuple[TrueField, ...]) -> str:
    return " ".join(
        f"{one.frame_id:X}:{one.bits.start}|{one.bits.length}"
        f"{'<' if one.bits.byte_order == 'little_endian' else '>'}"
        for one in fields
    )


def print_rows(rows: dict[str, Row], *, show: bool) -> None:
    """Print one line a kind of case."""
    head = ("drives", "n", "exact", "±1 bit", "shown", "corners", "lower", "nothing", "s each")
    print("{:24}{:>5}{:>8}{:>8}{:>8}{:>9}{:>7}{:>9}{:>8}".format(*head))  # noqa: T201
    for name, row in rows.items():
        n = max(row.cases, 1)
        shares = "".join(
            f"{count / n:>{width}.1%}"
            for count, width in ((row.exact, 8), (row.near, 8), (row.shown, 8), (row.corners, 9))
        )
        seconds = float(np.mean(row.taken_s)) if row.taken_s else 0.0
        print(  # noqa: T201
            f"{name:24}{row.cases:5}{shares}{row.lower:7}{row.nothing:9}{seconds:8.2f}"
        )
        if show:
            for line in row.wrong:
                print(f"    {line}")  # noqa: T201


def cases(options: argparse.Namespace) -> Iterator[tuple[str, str, UnlabelledCapture]]:
    """Every drive with wheels: its row, its label, the capture."""
    layouts = [one for one in open_layouts() if options.only is None or options.only in one.name]
    numbers = range(options.layouts) if options.case is None else [options.case]
    kinds: list[Trouble | None] = [None]
    kinds += TROUBLES if options.dead else []
    if options.trouble:
        kinds = [options.trouble]
    for number in numbers:
        layout = layouts[number % len(layouts)]
        seed = options.seed * 100_000 + number
        for kind in kinds:
            rng = np.random.default_rng((seed, 1))
            wheels = layout.messages(rng)
            trouble = None if kind is None else (kind, CORNERS[int(rng.integers(4))])
            capture = unlabelled_drive(
                wheels, seed=seed, trouble=trouble, smooth=options.smooth, copies=not layout.coarse
            )
            row = ("coarse, " if layout.coarse else "") + (kind or "sound")
            label = f"--seed {options.seed} --case {number} {layout.name}"
            yield row, label + (f" {kind} {trouble[1]}" if trouble else ""), capture


def negatives(options: argparse.Namespace) -> None:
    """Captures without four wheel speeds: print how often something was proposed."""
    layouts = [layout for layout in open_layouts() if not layout.coarse]
    counts = {look_alike: [0, 0] for look_alike in LOOK_ALIKES}
    wrong = []
    for number in range(options.negatives):
        look_alike = LOOK_ALIKES[number % len(LOOK_ALIKES)]
        seed = options.seed * 100_000 + number
        layout = layouts[seed % len(layouts)]
        wheels = layout.messages(np.random.default_rng((seed, 1)))
        capture = without_wheels(look_alike, seed=seed, wheels=wheels)
        label = f"--seed {options.seed} negative {number} {look_alike}"
        ranking = ranking_of(capture, label)
        counts[look_alike][0] += 1
        counts[look_alike][1] += ranking is None or bool(ranking)
        if ranking:
            wrong.append(f"    {label}: {ranking[0].kind} {_told(ranking[0].fields)}")
    total = sum(proposed for _, proposed in counts.values())
    print(f"\n{'without wheel speeds':28}{'n':>5}{'proposed':>10}")  # noqa: T201
    for look_alike, (n, proposed) in counts.items():
        print(f"  {look_alike:26}{n:5}{proposed:10}")  # noqa: T201
    share = total / max(options.negatives, 1)
    print(f"  {'all':26}{options.negatives:5}{total:10}  {share:.1%}")  # noqa: T201
    if options.show:
        print(*wrong, sep="\n")  # noqa: T201


# --- time and memory -----------------------------------------------------------------------------


def big_capture(seed: int) -> UnlabelledCapture:
    """2.4 million frames over ten minutes, all on one bus."""
    rng = np.random.default_rng(seed)
    layout = next(one for one in open_layouts() if not one.coarse)
    wheels = layout.messages(rng)
    route = random_route(rng, duration_s=BIG_S * 1.1, mix=("town", "country"))
    capture = unlabelled_drive(
        wheels, seed=seed, route=route, others=60, frames_per_s=BIG_FRAMES / BIG_S
    )
    return replace(capture, frames=capture.frames.select(np.arange(BIG_FRAMES)))


def make_big(path: Path, seed: int) -> None:
    """Write the big capture."""
    frames = big_capture(seed).frames
    write_log(frames, path)
    lasting_s = float(frames.time_ns[-1] - frames.time_ns[0]) / 1e9
    size_mb = path.stat().st_size / 1e6
    print(f"{len(frames):,} frames over {lasting_s:.0f} s, {size_mb:.0f} MB")  # noqa: T201


def measure_time(options: argparse.Namespace) -> None:
    """Run the command on the big capture in a process of its own."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        folder.mkdir(exist_ok=True)
        path = folder / f"big_{options.seed}.log"
        if not path.exists():
            # In a process of its own: a child is born with its parent's peak of memory.
            arguments = [sys.executable, __file__, "--make", str(path), "--seed", str(options.seed)]
            subprocess.run(arguments, check=True)
        arguments = [sys.executable, "-m", "canwheel", "discover", str(path), "--json"]
        environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
        begin_s = time.perf_counter()
        process = os.posix_spawn(
            sys.executable,
            arguments,
            environment,
            file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
        )
        _, status, usage = os.wait4(process, 0)
        taken_s = time.perf_counter() - begin_s
        code = os.waitstatus_to_exitcode(status)
        print(  # noqa: T201
            f"canwheel discover: {taken_s:.1f} s (goal 20 s), {usage.ru_maxrss / 1024:.0f} MB "
            f"(goal 500 MB), exit code {code}"
        )


def main() -> None:
    """Run the command line of this script."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--layouts", type=int, default=46, help="drives, one a layout in turn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--dead", action="store_true", help="also with one corner in trouble")
    parser.add_argument("--trouble", choices=TROUBLES, help="only this trouble")
    parser.add_argument("--negatives", type=int, default=0, help="captures without wheel speeds")
    parser.add_argument("--smooth", action="store_true", help="a road without any noise")
    parser.add_argument("--only", help="only layouts whose name contains this")
    parser.add_argument("--case", type=int, help="only this drive")
    parser.add_argument("--show", action="store_true", help="print each case that went wrong")
    parser.add_argument("--save", type=Path, help="write the captures of these cases here")
    parser.add_argument("--time", action="store_true", help="time and memory of a big capture")
    parser.add_argument("--folder", type=Path, help="keep the big capture here for another run")
    parser.add_argument("--make", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.make:
        make_big(options.make, options.seed)
        return
    if options.time:
        measure_time(options)
        return
    rows: dict[str, Row] = {}
    for row, label, capture in cases(options):
        if options.save:
            options.save.mkdir(exist_ok=True)
            write_log(capture.frames, options.save / f"{label.replace(' ', '_').strip('-')}.log")
        score(rows.setdefault(row, Row()), label, capture)
    print_rows(dict(sorted(rows.items())), show=options.show)
    if options.negatives:
        negatives(options)


if __name__ == "__main__":
    main()
