"""``canwheel simulate``: a made-up drive on a loopback bus, in real time."""

import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from typing import TYPE_CHECKING, get_args

import click

from canwheel.cli.adapter_options import adapter_options, parse_options
from canwheel.cli.options import Measure
from canwheel.cli.output import tell
from canwheel.corners import CORNERS, Corner
from canwheel.errors import RequestError
from canwheel.outcome import FAULT_KINDS
from canwheel.roadtest.brake_unit import Misbehaviour

if TYPE_CHECKING:
    from collections.abc import Callable

    from canwheel.bus.adapters import AdapterSettings
    from canwheel.roadtest.brake_unit import Fault

_NO_FAULT = "none"
_MISBEHAVIOURS: dict[str, Misbehaviour] = {
    name.replace("_", "-"): name for name in get_args(Misbehaviour)
}


@click.command("simulate", short_help="Put a made-up drive on a loopback bus, to try things on.")
@adapter_options
@click.option(
    "--corner",
    type=click.Choice([corner.value for corner in CORNERS], case_sensitive=False),
    default=Corner.RL.value,
    show_default=True,
    help="The corner that is faulty.",
)
@click.option(
    "--fault",
    type=click.Choice([_NO_FAULT, *FAULT_KINDS]),
    default="no_signal",
    show_default=True,
    help="What is wrong with it.",
)
@click.option("--repaired", is_flag=True, help="The same van, driven after the repair.")
@click.option(
    "--codes",
    is_flag=True,
    help="The van's brake unit answers for its stored codes, and the van stands on at the end.",
)
@click.option(
    "--misbehave",
    type=click.Choice(list(_MISBEHAVIOURS)),
    metavar="HOW",
    help=f"What the brake unit does wrong, with --codes: {', '.join(_MISBEHAVIOURS)}.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    help="Another number, another drive.",
)
@click.option(
    "--speed",
    type=Measure(min=0.1, max=64.0),
    default=1.0,
    show_default=True,
    help="Times real time; only a drive at 1 is judged as it was.",
)
def command(
    *,
    interface: str | None,
    channel: str | None,
    options: tuple[str, ...],
    corner: str,
    fault: str,
    repaired: bool,
    codes: bool,
    misbehave: str | None,
    seed: int,
    speed: float,
) -> int:
    """Drive a bakery van's round on a loopback bus, so that recording can be tried without a car.

    Takes --interface udp_multicast and stays on this computer. Any interface behind which there
    could be a car is refused. Record meanwhile, in another terminal; `canwheel demo DIR` writes
    the van's DBC and vehicle file. With --codes the van's brake unit stores the codes that fit the
    fault, and `canwheel codes` can ask it, and clear them once the van stands.
    """
    # the help text needs none of these
    from canwheel.bus.adapters import resolve_adapter  # noqa: PLC0415
    from canwheel.bus.loopback import check_loopback, open_loopback, play, repeat  # noqa: PLC0415
    from canwheel.roadtest.brake_unit import faults_of  # noqa: PLC0415
    from canwheel.roadtest.demo import make_drive  # noqa: PLC0415

    settings = resolve_adapter(interface=interface, channel=channel, options=parse_options(options))
    check_loopback(settings)
    kind = next((kind for kind in FAULT_KINDS if kind == fault), None)
    if repaired and kind is None:
        raise RequestError("there is no fault to repair", remedy="say by --fault which one it was")
    if misbehave and not codes:
        raise RequestError("no brake unit is there to misbehave", remedy="say --codes as well")
    open_loopback(settings).shutdown()  # what cannot be opened is told before anything is driven
    place = Corner(corner.upper())
    drive = make_drive(place, kind, repaired=repaired, seed=seed)
    frames = drive.frames
    lasts_s = (frames.time_ns[-1] - frames.time_ns[0]) / 1e9
    words = "no fault" if kind is None else f"{place.words}, {kind}"
    words += ", repaired" if repaired else ""
    began_s = time.monotonic()

    def speed_kph() -> float:
        return drive.speed_kph((time.monotonic() - began_s) * speed)

    faults = () if kind is None else faults_of(kind, place, repaired=repaired)
    unit = _brake_unit(settings, faults, misbehave, speed_kph) if codes else nullcontext()
    with unit:
        tell(f"Driving on {settings.words} for {lasts_s / speed:.0f} s ({words}); Ctrl-C ends it.")
        began_s = time.monotonic()
        play(
            frames, settings, speed=speed, tell=lambda s: tell(f"{s:.0f} of {lasts_s:.0f} s driven")
        )
        if codes:
            tell("The van stands, ignition on; Ctrl-C ends it.")
            with suppress(KeyboardInterrupt):
                repeat(drive.standing(), settings, is_over=lambda: False)
    return 0


@contextmanager
def _brake_unit(
    settings: "AdapterSettings",
    faults: "tuple[Fault, ...]",
    misbehave: str | None,
    speed_kph: "Callable[[], float]",
) -> Iterator[None]:
    """Have the van's brake unit answer on the bus, and say what it stores."""
    from canwheel.bus.loopback import open_loopback  # noqa: PLC0415 - not for the help text
    from canwheel.fault_memory.documents import StoredCode  # noqa: PLC0415
    from canwheel.roadtest.brake_unit import (  # noqa: PLC0415
        OLD_ENTRIES,
        BrakeUnit,
        DoubleAddress,
    )
    from canwheel.roadtest.layouts import VAN_REQUEST_ID, VAN_RESPONSE_ID  # noqa: PLC0415

    misbehaviour = None if misbehave is None else _MISBEHAVIOURS[misbehave]
    if misbehaviour == "wrong_sequence":
        faults += OLD_ENTRIES
    with BrakeUnit(
        open_loopback(settings),
        DoubleAddress(VAN_REQUEST_ID, VAN_RESPONSE_ID),
        faults,
        misbehaviour=misbehaviour,
        speed_kph=speed_kph,
    ):
        stored = [StoredCode.reported(fault.number, fault.status).code for fault in faults]
        tell(
            f"Its brake unit answers on {VAN_REQUEST_ID:X}/{VAN_RESPONSE_ID:X}, as the van's "
            f"vehicle file says, and stores {', '.join(stored) or 'no code'}."
        )
        yield
