"""The reasons for a candidate, and what is not known of it, in plain sentences."""

from canwheel.discovery.proposal import Candidate, FieldState

_STATE_SAYS: dict[FieldState, str] = {
    "silent": "stood at rest all the time while the other three moved: a corner that is dead",
    "frozen": "stood at one value all the time while the other three moved",
    "no value": "had all its bits set all the time, which most often means no value",
    "faulty": "went along with the other three only at times",
    "live": "is live",
}

_ANOTHER_DRIVE = (
    "Record another drive, starting at a standstill: straight at 30 to 50 km/h, a tight left turn,"
    " a tight right turn, and a stop."
)
_ANOTHER_BUS = (
    "If that shows nothing either, the brake unit's messages are not on this bus, or not in the"
    " open: another connector, or a DBC file, is needed."
)


def give_reasons(candidate: Candidate) -> tuple[str, ...]:
    """Say what speaks for a candidate, the strongest first."""
    figures = candidate.figures
    says = []
    if candidate.copy_of is not None:
        coarser = ", in coarser steps" if candidate.kind == "coarse copy" else ""
        says.append(f"Repeats candidate {candidate.copy_of + 1}{coarser}.")
    if candidate.kind == "pulse counters":
        says.append("They count up with the distance and start again at nought: ring pulses.")
    if figures.flag_residual_pct is not None:
        says.append(
            f"FL² + RR² = FR² + RL² holds to {figures.flag_residual_pct:.0f} % of the sides'"
            f" difference in turns, which reaches {figures.turn_pct:.0f} % of the speed."
        )
    says.append(
        f"Straight on, fastest and slowest differ by {figures.straight_spread_pct:.1f} % of the"
        f" speed, over {figures.moving_s:.0f} s of driving and {figures.steps:,} steps."
    )
    if candidate.rest_seen:
        says.append(
            f"They stand at raw {candidate.rest_raw:.0f} together, for {figures.rest_s:.0f} s"
            + (
                f", while {figures.others_at_rest} other numbers on the bus are at their lowest."
                if figures.others_at_rest
                else "."
            )
        )
    if candidate.axles_by == "tight turns":
        says.append(
            "In tight turns the front ones run faster than the rear ones on their own side, by"
            f" {figures.front_sure:.0f} standard deviations."
        )
    for field in candidate.fields:
        if field.state != "live":
            where = field.corner.words if field.corner else "one field"
            says.append(f"{where.capitalize()} {_STATE_SAYS[field.state]}.")
    return tuple(says)


def give_warnings(candidate: Candidate) -> tuple[str, ...]:
    """Say what is not known of a candidate."""
    says = []
    if candidate.axles_by == "unknown" and candidate.sides_by == "unknown":
        if candidate.figures.flag_residual_pct is None:
            says.append("No turn was sharp enough to tell which corner is which.")
        else:
            says.append("No turn was tight enough to tell front from rear, and none was declared.")
    elif candidate.axles_by == "unknown":
        says.append("No turn was tight enough to tell front from rear.")
    elif candidate.sides_by == "unknown":
        says.append(
            "Left and right may be exchanged: this is one of two mirror images. Declare one turn"
            " (--turn left@75) to settle it."
        )
    if candidate.axles_by == "place in the message":
        says.append(
            "With one corner dead, front and rear are told by the fields' places in the messages;"
            " the turns did not settle it."
        )
    if not candidate.rest_seen and candidate.kind != "pulse counters":
        says.append(
            f"The car never stood still in this drive: raw {candidate.rest_raw:.0f} is taken for"
            " rest. If that is wrong, so are ratios and speeds."
        )
    if candidate.scale.by in ("best fitting usual step", "unknown"):
        says.append("Speeds are relative: no held speed and no satellite track was given.")
    return tuple(says)


def next_steps(best: Candidate | None) -> tuple[str, ...]:
    """Say what to drive or to tell next."""
    if best is None:
        return (_ANOTHER_DRIVE, _ANOTHER_BUS)
    says = []
    if not best.rest_seen:
        says.append(
            "Record a drive with a stop of a few seconds: the raw value of rest is missing."
        )
    if best.axles_by == "unknown":
        says.append("Drive one tight turn each way at walking to cycling pace (a car park).")
    if best.sides_by == "unknown":
        says.append("Note when the car turned left, and say so: --turn left@SECONDS.")
    if best.scale.by in ("best fitting usual step", "unknown"):
        says.append(
            "Hold a speed on the dash for some seconds, and say so: --speed 50@SECONDS; or give a"
            " satellite track: --track drive.gpx."
        )
    says.append(
        "Confirm it on a second drive before anybody buys a part on its word:"
        " canwheel discover --confirm car.dbc OTHER_CAPTURE."
    )
    return tuple(says)
