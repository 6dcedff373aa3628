"""Advice in order and in words that fit; common practice, no source, but where a line says so."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import get_args

import pytest

from canwheel.corners import Corner
from canwheel.definitions.layout import BitField, SignalPlace, SpeedUnit, WheelLayout
from canwheel.frames import IdPattern
from canwheel.judgement.advice import advise, advise_comparison
from canwheel.judgement.cautions import caution_check, caution_comparison, caution_scale
from canwheel.judgement.proof import prove_repair
from canwheel.judgement.verdict import Judgement
from canwheel.judgement.wording import KIND_WORDS, say_band, say_confidence, say_kinds, say_list
from canwheel.outcome import FAULT_KINDS, OF_BOTH_PAIRS, Event, FaultKind, Finding, NotJudged
from canwheel.track.units import assumed_scale
from canwheel.vehicle import Vehicle, VehicleFacts

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]

TOWN = [(3.0, 30.0, "straight")]
YARD = [(2.0, 0.0, "straight")]


def place(steps: Sequence[str], *words: str) -> int:
    """Position of the first step that has all these words."""
    return next(i for i, step in enumerate(steps) if all(word in step for word in words))


def test_service_information_first_look_next_unit_last(drive: Drive, finding: MakeFinding) -> None:
    steps = advise(drive(TOWN, finding(Corner.RL, "no_signal", (0.0, 3.0))), "right")
    # Look, then connector, wiring, gap, ring, bearing: FHWA-MC-98-008 section III and table 3
    # (a technician guideline of the US Department of Transportation, 1998) for the order of looking
    # and cheap checks before parts; the rest is common practice, no source.
    order = [
        place(steps, "service information", "come before"),
        place(steps, "look at its sensor"),
        place(steps, "its connector"),
        place(steps, "its wiring"),
        place(steps, "air gap"),
        place(steps, "its ring"),
        place(steps, "bearing"),
        place(steps, "swap"),
        place(steps, "unit last"),
        place(steps, "After the repair"),
    ]
    assert order == sorted(order)
    assert order[0] == 0
    assert steps[1].startswith("Rear left (passenger's side), no signal: look")
    assert "rear right (driver's side)" in steps[place(steps, "swap")]


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_every_kind_has_its_checks_and_no_ohmmeter_goes_to_an_active_sensor(
    drive: Drive, finding: MakeFinding, kind: FaultKind
) -> None:
    steps = advise(drive(TOWN, finding(Corner.FR, kind, (0.0, 3.0))), None)
    assert len(steps) > 3
    assert f"Front right, {KIND_WORDS[kind]}: " in steps[1]
    for step in steps:
        assert step.endswith(".")
        assert step[0].isupper()
        assert "{" not in step
        if "ohmmeter" in step:
            assert "never an ohmmeter" in step


def test_every_kind_has_words() -> None:
    assert tuple(KIND_WORDS) == get_args(FaultKind)


def test_two_faults_at_one_corner_name_a_check_once(drive: Drive, finding: MakeFinding) -> None:
    both = [finding(Corner.RL, kind, (0.0, 1.0)) for kind in ("no_signal", "ring_damage")]
    steps = advise(drive(TOWN, *both), None)
    assert len(set(steps)) == len(steps)
    assert sum("bearing" in step for step in steps) == 1


def test_a_crossed_corner_names_the_other_one(drive: Drive, finding: MakeFinding) -> None:
    steps = advise(drive(TOWN, finding(Corner.RL, "crossed", (0, 1), **{"with": "FL"})), "left")
    assert "front left (driver's side)" in steps[place(steps, "same shape")]
    steps = advise(drive(TOWN, finding(Corner.RL, "crossed", (0, 1))), None)
    assert "rear right" in steps[place(steps, "same shape")]


def test_drop_outs_in_one_turn_point_to_the_cable(drive: Drive, finding: MakeFinding) -> None:
    dropouts = finding(Corner.FL, "dropout", (0.0, 0.1), goes_with_turn="right")
    steps = advise(drive(TOWN, dropouts), None)
    assert "goes with turning right" in steps[1]
    dropouts = finding(Corner.FL, "dropout", (0.0, 0.1), goes_with_turn="straight")
    assert "goes with" not in advise(drive(TOWN, dropouts), None)[1]


def test_what_several_corners_share_comes_first(drive: Drive, finding: MakeFinding) -> None:
    pair = [finding(corner, "no_signal", (0.0, 3.0)) for corner in (Corner.RL, Corner.RR)]
    steps = advise(drive(TOWN, *pair), "left")
    assert steps[1].startswith("Rear left (driver's side) and rear right (passenger's side) show")
    crossed = [finding(corner, "crossed", (0.0, 3.0)) for corner in (Corner.RL, Corner.RR)]
    assert "share" not in advise(drive(TOWN, *crossed), None)[1]


def test_untested_corners_are_told_what_to_drive(drive: Drive) -> None:
    steps = advise(drive([(0.1, 15.0, "straight")]), None)
    assert len(steps) == 1
    assert "another 0.2 km above 15 km/h" in steps[0]
    assert "front left, front right, rear left and rear right" in steps[0]


def test_no_part_is_bought_on_weak_signs(drive: Drive, finding: MakeFinding) -> None:
    weak = finding(Corner.FL, "ring_damage", (0.0, 1.0), confidence=0.5)
    (step,) = advise(drive(TOWN, weak), None)
    assert step.startswith("Buy no part for front left yet: there are signs of ring damage")
    assert "Drive 1 km straight" in step


def test_kinds_not_shown_come_with_a_drive_that_shows_them(drive: Drive) -> None:
    whys = [NotJudged(corner, "crossed", "no turn") for corner in Corner]
    (step,) = advise(drive(TOWN, not_judged=whys), None)
    assert step.startswith("To test for crossed signals as well, make two tight turns")


def test_after_two_drives_the_next_step_is_what_is_missing(
    drive: Drive, finding: MakeFinding
) -> None:
    dead = finding(Corner.RL, "no_signal", (0.0, 3.0))

    def steps_after(
        second: list[tuple[float, float, str]], *found: Finding, first: Finding | None = dead
    ) -> tuple[str, ...]:
        before, after = drive(TOWN, first) if first else drive(YARD), drive(second, *found)
        return advise_comparison(prove_repair(before, after), after, None)

    assert steps_after(TOWN) == ()
    assert steps_after(TOWN, dead)[0].startswith("Take the maker's service information")
    short = steps_after([(0.1, 30.0, "straight")])
    assert short[0].startswith("Drive and record another 0.2 km")
    assert "to test" in short[1]
    assert "first drive shows no fault" in steps_after(TOWN, first=None)[0]


def test_why_what_showed_once_takes_so_long_is_told(drive: Drive, finding: MakeFinding) -> None:
    def steps_after(count: int, second_km: float = 3.0) -> str:
        loose = finding(Corner.RL, "dropout", (1.0, 1.1), count=count)
        before, after = drive(TOWN, loose), drive([(second_km, 30.0, "straight")])
        return " ".join(advise_comparison(prove_repair(before, after), after, "right"))

    assert "rear left (passenger's side) because the fault showed only once in 3.0 km" in (
        steps_after(1)
    )
    assert "only twice in 3.0 km" in steps_after(2)
    assert "--before" in steps_after(2)
    assert "because" not in steps_after(3)
    assert steps_after(1, second_km=58.0) == ""


def test_cautions_fit_what_was_found(drive: Drive, finding: MakeFinding) -> None:
    dead = finding(Corner.RL, "no_signal", (0.0, 3.0))
    faulty, sound, untested = drive(TOWN, dead), drive(TOWN), drive(YARD)
    told = {name: " ".join(caution_check(j)) for name, j in {"f": faulty, "u": untested}.items()}
    for text in told.values():
        assert "one person drives" in text
        assert "may not act" in text
        assert "sends nothing" in text
        assert "licensed" in text
    # Wheels turning clear of the ground: UK MOT inspection manual (seen second-hand).
    assert "ignition on" in told["f"]
    assert "support it" in told["f"]
    assert "clearing removes evidence" in told["f"]
    assert "not about brakes" in " ".join(caution_check(sound))
    assert "support it" not in " ".join(caution_check(sound))


def test_cautions_of_a_comparison_tell_a_mix_up(drive: Drive, finding: MakeFinding) -> None:
    dead = finding(Corner.RL, "no_signal", (0.0, 3.0))
    after = drive(YARD)
    open_proof = prove_repair(drive(TOWN, dead), after)
    mixed = caution_comparison(open_proof, after, exchanged=True, same_file=True)
    assert "not exchanged" in mixed[0]
    assert "same recording" in mixed[1]
    plain = caution_comparison(open_proof, after, exchanged=False, same_file=False)
    assert plain == mixed[2:]
    proven = prove_repair(drive(TOWN, dead), drive(TOWN))
    assert caution_comparison(
        proven, drive(TOWN), exchanged=False, same_file=False
    ) == caution_check(drive(TOWN))


def test_words() -> None:
    assert say_kinds(["no_signal", "dropout"]) == "no signal and drop-outs"
    assert say_list([]) == ""
    assert say_list(["a"]) == "a"
    assert say_list(["a", "b", "c"]) == "a, b and c"
    assert say_band((0.0, 15.0)) == "below 15 km/h"
    assert say_band((80.0, float("inf"))) == "above 80 km/h"
    assert say_confidence(0.9687) == "96.9%"
    assert say_confidence(1.0) == "over 99.9%"


def layout(unit: SpeedUnit) -> WheelLayout:
    bits = BitField(0, 16, "little_endian")
    ids = IdPattern.exactly(1, extended=False)
    where = SignalPlace("M", "S", 1, ids, bits, scale=1.0, offset=0.0, unit="")
    return WheelLayout("van.dbc", (where, where, where, where), unit)


TYRE = VehicleFacts(tyre="195/65 R15")
RING = VehicleFacts(ring_teeth=44)
BOTH = VehicleFacts(rolling_circumference_m=1.9, ring_teeth=44)


@pytest.mark.parametrize("unit", get_args(SpeedUnit))
def test_what_speeds_rest_on_is_said_where_nobody_gave_it(unit: SpeedUnit) -> None:
    # By the formula: a turn's length is needed for turns, the count of a ring for its pulses.
    needs_size = unit in {"rad/s", "rpm", "pulses/s", "pulse count"}
    needs_teeth = unit in {"pulses/s", "pulse count"}
    for facts in (VehicleFacts(), TYRE, RING, BOTH):
        car = Vehicle(vehicle=facts)
        told = " ".join(caution_scale(layout(unit), car))
        size = needs_size and not car.circumference_is_known
        teeth = needs_teeth and facts.ring_teeth is None
        assert ("1.94 m a turn is assumed" in told) == size
        assert ("48 pulses a turn are assumed" in told) == teeth
        assert ("Give tyre" in told) == size
        assert ("taken as km/h" in told) == (unit == "proportional")
        assert bool(told) == (size or teeth or unit == "proportional")
        assert assumed_scale(unit, car) == (
            ({"rolling_circumference_m": 1.94} if size else {})
            | ({"ring_teeth": 48} if teeth else {})
        )


def test_an_axle_that_seems_to_stand_may_be_two_dead_sensors(drive: Drive) -> None:
    """More driving does not help where both sensors of an axle are dead."""
    rollers = Event("one_axle_turning", None, 5.0, 300.0, "Only the front wheels turn.")
    stood = advise(replace(drive(YARD), events=(rollers,)), None)
    assert stood[0].startswith("If the car was driven on the road")
    assert "both sensors and cables" in stood[0]
    assert stood[1].startswith("Drive another")
    for other in (drive(YARD), replace(drive(TOWN), events=(rollers,))):
        assert not any("axle that seems to stand" in step for step in advise(other, None))


def test_what_is_no_wheels_own_is_told_once(drive: Drive, finding: MakeFinding) -> None:
    silent = [finding(corner, "message_missing", (1.0, 3.0)) for corner in Corner]
    steps = advise(drive(TOWN, *silent, finding(Corner.FL, "frozen", (0.0, 0.5))), None)
    assert len(set(steps)) == len(steps)
    names = "Front left, front right, rear left and rear right, message missing: "
    assert steps[1].startswith(names)
    assert sum("do not look" in step.lower() for step in steps) == 1
    assert any(step.startswith("Front left, frozen reading: ") for step in steps)


def test_where_both_pairs_are_crossed_the_files_come_before_the_cables(
    drive: Drive, finding: MakeFinding
) -> None:
    found = [
        finding(c, "crossed", (0.0, 3.0), **{"with": c.same_side, OF_BOTH_PAIRS: True})
        for c in Corner
    ]
    steps = advise(drive(TOWN, *found), None)
    assert "check the DBC" in steps[1]
    assert place(steps, "that of rear left") == 2
    assert sum("check the DBC" in step for step in steps) == 1


def test_a_pair_of_crossed_corners_is_followed_once(drive: Drive, finding: MakeFinding) -> None:
    pair = [
        finding(corner, "crossed", (0.0, 3.0), **{"with": corner.mirror})
        for corner in (Corner.FL, Corner.FR)
    ]
    steps = advise(drive(TOWN, *pair), None)
    assert len(set(steps)) == len(steps)
    assert sum("two connectors of the same shape" in step for step in steps) == 1
    assert sum("check the DBC" in step.replace("Check", "check") for step in steps) == 1
    invalid = [finding(corner, "flagged_invalid", (0.0, 3.0)) for corner in (Corner.FL, Corner.RR)]
    steps = advise(drive(TOWN, *invalid), None)
    assert sum("stored codes" in step for step in steps) == 1
    # What is done at each wheel is told for each.
    assert sum("its wiring" in step for step in steps) == 2
    assert sum(step.startswith("Rear right, flagged invalid: ") for step in steps) == 1


def test_definitions_that_do_not_fit_come_before_every_check_and_drive(
    drive: Drive, finding: MakeFinding
) -> None:
    dead = drive(TOWN, finding(Corner.RL, "no_signal", (0.0, 3.0)))
    steps = advise(dead, "right", unfit=(Corner.FR,))
    assert steps[0].startswith("Put the DBC right")
    assert "front right (driver's side)" in steps[0]
    assert "service information" in steps[1]
    (only,) = advise(drive(YARD), None, unfit=tuple(Corner))
    assert "front left, front right, rear left and rear right" in only


def test_what_is_off_for_a_time_is_the_signal_not_the_tyre(
    drive: Drive, finding: MakeFinding
) -> None:
    """A ring or a tyre does not change on the way. (common practice, no source)"""
    all_along = " ".join(advise(drive(TOWN, finding(Corner.RL, "wrong_ratio", (0.0, 3.0))), None))
    assert "tyre" in all_along
    for_a_time = finding(Corner.RL, "wrong_ratio", (0.0, 1.0), off_s=60.0)
    steps = " ".join(advise(drive(TOWN, for_a_time), None))
    assert "its connector" in steps
    assert "tyre" not in steps


def test_a_copy_for_a_time_is_a_lost_signal_not_the_dbc(drive: Drive, finding: MakeFinding) -> None:
    """A file that names a corner wrongly does so all the way. (common practice, no source)"""
    copied = finding(Corner.RL, "copied", (0.0, 3.0), of="FL")
    assert "check the DBC" in " ".join(advise(drive(TOWN, copied), None))
    for_a_time = finding(Corner.RL, "copied", (0.0, 1.0), of="FL", repeated_s=60.0)
    steps = " ".join(advise(drive(TOWN, for_a_time), None))
    assert "its connector" in steps
    assert "another wheel's value" in steps
    assert "check the DBC" not in steps
