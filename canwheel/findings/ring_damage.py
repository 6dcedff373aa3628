"""A ripple locked to the wheel's revolution: a ring off-centre, cracked, or with teeth gone."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.jumps import (
    CIRCUMFERENCES_M,
    NOISY_MOMENTS,
    Jumps,
    find_jumps,
    find_small_jumps,
)
from canwheel.track.long_jumps import find_long_jumps
from canwheel.track.motion import READ_FROM_KPH, Motion
from canwheel.track.orders import (
    FEWEST_STRETCHES,
    STRETCH_M,
    RippleSpectrum,
    certain_hz,
    left_by_mean,
    ripple_spectrum,
    smoothing_s,
)
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

ORDERS = np.arange(1, 11)
"""Repetitions a turn that are looked at: a bent tooth shows in orders 3 to 10 together."""

BESIDE = np.concatenate((-np.linspace(0.2, 0.45, 6), np.linspace(0.2, 0.45, 6)))
"""Where the background of an order is read, in orders beside it."""

LEAST_RIPPLE = 0.004
"""Sound wheels of real drives ripple by up to a quarter of a per cent; well above it is a fault."""

OUTSTANDING = 2.5
"""And it must be this many times that of the other corners: what tyres, drive line and road do, all
corners share, and the two of an axle most of all."""

ABOVE_ALL = 1.5
"""And so many times that of the worst of them: teeth of sound rings are uneven too, some more."""

FALSE_ALARM = 1e-6
"""Chance that noise looks like this, all circumferences tried counted in."""

TEETH_FROM_ORDER = 3
"""Off-centre rings and tyres show in the orders below."""

SURE_LOG_EVIDENCE = 40.0
"""No chance is left by this. Asked for where noise is not all that may look like a ripple."""

NOISY_LOG_EVIDENCE = 200.0
"""A corner that jumps a little in many moments, at no one place of the wheel, is noisy. Smoothed
and sampled, its noise is not white, and lines seem to stand out of it by up to 115; those of a ring
that shakes as much do by more, in quick messages by 10,000."""

COARSE_STEPS = 0.5
"""A ripple of less than so many steps of the signal may be the steps themselves, which follow one
another evenly at a steady speed."""

TEETH_RIPPLE = 0.0012
"""Orders from the third on come of teeth alone: there less is a fault, if it stands out from every
other corner, the one on its axle among them, and is sure. On sound real drives they come to 0.22 %,
alike on both wheels of an axle."""

TEETH_OUTSTANDING = {1: 9.0, 2: 6.5, 3: 4.5}
"""So many times the most of the other corners, by how many of those are read: the pitches of sound
rings are off by 0.1 to 0.6 % (common practice, no source), on one by six times as on another..."""

FAINT_RIPPLE, FAINT_TIMES = 0.002, 1.2
"""... and so many times more of what is no more than most sound rings show."""

LOUD_RIPPLE = 0.006
"""More than this, and sure, it stands out by `OUTSTANDING` as well as anything does: the teeth of
sound rings come to 0.46 % at most in ten thousand simulated drives."""

NEAR_SHARE = 0.03
"""The others are asked within this share of the circumference found, where rings alike show, and of
the same length on the road, where what an axle shares does: the rest is noise, and much of it in a
short drive."""

JUMPS_BY_CHANCE, SMALL_BY_CHANCE = 1e-3, 1e-4
"""Chance that jumps of another cause seem to come at one place of the wheel; and small ones, which
the road makes too."""

OFF_CENTRE_SHARE = 0.8
"""From this share of the power in order 1 on, the ring is off-centre; below, teeth are at fault."""


@dataclass(frozen=True, slots=True, eq=False)
class _Comb:
    """The orders of one circumference: squared amplitude above the background, and its evidence."""

    circumference_m: float
    squared: FloatColumn
    seen: NDArray[np.bool_]
    log_evidence: float

    @property
    def strongest(self) -> int:
        """The order that is the loudest, in repetitions a turn."""
        return int(ORDERS[int(np.argmax(self.squared))])

    @property
    def strongest_per_metre(self) -> float:
        """The same by distance. [1/m]"""
        return self.strongest / self.circumference_m

    @property
    def ripple(self) -> float:
        """Amplitude of all orders together, as a fraction of speed."""
        return math.sqrt(float(np.sum(self.squared)))


def find_ring_damage(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose speed ripples, or jumps, with every turn of the wheel."""
    jumps = {corner: motion.once(find_jumps, corner) for corner in CORNERS}
    places = {c: None if own is None else own.place_on_the_wheel() for c, own in jumps.items()}
    # What jumps here and there is of another cause, and only noise to the spectrum.
    elsewhere = {c: own.spans for c, own in jumps.items() if own is not None and places[c] is None}
    away = {c: long.spans for c in CORNERS if (long := motion.once(find_long_jumps, c))}
    calm = track.without({c: (*elsewhere.get(c, ()), *away.get(c, ())) for c in CORNERS})
    spectra = {corner: ripple_spectrum(calm.wheel(corner)) for corner in CORNERS}
    scales = _scales(track, motion)
    findings, not_judged = [], []
    for corner in CORNERS:
        spectrum = spectra[corner]
        comb = None if spectrum is None else _strongest_comb(spectrum, track.circumference_m)
        wheel = calm.wheel(corner)
        if (
            spectrum is not None
            and comb is not None
            and not _is_chance(comb, spectrum, wheel, is_noisy=_is_noisy(motion, corner))
            and _is_damage(comb, corner, spectra, scales)
        ):
            unsmoothed = _unsmoothed(comb, spectrum, wheel)
            certain = _is_certain(spectrum, track.circumference_m)
            findings.append(_describe(track, corner, unsmoothed, whole_size=certain))
            continue
        repeated = _jumps_at_one_place(motion, corner)
        if repeated is not None:
            findings.append(_describe_jumps(track, corner, *repeated))
        elif not _is_certain(spectrum, track.circumference_m):
            why = _why_not(track, corner)
            not_judged.append(NotJudged(corner, "ring_damage", why))
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _jumps_at_one_place(motion: Motion, corner: Corner) -> tuple[Jumps, tuple[float, float]] | None:
    """Those that come at one place of the wheel, where it is and by what chance; None: nowhere."""
    for find, by_chance in ((find_jumps, JUMPS_BY_CHANCE), (find_small_jumps, SMALL_BY_CHANCE)):
        jumps = motion.once(find, corner)
        place = None if jumps is None else jumps.place_on_the_wheel()
        if jumps is not None and place is not None and place[1] < by_chance:
            return jumps, place
    return None


