"""A proposal as a DBC file and a vehicle file, with the evidence in their comments."""

import re

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.definitions.writing import NewMessage, NewSignal, render_dbc
from canwheel.discovery.proposal import Candidate, WheelField
from canwheel.errors import RequestError
from canwheel.plain_text import printable

_PULSES = "pulse counters"
_STRETCH = re.compile(r"stamped (\d+\.\d{9}) to (\d+\.\d{9})")


def check_writable(candidate: Candidate, *, mirror_unknown: bool) -> None:
    """Refuse a proposal of which nobody knows which corner is which, unless that was allowed.

    Raises
    ------
    RequestError : it is so.
    """
    if candidate.is_complete or mirror_unknown:
        return
    what = "left and right are not known: the proposal is one of two mirror images"
    if candidate.axles_by == "unknown":
        what = "which corner is which is not known"
    raise RequestError(
        f"no DBC is written, since {what}",
        where="--write",
        remedy="declare a turn with --turn left@SECONDS, or allow it with --mirror-unknown",
    )


def say_stretch(recording: CaptureSummary) -> str:
    """Say what tells a recording from all others, in whatever form it is kept: how it is stamped.

    The DBC of a proposal holds it, so that its own recording cannot confirm it.
    """
    first, last = (
        f"{stamp_ns // 10**9}.{stamp_ns % 10**9:09}"
        for stamp_ns in (recording.first_time_ns, recording.last_time_ns)
    )
    return f"stamped {first} to {last}"


def holds_some_of(comment: str, recording: CaptureSummary) -> bool:
    """Whether the recording that a comment names by `say_stretch` is this one or a part of it.

    Where the stamps tell no date, only the whole can be told: every recording begins at nought.
    """
    said = _STRETCH.search(comment)
    if said is None:
        return False
    first_ns, last_ns = (int(stamp.replace(".", "")) for stamp in said.groups())
    if recording.is_dated:
        return first_ns <= recording.last_time_ns and recording.first_time_ns <= last_ns
    return (first_ns, last_ns) == (recording.first_time_ns, recording.last_time_ns)


def render_candidate_dbc(candidate: Candidate, capture: str, stretch: str = "") -> str:
    """Return the DBC of a proposal.

    Parameters
    ----------
    candidate : the proposal.
    capture : name of the recording that it was found in.
    stretch : what `say_stretch` says of it.
    """
    by_message: dict[tuple[bool, int], list[WheelField]] = {}
    for field in candidate.fields:
        by_message.setdefault((field.extended, field.can_id), []).append(field)
    evidence = _evidence(candidate, capture, stretch)
    messages = [
        NewMessage(
            name=message_name(candidate, fields[0]),
            frame_id=fields[0].can_id,
            extended=fields[0].extended,
            length=fields[0].payload_bytes,
            cycle_s=fields[0].period_s,
            signals=tuple(_signal(candidate, field) for field in fields),
            comment=evidence,
        )
        for fields in by_message.values()
    ]
    return render_dbc(messages)


def render_candidate_vehicle(candidate: Candidate, dbc: str, capture: str) -> str:
    """Return the vehicle file that goes with a proposal's DBC.

    Parameters
    ----------
    candidate : the proposal.
    dbc : name of the DBC file.
    capture : name of the recording.
    """
    lines = [f"# What discovery found in {printable(capture)}, beside {printable(dbc)}."]
    lines += [f"# {line}" for line in (*candidate.reasons, *candidate.warnings)]
    lines += ["", "[wheels]"]
    for corner, field in zip(CORNERS, candidate.fields, strict=True):
        path = f"{message_name(candidate, field)}.{signal_name(candidate, field)}"
        lines.append(f'{corner.value} = "{path}"')
    return "\n".join(lines) + "\n"


def message_name(candidate: Candidate, field: WheelField) -> str:
    """Name of a field's message; its identifier in it is decimal, so that no digit is a letter."""
    word = "PULSES" if candidate.kind == _PULSES else "SPEEDS"
    return f"WHEEL_{word}_{field.can_id}"


def signal_name(candidate: Candidate, field: WheelField) -> str:
    """Name of a field, in the form that the assignment of corners reads."""
    word = "PULSES" if candidate.kind == _PULSES else "SPEED"
    return f"WHEEL_{word}_{field.place}"


def _signal(candidate: Candidate, field: WheelField) -> NewSignal:
    is_pulses = candidate.kind == _PULSES
    scale = 1.0 if is_pulses or candidate.scale.kph is None else candidate.scale.kph
    offset = 0.0 if is_pulses else -field.rest_raw * scale
    count = 1 << field.bits.length
    lowest, highest = (-count // 2, count // 2 - 1) if field.bits.is_signed else (0, count - 1)
    minimum = lowest * scale + offset
    # all bits set is kept for "no value", as brake units do (common practice, no source)
    is_marked = not is_pulses and not field.bits.is_signed
    maximum = (highest - is_marked) * scale + offset
    sides = "" if candidate.is_complete else "; LEFT AND RIGHT, OR ALL CORNERS, ARE A GUESS"
    state = "" if field.state == "live" else f"; {field.state} in this drive"
    return NewSignal(
        name=signal_name(candidate, field),
        bits=field.bits,
        scale=float(f"{scale:.9g}"),
        offset=float(f"{offset:.9g}"),
        minimum=float(f"{minimum:.9g}"),
        maximum=float(f"{maximum:.9g}"),
        unit=unit_of(candidate),
        comment=f"Proposed: {field.place.words} wheel{sides}{state}",
    )


def unit_of(candidate: Candidate) -> str:
    """Unit of the signals; none where only a usual step was taken, so that the check says so."""
    if candidate.kind == _PULSES:
        return "pulses"
    return "km/h" if candidate.scale.by in ("held speed", "satellite track") else ""


def _evidence(candidate: Candidate, capture: str, stretch: str) -> str:
    stamped = f", {stretch}" if stretch else ""
    origin = (
        f"Proposed by canwheel discover from {printable(capture)}{stamped}; to be confirmed"
        " against a known speed and a known turn."
    )
    unknown = [f"UNKNOWN: {warning}" for warning in candidate.warnings]
    return " ".join((origin, *unknown, *candidate.reasons, candidate.scale.says))
