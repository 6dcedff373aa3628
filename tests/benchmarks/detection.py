"""How small a fault may be and still be found: detection curves over random simulated drives.

    python tests/benchmarks/detection.py --jobs 2
    python tests/benchmarks/detection.py --kinds frozen "late pick-up" --drives 6

For each kind of fault a ladder of sizes is put into the same random drives, cars and layouts, at
message periods of 10 to 100 ms. Found means: the right corner is called faulty, by the right kind.
Prints the share found at each size, then the smallest size found in at least nine of ten drives,
and for faults that last, that of shorter and longer drives as well; and how often another corner
was called faulty instead. Writes the curves as a picture, ``detection.svg`` beside this file,
where all kinds are run (``--picture`` says where else). The same seed gives the same figures.
"""

import argparse
import tempfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
from detection_plot import Panel, draw
from judgement import judge_case, true_corners

from canwheel.corners import CORNERS, Corner
from canwheel.roadtest import faults
from canwheel.roadtest.bus_layout import BusLayout, unit_per_kph
from canwheel.roadtest.cases import Case
from canwheel.roadtest.chance import happens, sign
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.motion import KPH, BoolColumn, FloatColumn, Motion
from canwheel.roadtest.random_car import (
    random_car,
    random_pickups,
    random_rings,
    random_road,
    random_unit,
)
from canwheel.roadtest.random_layout import random_layout
from canwheel.roadtest.route import random_route
from canwheel.roadtest.scene import Scene, Windows, inside
from canwheel.roadtest.sensor import smooth
from canwheel.roadtest.simulation import Drive, Scenario, Way, find_way, simulate

PERIODS_S = (0.01, 0.02, 0.05, 0.1)
CURVE_MINUTES, TURNS_MINUTES = 5.0, 4.0
SHORT_MINUTES, LONG_MINUTES = 2.0, 15.0
MOMENT_MINUTES = 1.0
"""Faults of a moment, or of the first seconds of driving, need no long drive around them. [min]"""
FOUND_SHARE = 0.9
MIX = ("town", "town", "country")
"""What the README asks a driver for: starts and stops, turns each way, some open road."""
WINDING = ("town", "town", "car_park")
"""Where it is turns that count, there must be some."""
BATCHES_S = (0.0, 0.0, 0.004, 0.01)
"""How often the recorder fetches frames. [s]"""
WIDE_M, TIGHT_M = 50.0, 15.0
"""Radius of what counts as a turn, and of a tight one: junctions, roundabouts, car parks. [m]"""
JUMP_S, MANY_JUMPS, BIG_JUMP_KPH = 0.1, 10, 20.0
USUAL_TEETH = 48
FAST_KPH = 15.0
"""Every sensor must read by this speed (UN Regulation 13-H). [km/h]"""
COARSEST_KPH = 0.13
"""Steps of the signal up to here; most are finer. Coarser ones hide more. [km/h]"""


@dataclass(frozen=True, slots=True)
class Kept(Case):
    """A case whose drive is simulated already: several recordings are made of one drive."""

    kept: Drive | None = None

    def drive(self) -> Drive:
        """Return it."""
        assert self.kept is not None
        return self.kept


@dataclass(frozen=True, slots=True)
class RecordingEnds(Effect):
    """The recorder is switched off once so many seconds were driven in some way. [s]"""

    after_s: float = 60.0
    counts: Callable[[Motion], BoolColumn] | None = None

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """From then on."""
        del rng
        motion = scene.motion
        if self.counts is None:
            return np.array([[self.after_s, np.inf]])
        step_s = motion.time_s[1] - motion.time_s[0]
        driven_s = np.cumsum(self.counts(motion)) * step_s
        at = int(np.searchsorted(driven_s, self.after_s))
        return np.array([[motion.time_s[min(at, len(driven_s) - 1)], np.inf]])

    def record(
        self, time_s: FloatColumn, windows: Windows, rng: np.random.Generator
    ) -> tuple[FloatColumn, BoolColumn]:
        """Keep nothing after it."""
        del rng
        return time_s, ~inside(time_s, windows)


