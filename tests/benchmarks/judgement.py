"""How often the judgement is right: random simulated drives with a fault, a look-alike or none.

    python tests/benchmarks/judgement.py --cases 300 --seed 7

Prints one table: for each kind of fault, how often the corner and the kind were found, how often a
wrong corner was accused, how often the verdict was only "doubtful", how often the document says
that the drive could not show that kind, or it hardly showed, or nobody could tell (these are left
out of the shares); and
for healthy drives and look-alikes, how often a corner was accused or doubted without a fault.
``--only NAME`` draws one kind; ``--show`` prints each case that went wrong, to be drawn again.
"""

import argparse
import tempfile
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.findings import Examination, examine
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.roadtest.bus_layout import dbc_text
from canwheel.roadtest.cases import Case, random_case
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.traffic import random_traffic
from canwheel.track.build import build_track
from canwheel.vehicle import read_vehicle

SHORTEST_SHOWN_S = 0.1
"""A fault that shows for less than this while the car moves cannot be asked for. [s]"""


@dataclass(slots=True)
class Row:
    """Counts of one kind of case."""

    cases: int = 0
    hours: float = 0.0
    corner_found: int = 0
    kind_found: int = 0
    wrong_corner: int = 0
    doubtful: int = 0
    untested: int = 0
    false_alarm: int = 0
    false_doubt: int = 0
    wrong: list[str] = field(default_factory=list)


def judge_case(case: Case, folder: Path) -> tuple[Examination, Judgement]:
    """Simulate, record, decode and judge one case."""
    drive = case.drive()
    taken = frozenset(message.frame_id for message in case.layout.messages)
    rng = np.random.default_rng(case.seed)
    traffic = random_traffic(rng, ids=3, taken=taken, fastest_s=0.02)
    frames = record_frames(drive, case.layout, traffic)
    dbc = folder / "case.dbc"
    dbc.write_text(dbc_text(case.layout), encoding="cp1252")
    vehicle_file = folder / "case.toml"
    vehicle_file.write_text(case.layout.vehicle_toml, encoding="utf-8")
    vehicle = read_vehicle(vehicle_file)
    layout = find_wheels(read_definitions(dbc), vehicle)
    summary = CaptureSummary(
        file="case",
        sha256="",
        frames=len(frames),
        first_time_ns=int(frames.time_ns[0]),
        last_time_ns=int(frames.time_ns[-1]),
    )
    track = build_track(frames, layout, vehicle, summary)
    examination = examine(track)
    judgement = judge_drive(
        examination.outcome,
        examination.coverage,
        typical_error_pct=examination.typical_error_pct,
    )
    return examination, judgement


def true_corners(case: Case) -> dict[Corner, str]:
    """What must be found where."""
    truth: dict[Corner, str] = {}
    for effect in case.faults:
        truth[effect.corner] = str(effect.kind)
        other = getattr(effect, "other", None)
        if effect.kind == "crossed" and other is not None:
            truth[other] = "crossed"
        if effect.kind == "message_missing":  # everything in that message is missing
            truth |= dict.fromkeys(_message_mates(case, effect.corner), "message_missing")
    return truth


def _message_mates(case: Case, corner: Corner) -> list[Corner]:
    for message in case.layout.messages:
        mates = [signal.quantity for signal in message.signals]
        if corner in mates:
            return [Corner(mate) for mate in mates if mate in CORNERS]
    return []


def not_tellable(case: Case) -> bool:
    """Whether left and right are swapped on one axle and no signal says which way the car turns.

    No drive tells which axle it is then: all four corners must be doubted.
    """
    across = all(f.kind == "crossed" and f.other is f.corner.mirror for f in case.faults)
    told = case.layout.vehicle_toml
    return bool(case.faults) and across and "steering" not in told and "yaw_rate" not in told


def score(case: Case, judgement: Judgement, row: Row, label: str) -> None:
    """Add one case to its row."""
    truth = true_corners(case)
    verdicts = {c: judgement.corner(c) for c in CORNERS}
    said = {c: [(f.kind, f.confidence) for f in judged.findings] for c, judged in verdicts.items()}
    accused = {c for c, judged in verdicts.items() if judged.verdict == "faulty"}
    doubted = {c for c, judged in verdicts.items() if judged.verdict == "doubtful"}
    row.cases += 1
    row.hours += judgement.coverage.moving_s / 3600
    healthy = set(CORNERS) - set(truth)
    innocent, suspected = accused & healthy, doubted & healthy
    if truth:
        right_corner = all(c in accused for c in truth)
        right_kind = right_corner and all(
            kind in [k for k, _ in said[c]] for c, kind in truth.items()
        )
        unseen = not right_corner and (
            all(
                c in accused
                or (c not in doubted and any(n.kind == kind for n in verdicts[c].not_judged))
                for c, kind in truth.items()
            )
            or min(case.shown_s()) < SHORTEST_SHOWN_S
            or (not_tellable(case) and set(CORNERS) == doubted)
        )
        row.untested += unseen
        row.corner_found += right_corner
        row.kind_found += right_kind
        row.wrong_corner += bool(innocent)
        row.doubtful += bool(doubted & set(truth)) and not right_corner
        good = (right_kind or unseen) and not innocent and not suspected
    else:
        row.false_alarm += bool(innocent)
        good = not innocent and not suspected
    row.false_doubt += bool(suspected)
    if not good:
        row.wrong.append(f"{label} truth {fmt(truth)} said {fmt(said)}")


def fmt(by_corner: dict[Corner, object]) -> str:
    """Print only what is there."""
    return " ".join(f"{c.value}:{what}" for c, what in by_corner.items() if what)


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="skip the cases before this one")
    parser.add_argument("--only", help="draw only this kind of case")
    parser.add_argument("--show", action="store_true", help="print each case that went wrong")
    arguments = parser.parse_args()
    rows: defaultdict[str, Row] = defaultdict(Row)
    with tempfile.TemporaryDirectory() as name:
        for number in range(arguments.first, arguments.first + arguments.cases):
            case = random_case(np.random.default_rng((arguments.seed, number)), arguments.only)
            _, judgement = judge_case(case, Path(name))
            score(case, judgement, rows[case.name], f"--seed {arguments.seed} case {number}")
    print_table(rows, show=arguments.show)


def print_table(rows: dict[str, Row], *, show: bool) -> None:
    """Print one line a kind of case, and all faults and all others together."""
    head = (
        "case",
        "n",
        "hours",
        "corner",
        "kind",
        "untested",
        "wrong corner",
        "doubtful",
        "alarm",
        "doubt",
    )
    print("{:18}{:>5}{:>7}{:>8}{:>8}{:>10}{:>14}{:>10}{:>7}{:>7}".format(*head))  # noqa: T201
    for name, row in sorted(rows.items()):
        is_fault = row.corner_found or row.kind_found or row.wrong_corner or row.doubtful
        asked = max(1, row.cases - row.untested)
        corner = f"{row.corner_found / asked:.0%}" if is_fault else "-"
        kind = f"{row.kind_found / asked:.0%}" if is_fault else "-"
        print(  # noqa: T201
            f"{name:18}{row.cases:5}{row.hours:7.1f}{corner:>8}{kind:>8}{row.untested:10}{row.wrong_corner:14}"
            f"{row.doubtful:10}{row.false_alarm:7}{row.false_doubt:7}"
        )
        if show:
            for line in row.wrong:
                print(f"    {line}")  # noqa: T201


if __name__ == "__main__":
    main()