def _scales(track: WheelTrack, motion: Motion) -> FloatColumn:
    """(4,) usual speed of each corner over the car's; NaN where it is not read."""
    fast = motion.speed_kph > READ_FROM_KPH
    share = track.speed_kph[fast] / motion.speed_kph[fast, None]
    read = np.isfinite(share).any(axis=0)
    scales = np.full(len(CORNERS), np.nan)
    scales[read] = np.nanmedian(share[:, read], axis=0)
    return scales


def _above(
    spectrum: RippleSpectrum, column: FloatColumn, circumference_m: FloatColumn
) -> tuple[FloatColumn, FloatColumn]:
    """One column of a spectrum at each order of each circumference, and beside it. (c, 10) each"""
    at = ORDERS[None, :] / circumference_m[:, None]
    beside = (ORDERS[None, :, None] + BESIDE) / circumference_m[:, None, None]
    with np.errstate(invalid="ignore"):
        background = np.median(spectrum.at(column, beside), axis=-1)
    return spectrum.at(column, at), background


def _strongest_comb(spectrum: RippleSpectrum, likely_m: float) -> _Comb | None:
    """The circumference whose orders stand out most; None where not even the first is visible.

    Parameters
    ----------
    likely_m : the circumference for which the first order must be visible. [m]

    Notes
    -----
    The mean of N exponential powers, or a median worth as much, exceeds R times its expectation
    with a probability below exp(-N (R - 1 - ln R)) (Chernoff's bound); over the orders the
    exponents add up.
    """
    seen = spectrum.at(spectrum.stretches, ORDERS[None, :] / CIRCUMFERENCES_M[:, None])
    power, background = _above(spectrum, spectrum.white, CIRCUMFERENCES_M)
    shown = (seen >= FEWEST_STRETCHES) & np.isfinite(power) & (background > 0)
    likely = int(np.argmin(np.abs(CIRCUMFERENCES_M - likely_m)))
    if not shown[likely, 0]:
        return None
    ratio = np.maximum(np.where(shown, power, 1.0) / np.where(shown, background, 1.0), 1.0)
    evidence = np.sum(np.where(shown, seen * (ratio - 1 - np.log(ratio)), 0.0), axis=1)
    best = int(np.argmax(evidence))
    circumference_m = float(CIRCUMFERENCES_M[best])
    squared = _squared_ripple(spectrum, circumference_m, shown[best])
    return _Comb(circumference_m, squared, shown[best], float(evidence[best]))


