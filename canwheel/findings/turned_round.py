"""All four corners named as if the car were turned round: front for rear, left for right, or both.

Then the four are a rigid body's all the same. That the front is the rear shows in sharp, slow
turns, in which front wheels run ahead of rear ones, and by how that grows with the turn; that left
is right shows by a steering or yaw-rate signal alone.
"""

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import OF_BOTH_PAIRS, Finding, NotJudged, Outcome
from canwheel.track.axles import AXLES
from canwheel.track.motion import Motion
from canwheel.track.steering import turn_direction
from canwheel.track.turns import AGREE_SHARE, FEWEST_TURN_S, SIDES, Swap, Turns, find_turns
from canwheel.track.wheel_track import WheelTrack

CROSSWISE: tuple[Swap, Swap] = ((Corner.FL, Corner.RR), (Corner.FR, Corner.RL))

CHECK_FIRST = (
    "Either both pairs of connectors are crossed, or, which is likelier, the DBC or the vehicle"
    " file names the corners the wrong way round: check that first."
)


def find_turned_round(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001 - as all
    """Find whether the four are a car's only with two pairs of corners exchanged."""
    turns = motion.once(find_turns)
    if turns is None or turns.turn_s < FEWEST_TURN_S:
        return Outcome()
    # On both sides, each by itself: one wrong corner moves the mean of both.
    front_is_front = turns.front_is_front
    mirrored = _is_mirrored(turns)
    against = f"for {turns.turn_s:.0f} s of turning both axles turn against the steering"
    if front_is_front == (False, False) and turns.is_one_body():
        says = (
            f"In {turns.sharp_s:.0f} s of sharp turns the corners called rear run ahead of those"
            " called front, as front wheels do"
        )
        if mirrored:
            says += f", and {against}: front is exchanged with rear and left with right."
            return _found(turns, CROSSWISE, 0.95, says)
        return _found(turns, SIDES, 0.95, f"{says}: front and rear are exchanged on both sides.")
    if mirrored and turns.is_one_body():
        says = (
            f"F{against[1:]}: left and right are swapped on both, or the steering signal's sign is."
        )
        return _found(turns, AXLES, 0.6, says)
    if turns.sharp_s >= FEWEST_TURN_S and not all(front_is_front):
        why = "which axle is the front one did not show: too coarse a signal, or too quick turns"
        return Outcome(not_judged=tuple(NotJudged(corner, "crossed", why) for corner in CORNERS))
    return Outcome()


def _is_mirrored(turns: Turns) -> bool:
    direction = turn_direction(turns.track)
    return direction is not None and max(turns.turn_with(direction)) <= 1 - AGREE_SHARE


def _found(turns: Turns, swaps: tuple[Swap, Swap], confidence: float, says: str) -> Outcome:
    partner = {corner: other for one, two in swaps for corner, other in ((one, two), (two, one))}
    return Outcome(
        findings=tuple(
            Finding(
                corner=corner,
                kind="crossed",
                confidence=confidence,
                spans=(turns.track.whole,),
                count=1,
                says=f"{says} {CHECK_FIRST}",
                evidence={"with": partner[corner].value, OF_BOTH_PAIRS: True},
            )
            for corner in CORNERS
        )
    )
