"""The recorder heard nothing, or its clock stepped: the capture's own defects."""

from canwheel.outcome import Event, Outcome
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack


def find_recording_gap(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001 - as all checks
    """Tell when all frames stopped and when the clock stepped."""
    gaps = [
        Event(
            kind="recording_gap",
            corner=None,
            from_s=gap.from_s,
            to_s=gap.to_s,
            says=(
                f"Nothing at all was recorded for {gap.to_s - gap.from_s:.1f} s: the recorder, the"
                " adapter or its plug, not a wheel."
            ),
        )
        for gap in track.gaps
    ]
    steps = [
        Event(
            kind="clock_step",
            corner=None,
            from_s=step.from_s,
            to_s=step.to_s,
            says="The recorder's clock steps here; times after it are counted on from before it.",
        )
        for step in track.clock_steps
    ]
    return Outcome(events=tuple(sorted(gaps + steps, key=lambda event: event.from_s)))