def _is_certain(spectrum: RippleSpectrum | None, likely_m: float) -> bool:
    """Whether the drive would have shown one ripple a turn, and its background, for certain."""
    if spectrum is None:
        return False
    highest = (1 + float(np.max(BESIDE))) / likely_m
    return float(spectrum.at(spectrum.certain, np.array([highest]))[0]) >= FEWEST_STRETCHES


def _squared_ripple(
    spectrum: RippleSpectrum,
    circumference_m: float,
    shown: NDArray[np.bool_],
) -> FloatColumn:
    """(10,) squared amplitude of each order above its background, 0 where it is not visible."""
    power, background = _above(spectrum, spectrum.power, np.array([circumference_m]))
    above = np.nan_to_num(power[0] - background[0])
    return np.where(shown, np.maximum(above, 0.0), 0.0)


def _unsmoothed(comb: _Comb, spectrum: RippleSpectrum, own: WheelSamples) -> _Comb:
    """A comb with the amplitudes it would have if the unit sent no means."""
    per_metre = ORDERS / comb.circumference_m
    mean_s = smoothing_s(own, comb.strongest_per_metre)
    cycles = per_metre * spectrum.at(spectrum.kph, per_metre) / KPH_PER_MPS * mean_s
    return replace(comb, squared=comb.squared / left_by_mean(np.nan_to_num(cycles)) ** 2)


def _is_noisy(motion: Motion, corner: Corner) -> bool:
    jumps = motion.once(find_small_jumps, corner)
    return (
        jumps is not None and jumps.moments >= NOISY_MOMENTS and jumps.place_on_the_wheel() is None
    )


def _is_chance(comb: _Comb, spectrum: RippleSpectrum, own: WheelSamples, *, is_noisy: bool) -> bool:
    """Whether noise, or the steps of the signal, may look like this."""
    if is_noisy and comb.log_evidence < NOISY_LOG_EVIDENCE:
        return True
    at_kph = spectrum.at(spectrum.kph, np.array([comb.strongest_per_metre]))[0]
    if comb.ripple * at_kph < COARSE_STEPS * own.resolution_kph:
        return comb.log_evidence < SURE_LOG_EVIDENCE
    return _false_alarm(comb) > FALSE_ALARM


def _is_damage(
    comb: _Comb,
    corner: Corner,
    spectra: dict[Corner, RippleSpectrum | None],
    scales: FloatColumn,
) -> bool:
    others = [
        _squared_ripple(spectrum, comb.circumference_m, comb.seen)
        for other, spectrum in spectra.items()
        if other is not corner and spectrum is not None
    ]
    if not others:
        return comb.ripple > LEAST_RIPPLE
    whole = [math.sqrt(float(np.sum(squared))) for squared in others]
    stands_out = comb.ripple > max(
        LEAST_RIPPLE, OUTSTANDING * float(np.median(whole)), ABOVE_ALL * max(whole)
    )
    of_teeth = _of_teeth(comb.squared)
    off_centre = math.sqrt(max(0.0, comb.ripple**2 - of_teeth**2))
    if stands_out and off_centre > LEAST_RIPPLE:
        return True
    # The rest must stand out by its teeth: sound rings are cut unevenly, some more than others.
    # Lines that an axle shares lie elsewhere on a corner whose speed is a little wrong as well.
    of_teeth_of = {
        at: _most_of_teeth(
            spectrum,
            comb.seen,
            comb.circumference_m * np.array([1.0, scales[at.position] / scales[corner.position]]),
        )
        for at, spectrum in spectra.items()
        if spectrum
    }
    mine = of_teeth_of.pop(corner)
    sure = comb.log_evidence > SURE_LOG_EVIDENCE
    outstanding = TEETH_OUTSTANDING[len(others)] * (FAINT_TIMES if mine < FAINT_RIPPLE else 1.0)
    if sure and of_teeth > LOUD_RIPPLE:
        outstanding = OUTSTANDING
    if not mine > outstanding * max(of_teeth_of.values()):
        return False
    return of_teeth > TEETH_RIPPLE and (stands_out or (sure and spectra[corner.mirror] is not None))


