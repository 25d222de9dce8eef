"""`tapscan mic`: the inputs there are, and whether one is fit for a scan."""

from typing import Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.sensors import HIGHEST_RATE_HZ, LOWEST_RATE_HZ


def mic(
    device: Annotated[o.TEXT, typer.Option(help="Number or part of the name; else the system's choice.")] = None,
    channel: Annotated[int, typer.Option(min=1, help="Channel of the input.")] = 1,
    rate: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=LOWEST_RATE_HZ, max=HIGHEST_RATE_HZ, help="Sample rate in Hz; else the device's own."),
    ] = None,
    seconds: Annotated[float, typer.Option(min=2, max=600, help="How long to listen.")] = 6.0,
    list_only: Annotated[bool, typer.Option("--list", help="Only list the inputs.")] = False,
    settings: o.SETTINGS = None,
) -> None:
    """List the sound inputs, then listen to one: level, background noise, hum, and whether that allows a scan.

    Keep quiet and do not tap meanwhile.
    """
    from tapscan.workflow.mic import WARNING, chosen_device, hear_quiet, input_devices, quiet_words
    from tapscan.workflow.settings import read_settings

    used = read_settings(settings)
    for d in input_devices():
        mark = "*" if d.usual else " "
        typer.echo(
            f"{mark} {d.number:2d}  {d.name}  ({d.host}, {d.channels} channel{'s' * (d.channels != 1)}, {d.sample_rate_hz} Hz)"
        )
    if list_only:
        return
    chosen = chosen_device(device)
    typer.echo(f"\nListening to {chosen.name} for {seconds:.0f} s. {WARNING}")
    heard = hear_quiet((device, rate, channel - 1), seconds)
    for line in quiet_words(heard, used):
        typer.echo(line)
