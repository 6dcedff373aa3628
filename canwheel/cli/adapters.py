"""``canwheel adapters``: what is plugged in, and how to name it."""

import click

from canwheel.cli.output import write_text


@click.command("adapters", short_help="List the adapters that can be seen, and how to name them.")
def command() -> int:
    """List the adapters that can be seen, each with the options that open it.

    Nothing is opened. What an interface lacks on this computer is said, and what to install.
    """
    from canwheel.bus.adapters import find_adapters  # noqa: PLC0415 - the help text needs none

    survey = find_adapters()
    lines = ["", " Seen:"]
    for adapter in survey.seen:
        lines.append(f"   {adapter.option_line}")
        if adapter.says:
            lines.append(f"       {adapter.says}")
    if not survey.seen:
        lines.append("   nothing: plug the adapter in, and look at what is missing below")
    if survey.missing:
        lines += ["", " Not usable as things are:"]
    for missing in survey.missing:
        lines.append(f"   {missing.interface}: {missing.why}")
        lines.append(f"       {missing.remedy}")
    lines += [
        "",
        " Record with:  canwheel record OUT.log --dbc FILE and one of the lines above",
        "",
    ]
    write_text("".join(f"{line}\n" for line in lines))
    return 0
