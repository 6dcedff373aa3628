"""``canwheel simulate``: a made-up drive on a loopback bus, in real time."""

import click

from canwheel.cli.adapter_options import adapter_options, parse_options
from canwheel.cli.output import tell
from canwheel.corners import CORNERS, Corner
from canwheel.outcome import FAULT_KINDS, FaultKind

_NO_FAULT = "none"


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
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    help="Another number, another drive.",
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=64.0),
    default=1.0,
    show_default=True,
    help="Times real time.",
)
def command(
    *,
    interface: str | None,
    channel: str | None,
    options: tuple[str, ...],
    corner: str,
    fault: str,
    seed: int,
    speed: float,
) -> int:
    """Drive a bakery van's round on a loopback bus, so that recording can be tried without a car.

    Takes --interface udp_multicast and stays on this computer. Any interface behind which there
    could be a car is refused. Record meanwhile, in another terminal; `canwheel demo DIR` writes
    the van's DBC and vehicle file.
    """
    # the help text needs none of these
    from canwheel.bus.adapters import resolve_adapter  # noqa: PLC0415
    from canwheel.bus.loopback import check_loopback, play  # noqa: PLC0415
    from canwheel.roadtest.demo import make_pair  # noqa: PLC0415

    settings = resolve_adapter(interface=interface, channel=channel, options=parse_options(options))
    check_loopback(settings)
    kind: FaultKind = next((k for k in FAULT_KINDS if k == fault), "no_signal")
    pair = make_pair(Corner(corner.upper()), kind, seed=seed)
    frames = pair.after if fault == _NO_FAULT else pair.before
    lasts_s = (frames.time_ns[-1] - frames.time_ns[0]) / 1e9
    words = "no fault" if fault == _NO_FAULT else f"{Corner(corner.upper()).words}, {kind}"
    tell(f"Driving on {settings.words} for {lasts_s / speed:.0f} s ({words}); Ctrl-C ends it.")
    play(frames, settings, speed=speed, tell=lambda s: tell(f"{s:.0f} of {lasts_s:.0f} s driven"))
    return 0