def _of_teeth(squared: FloatColumn) -> float:
    """Amplitude of the orders that come of teeth alone, as a fraction of speed."""
    return math.sqrt(float(np.sum(squared[..., ORDERS >= TEETH_FROM_ORDER], axis=-1).max()))


def _most_of_teeth(
    spectrum: RippleSpectrum, shown: NDArray[np.bool_], circumferences_m: FloatColumn
) -> float:
    """The most that it comes to, for any circumference near one of these."""
    off = CIRCUMFERENCES_M[:, None] / circumferences_m - 1
    near_m = CIRCUMFERENCES_M[(np.abs(off) < NEAR_SHARE).any(axis=1)]
    power, background = _above(spectrum, spectrum.power, near_m)
    return _of_teeth(np.where(shown, np.maximum(np.nan_to_num(power - background), 0.0), 0.0))


def _false_alarm(comb: _Comb) -> float:
    return min(1.0, len(CIRCUMFERENCES_M) * math.exp(-comb.log_evidence))


def _why_not(track: WheelTrack, corner: Corner) -> str:
    own = track.wheel(corner)
    rolled_m = float(np.nansum(own.speed_kph)) * own.period_s / KPH_PER_MPS
    if not rolled_m > STRETCH_M:
        return "too little of the drive with this corner read"
    # Its background, up to half an order above it, must be visible too.
    fastest_kph = certain_hz(own) * track.circumference_m * KPH_PER_MPS
    fastest_kph /= 1 + float(np.max(BESIDE))
    what = (
        f"a count over {1000 * own.mean_over_s:.0f} ms"
        if own.mean_over_s > 0
        else f"a message every {1000 * own.period_s:.0f} ms"
    )
    return (
        f"not visible at these speeds: {what} shows one ripple a turn only below"
        f" {fastest_kph:.0f} km/h, and there was too little of that"
    )


def _describe(track: WheelTrack, corner: Corner, comb: _Comb, *, whole_size: bool) -> Finding:
    off_centre = comb.squared[0] > OFF_CENTRE_SHARE * np.sum(comb.squared)
    if off_centre and comb.seen[1]:
        cause = "once a turn and smoothly: the ring sits off-centre, or the bearing has play"
    elif off_centre:
        cause = "with every turn: a ring off-centre or damaged"
    else:
        cause = "in jerks that repeat with every turn: teeth missing, bent or cracked"
    return Finding(
        corner=corner,
        kind="ring_damage",
        confidence=0.96,
        spans=(track.whole,),
        count=1,
        says=(
            f"Ripples by {'' if whole_size else 'at least '}{100 * comb.ripple:.1f} % of its speed"
            f" {cause} (turn of"
            f" {comb.circumference_m:.2f} m)."
        ),
        evidence={
            "ripple_pct": round(100 * comb.ripple, 2),
            "per_revolution": comb.strongest,
            "circumference_m": round(comb.circumference_m, 3),
            "false_alarm_probability": float(f"{_false_alarm(comb):.1e}"),
        },
    )


def _describe_jumps(
    track: WheelTrack, corner: Corner, jumps: Jumps, place: tuple[float, float]
) -> Finding:
    circumference_m, chance = place
    ripple_pct = round(100 * jumps.largest_kph / jumps.at_kph, 1)
    return Finding(
        corner=corner,
        kind="ring_damage",
        confidence=0.93,
        spans=(track.whole,),
        count=len(jumps.spans),
        says=(
            f"Jumps {len(jumps.spans)} times, by up to {jumps.largest_kph:.1f} km/h at about"
            f" {jumps.at_kph:.0f} km/h, always at the same place of the turning wheel (turn of"
            f" {circumference_m:.2f} m): teeth missing, bent or cracked there."
        ),
        evidence={
            "ripple_pct": ripple_pct,
            "per_revolution": 1,
            "circumference_m": round(circumference_m, 3),
            "false_alarm_probability": float(f"{chance:.1e}"),
        },
    )