@dataclass(frozen=True, slots=True)
class Jumps(faults.Erratic):
    """So many jumps of one size, each of a tenth of a second."""

    times: int = 10

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Anywhere above the speed by which every sensor must read."""
        return scene.draw_windows(
            "any",
            rng,
            per_km=0.0,
            lasting_s=self.lasting_s,
            above_kph=FAST_KPH,
            at_least=self.times,
        )


@dataclass(frozen=True, slots=True)
class Flagged(faults.FlaggedInvalid):
    """Called invalid once on the way."""

    lasts_s: float = 1.0

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Anywhere above the speed by which every sensor must read."""
        lasting_s = (self.lasts_s, self.lasts_s)
        return scene.draw_windows("any", rng, per_km=0.0, lasting_s=lasting_s, above_kph=FAST_KPH)


@dataclass(frozen=True, slots=True)
class Halved(faults.Miscounted):
    """Every second pulse lost once on the way."""

    lasts_s: float = 1.0

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Anywhere above the speed by which every sensor must read."""
        lasting_s = (self.lasts_s, self.lasts_s)
        return scene.draw_windows("any", rng, per_km=0.0, lasting_s=lasting_s, above_kph=FAST_KPH)


def fast(motion: Motion) -> BoolColumn:
    """Above the speed by which every sensor must read."""
    return np.abs(motion.speed_mps) * KPH > FAST_KPH


def turning(motion: Motion, *, radius_m: float) -> BoolColumn:
    """In a turn of this radius or tighter, above walking pace."""
    return (np.abs(motion.curvature) > 1 / radius_m) & (motion.speed_mps * KPH > 5.0)


@dataclass(frozen=True, slots=True)
class Draw:
    """What a fault is drawn from: the same for every size."""

    rng: np.random.Generator
    corner: Corner
    others_kph: float  # at which the other corners' sensors pick up
    duration_s: float

    def within(self) -> float:
        """A time well inside the drive. [s]"""
        return float(self.rng.uniform(0.15, 0.6) * self.duration_s)

    def tooth(self) -> int:
        """Any tooth."""
        return int(self.rng.integers(1000))


Maker = Callable[[Draw, float], tuple[Effect, ...]]


@dataclass(frozen=True, slots=True)
class Sweep:
    """A kind of fault and the sizes that are tried.

    Attributes
    ----------
    name, axis : as printed; `axis` names the size and its unit.
    sizes : the least visible first.
    make : the effects of a size.
    minutes : length of the drive. [min]
    mix : what the route is made of.
    other_minutes : of others, for what shows all along and so depends on it. [min]
    in_unit : put in after the unit's smoothing, which is then the same for all message periods.
    tells_turns : whether there are a steering and a yaw-rate signal; None: by chance.
    teeth : of all rings, by the size; None: any.
    one_message : all four corners in one message.
    """

    name: str
    axis: str
    sizes: tuple[float, ...]
    make: Maker
    minutes: float = MOMENT_MINUTES
    other_minutes: tuple[float, ...] = ()
    mix: tuple[str, ...] = MIX
    in_unit: bool = True
    tells_turns: bool | None = None
    teeth: Callable[[float], int] | None = None
    one_message: bool = False


def _late(draw: Draw, kph: float) -> tuple[Effect, ...]:
    return (faults.LatePickup(draw.corner, draw.others_kph + kph),)


def _dropout(draw: Draw, lasts_s: float) -> tuple[Effect, ...]:
    lasting_s = (lasts_s, lasts_s)
    return (faults.Dropout(draw.corner, per_km=0.0, lasting_s=lasting_s, in_unit=True),)


def _dropout_times(draw: Draw, times: float) -> tuple[Effect, ...]:
    return (
        faults.Dropout(
            draw.corner, per_km=0.0, lasting_s=(0.2, 0.2), in_unit=True, at_least=int(times)
        ),
    )


def _dead(draw: Draw, fast_s: float) -> tuple[Effect, ...]:
    return faults.NoSignal(draw.corner), RecordingEnds(draw.corner, fast_s, fast)


def _frozen(draw: Draw, lasts_s: float) -> tuple[Effect, ...]:
    from_s = draw.within()
    return (faults.Frozen(draw.corner, from_s, from_s + lasts_s),)


def _off_centre(draw: Draw, pct: float) -> tuple[Effect, ...]:
    return (faults.RingDamage(draw.corner, off_centre=pct / 100),)


def _bent(draw: Draw, pct: float) -> tuple[Effect, ...]:
    return (faults.RingDamage(draw.corner, bent=((draw.tooth(), pct / 100),)),)


def _usual_teeth(size: float) -> int:
    del size
    return USUAL_TEETH


def _missing(draw: Draw, teeth: float) -> tuple[Effect, ...]:
    return (faults.RingDamage(draw.corner, missing=(draw.tooth() % int(teeth),)),)


def _ratio(draw: Draw, pct: float) -> tuple[Effect, ...]:
    return (faults.WrongRatio(draw.corner, tyre=1 + sign(draw.rng) * pct / 100),)


def _half(draw: Draw, lasts_s: float) -> tuple[Effect, ...]:
    return (Halved(draw.corner, lasts_s=lasts_s),)


def _crossed(draw: Draw, turned_s: float, *, across: bool) -> tuple[Effect, ...]:
    other = draw.corner.mirror if across else draw.corner.same_side
    counts = partial(turning, radius_m=WIDE_M if across else TIGHT_M)
    return faults.Crossed(draw.corner, other), RecordingEnds(draw.corner, turned_s, counts)


def _jump(draw: Draw, size_kph: float) -> tuple[Effect, ...]:
    size = (size_kph, size_kph * 1.001)
    return (Jumps(draw.corner, size_kph=size, lasting_s=(JUMP_S, JUMP_S), times=MANY_JUMPS),)


def _jump_times(draw: Draw, times: float) -> tuple[Effect, ...]:
    size = (BIG_JUMP_KPH, BIG_JUMP_KPH * 1.001)
    return (Jumps(draw.corner, size_kph=size, lasting_s=(JUMP_S, JUMP_S), times=int(times)),)


def _tremble(draw: Draw, sd_kph: float) -> tuple[Effect, ...]:
    return (faults.Noisy(draw.corner, sd_kph=sd_kph),)


def _flagged(draw: Draw, lasts_s: float) -> tuple[Effect, ...]:
    return (Flagged(draw.corner, lasts_s=lasts_s),)


def _silent(draw: Draw, lasts_s: float) -> tuple[Effect, ...]:
    from_s = draw.within()
    return (faults.MessageMissing(draw.corner, from_s, from_s + lasts_s),)


def _copied(draw: Draw, turned_s: float, *, across: bool) -> tuple[Effect, ...]:
    of = draw.corner.mirror if across else draw.corner.same_side
    ends = RecordingEnds(draw.corner, turned_s, partial(turning, radius_m=WIDE_M))
    return faults.Copied(draw.corner, of), ends


SWEEPS = (
    Sweep("no signal", "seconds driven above 15 km/h [s]", (0.1, 0.3, 1, 3), _dead),
    Sweep(
        "late pick-up",
        "wakes later than the others by [km/h]",
        (4, 6, 8, 10, 14),
        _late,
        other_minutes=(SHORT_MINUTES,),
        in_unit=False,
        minutes=CURVE_MINUTES,
    ),
    Sweep("drop-out: length", "one that lasts [s]", (0.01, 0.02, 0.05, 0.1, 0.2, 0.4), _dropout),
    Sweep("drop-out: times", "so many of 0.2 s", (1, 2, 3, 5, 8), _dropout_times),
    Sweep("frozen", "once, for [s]", (1, 2, 4, 8, 16), _frozen, minutes=2.0),
    Sweep(
        "ring off-centre",
        "ripple once a turn [% of speed]",
        (0.25, 0.35, 0.5, 1, 2),
        _off_centre,
        other_minutes=(SHORT_MINUTES, LONG_MINUTES),
        in_unit=False,
        minutes=CURVE_MINUTES,
    ),
    Sweep(
        "one tooth missing",
        "of so many teeth",
        (100, 86, 60, 43),
        _missing,
        other_minutes=(SHORT_MINUTES, LONG_MINUTES),
        in_unit=False,
        minutes=CURVE_MINUTES,
        teeth=int,
    ),
    Sweep(
        "one tooth bent, of 48",
        "out of place by [% of the pitch]",
        (10, 20, 30, 45, 60),
        _bent,
        other_minutes=(SHORT_MINUTES, LONG_MINUTES),
        in_unit=False,
        minutes=CURVE_MINUTES,
        teeth=_usual_teeth,
    ),
    Sweep(
        "wrong ratio",
        "too much or too little by [%]",
        (1, 1.5, 2, 2.5, 3),
        _ratio,
        other_minutes=(SHORT_MINUTES, LONG_MINUTES),
        in_unit=False,
        minutes=CURVE_MINUTES,
    ),
    Sweep("half the pulses lost", "once, for [s]", (1, 2, 3, 5, 8), _half, minutes=2.0),
    Sweep(
        "left and right crossed",
        "seconds of turns, steering known [s]",
        (2, 4, 8, 16),
        partial(_crossed, across=True),
        tells_turns=True,
        minutes=TURNS_MINUTES,
        mix=WINDING,
    ),
    Sweep(
        "front and rear crossed",
        "seconds of tight turns [s]",
        (2, 4, 8, 16),
        partial(_crossed, across=False),
        tells_turns=False,
        minutes=TURNS_MINUTES,
        mix=WINDING,
    ),
    Sweep(
        "copied from the other side",
        "seconds of turns [s]",
        (2, 4, 8, 16),
        partial(_copied, across=True),
        one_message=True,
        minutes=TURNS_MINUTES,
        mix=WINDING,
    ),
    Sweep(
        "copied from the same side",
        "seconds of turns [s]",
        (2, 4, 8, 16, 32),
        partial(_copied, across=False),
        one_message=True,
        minutes=TURNS_MINUTES,
        mix=WINDING,
    ),
    Sweep("erratic: size", "ten jumps of [km/h]", (2, 4, 6, 8, 12), _jump, minutes=2.0),
    Sweep("erratic: times", "so many of 20 km/h", (2, 3, 5, 7, 10), _jump_times, minutes=2.0),
    Sweep(
        "erratic: trembling",
        "all the way, by one s.d. of [km/h]",
        (0.25, 0.5, 1, 2, 4),
        _tremble,
        minutes=2.0,
    ),
    Sweep("flagged invalid", "once, for [s]", (0.01, 0.02, 0.05, 0.1, 0.2), _flagged),
    Sweep("message missing", "once, for [s]", (0.3, 0.6, 0.9, 1.2, 2), _silent),
)


@dataclass(frozen=True, slots=True)
class Seeds:
    """Of what is drawn for one drive; the same for every size."""

    drive: int
    fault: int
    rings: int
    layout: int
    smoothing: int


@lru_cache(maxsize=16)
def sound_drive(
    name: str, mix: tuple[str, ...], number: int, minutes: float, seed: int
) -> tuple[Scenario, Way, Seeds]:
    """Draw a car, a road and a drive without a fault."""
    rng = np.random.default_rng((seed, zlib.crc32(name.encode()), number))
    seeds = Seeds(*(int(n) for n in rng.integers(1 << 31, size=5)))
    scenario = Scenario(
        car=random_car(rng),
        route=random_route(rng, duration_s=60 * minutes, mix=mix),
        road=random_road(rng),
        unit=replace(random_unit(rng, PERIODS_S[0]), tells_direction=False),
        pickups=random_pickups(rng, passive=happens(rng, 0.4)),
        wobble=float(rng.uniform(0.005, 0.04)),
        batch_s=float(rng.choice(BATCHES_S)),
    )
    return scenario, find_way(scenario, seed=seeds.drive), seeds


def simulate_one(
    sweep: Sweep, size: float, minutes: float, number: int, seed: int
) -> Callable[[float], Case]:
    """Simulate one drive with a fault of a size; returns what records it at a message period."""
    scenario, way, seeds = sound_drive(sweep.name, sweep.mix, number, minutes, seed)
    rng = np.random.default_rng(seeds.fault)
    corner = CORNERS[int(rng.integers(4))]
    unit = scenario.unit
    unit = replace(unit, teeth=sweep.teeth(size)) if sweep.teeth is not None else unit
    wakes = [pickup.lowest_kph for pickup in scenario.pickups]
    others_kph = max(unit.lowest_kph, float(np.median(wakes)))
    effects = sweep.make(Draw(rng, corner, others_kph, 60 * minutes), size)
    if sweep.other_minutes:
        effects += (RecordingEnds(corner, 60 * minutes),)
    scenario = replace(
        scenario,
        unit=unit if sweep.in_unit else replace(unit, smooth_s=unit.measure_s),
        rings=random_rings(np.random.default_rng(seeds.rings), unit.teeth),
        effects=effects,
    )
    drive = simulate(scenario, seed=seeds.drive, way=way)

    def record(period_s: float) -> Case:
        kept = drive
        if not sweep.in_unit:
            slow = random_unit(np.random.default_rng(seeds.smoothing), period_s)
            kept = smoothed(drive, slow.smooth_s)
        layout = fine_layout(sweep, scenario, period_s, np.random.default_rng(seeds.layout))
        return Kept(sweep.name, scenario, seeds.drive, layout, kept)

    return record


def smoothed(drive: Drive, smooth_s: float) -> Drive:
    """Let the unit smooth its readings over so long."""
    unit = replace(drive.scenario.unit, smooth_s=smooth_s)
    return replace(
        drive, reading_kph=np.column_stack([smooth(unit, column) for column in drive.reading_kph.T])
    )


def fine_layout(
    sweep: Sweep, scenario: Scenario, period_s: float, rng: np.random.Generator
) -> BusLayout:
    """Draw layouts until one has a step that is no coarser than `COARSEST_KPH`."""
    car, unit = scenario.car, scenario.unit
    while True:
        layout = random_layout(
            rng,
            car,
            unit,
            cycle_s=period_s,
            has_invalid=True,
            tells_turns=happens(rng, 0.4) if sweep.tells_turns is None else sweep.tells_turns,
            one_message=sweep.one_message,
        )
        wheel = layout.messages[0].signals[0]
        per_kph = unit_per_kph(wheel.unit, circumference_m=car.circumference_m, teeth=unit.teeth)
        if wheel.scale / per_kph < COARSEST_KPH:
            return layout


@dataclass(slots=True)
class Tally:
    """What was found of one size in drives of one length, by message period."""

    found: Counter[float] = field(default_factory=Counter)
    drives: Counter[float] = field(default_factory=Counter)
    accused: list[str] = field(default_factory=list)

    def share(self, period_s: float) -> float:
        """Share of the drives that showed it."""
        return self.found[period_s] / max(1, self.drives[period_s])


@dataclass(frozen=True, slots=True)
class Run:
    """Drives for one kind."""

    sweep: Sweep
    drives: int
    seed: int
    folder: Path

    def enough(self, found: int) -> bool:
        """Whether it is nine of ten."""
        return found >= FOUND_SHARE * self.drives

    def tally(
        self, size: float, minutes: float, periods: Iterable[float], *, give_up: bool = False
    ) -> Tally:
        """Judge the drives; with `give_up` only until it is clear that it is not nine of ten."""
        tally, asked = Tally(), list(periods)
        for number in range(self.drives):
            record = simulate_one(self.sweep, size, minutes, number, self.seed)
            for period_s in tuple(asked):
                case = record(period_s)
                found, accused = judged(case, self.folder)
                tally.found[period_s] += found
                tally.drives[period_s] += 1
                if accused:
                    where = f"{self.sweep.name} {size:g}, {minutes:g} min, {1000 * period_s:g} ms"
                    tally.accused.append(f"{where}, drive {number}: {accused}")
                missed = tally.drives[period_s] - tally.found[period_s]
                if give_up and not self.enough(self.drives - missed):
                    asked.remove(period_s)
        return tally


def judged(case: Case, folder: Path) -> tuple[bool, str]:
    """Whether every true corner is called faulty by its kind, and what is said of others."""
    _, judgement = judge_case(case, folder)
    truth = true_corners(case)
    faults_said = {c: {f.kind for f in judgement.corner(c).faults} for c in CORNERS}
    found = all(kind in faults_said[corner] for corner, kind in truth.items())
    accused = [
        f"{c} {'/'.join(said)}" for c, said in faults_said.items() if said and c not in truth
    ]
    return found, f"{', '.join(accused)} in place of {', '.join(truth)}" if accused else ""


@dataclass(slots=True)
class Result:
    """The curves of one kind, and the smallest sizes.

    Attributes
    ----------
    shares : by message period, one share a size.
    smallest : by minutes, then by message period; None: not even the largest.
    """

    sweep: Sweep
    shares: dict[float, list[float]]
    smallest: dict[float, dict[float, float | None]]
    judged: int
    accused: list[str]


def run_sweep(sweep: Sweep, drives: int, seed: int) -> Result:
    """Try all sizes of one kind."""
    with tempfile.TemporaryDirectory() as name:
        run = Run(sweep, drives, seed, Path(name))
        minutes = sweep.minutes
        tallies = [run.tally(size, minutes, PERIODS_S) for size in sweep.sizes]
        first = {
            period_s: smallest_rung([run.enough(tally.found[period_s]) for tally in tallies])
            for period_s in PERIODS_S
        }
        rungs = {minutes: first}
        for other in sweep.other_minutes:
            rungs[other] = search(run, other, first, tallies)
    sizes = (*sweep.sizes, None)
    return Result(
        sweep=sweep,
        shares={p: [tally.share(p) for tally in tallies[: len(sizes) - 1]] for p in PERIODS_S},
        smallest={
            m: {p: sizes[rung] for p, rung in by_period.items()} for m, by_period in rungs.items()
        },
        judged=sum(tally.drives.total() for tally in tallies),
        accused=[line for tally in tallies for line in tally.accused],
    )


def smallest_rung(found: Sequence[bool]) -> int:
    """The rung from which on up everything is found; one above the last where there is none."""
    rung = len(found)
    while rung > 0 and found[rung - 1]:
        rung -= 1
    return rung


def search(
    run: Run, minutes: float, start: dict[float, int], tallies: list[Tally]
) -> dict[float, int]:
    """Go up or down from where the threshold is in other drives, until it is bracketed."""
    sizes = run.sweep.sizes
    found = {period_s: {-1: False, len(sizes): True} for period_s in start}
    asks = {p: min(rung, len(sizes) - 1) for p, rung in start.items()}
    while asks:
        rung = max(asks.values())
        periods = [p for p, ask in asks.items() if ask == rung]
        tally = run.tally(sizes[rung], minutes, periods, give_up=True)
        tallies.append(tally)
        for p in periods:
            found[p][rung] = run.enough(tally.found[p])
            asks[p] = rung - 1 if found[p][rung] else rung + 1
        asks = {p: ask for p, ask in asks.items() if ask not in found[p]}
    return {p: min(rung for rung, seen in known.items() if seen) for p, known in found.items()}


def print_result(result: Result) -> None:
    """Print the shares, then the smallest sizes."""
    sweep = result.sweep
    print(f"{sweep.name}: {sweep.axis}; drives of {sweep.minutes:g} min")  # noqa: T201
    print(f"{'':>8}" + "".join(f"{size:>7g}" for size in sweep.sizes) + "   smallest found")  # noqa: T201
    for period_s in PERIODS_S:
        shares = "".join(f"{share:>7.0%}" for share in result.shares[period_s])
        smallest = ", ".join(
            f"{'none' if by[period_s] is None else format(by[period_s], 'g')} in {m:g} min"
            for m, by in sorted(result.smallest.items())
        )
        print(f"{1000 * period_s:>5g} ms{shares}   {smallest}")  # noqa: T201
    print(f"another corner accused in {len(result.accused)} of {result.judged} recordings")  # noqa: T201
    for line in result.accused:
        print(f"    {line}")  # noqa: T201
    print(flush=True)  # noqa: T201


def panel_of(result: Result) -> Panel:
    """Prepare one kind for the picture."""
    sweep = result.sweep
    title = f"{sweep.name} ({sweep.minutes:g} min)" if sweep.other_minutes else sweep.name
    return Panel(title, sweep.axis, sweep.sizes, result.shares)


def main() -> None:
    """Run the sweeps."""
    names = [sweep.name for sweep in SWEEPS]
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kinds", nargs="+", choices=names, default=names, metavar="KIND")
    parser.add_argument("--drives", type=int, default=12, help="for each point")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--picture", type=Path, help="where to write the curves as SVG")
    arguments = parser.parse_args()
    sweeps = [sweep for sweep in SWEEPS if sweep.name in arguments.kinds]
    one = partial(run_sweep, drives=arguments.drives, seed=arguments.seed)
    results = []
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for result in pool.map(one, sweeps) if arguments.jobs > 1 else map(one, sweeps):
            print_result(result)
            results.append(result)
    picture = arguments.picture
    if picture is None and len(sweeps) == len(SWEEPS):
        picture = Path(__file__).with_suffix(".svg")
    if picture is not None:
        text = draw([panel_of(result) for result in results], PERIODS_S, arguments.drives)
        picture.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
