"""`tapscan mic`: the inputs there are, and whether one is fit for a scan."""

import time
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o

if TYPE_CHECKING:
    from tapscan.records import FloatArray
    from tapscan.workflow.mic import InputCheck


def mic(
    device: Annotated[o.TEXT, typer.Option(help="Number or part of the name; else the system's choice.")] = None,
    channel: Annotated[int, typer.Option(min=1, help="Channel of the input.")] = 1,
    rate: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=8000, max=192000, help="Sample rate in Hz; else the device's own."),
    ] = None,
    seconds: Annotated[float, typer.Option(min=2, max=600, help="How long to listen.")] = 6.0,
    list_only: Annotated[bool, typer.Option("--list", help="Only list the inputs.")] = False,
    settings: o.SETTINGS = None,
) -> None:
    """List the sound inputs, then listen to one: level, background noise, hum, and whether that allows a scan.

    Keep quiet and do not tap meanwhile.
    """
    from tapscan.workflow.mic import chosen_device, input_devices
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
    typer.echo(f"\nListening to {chosen.name} for {seconds:.0f} s. Keep quiet, and do not tap.")
    samples, own_rate, lost = _listen(device, rate, channel - 1, seconds)
    from tapscan.workflow.mic import check_input

    _tell(check_input(samples, own_rate, used), lost)


def _listen(device: str | None, rate: int | None, channel: int, seconds: float) -> "tuple[FloatArray, int, int]":
    import numpy as np

    from tapscan.errors import MicrophoneTrouble
    from tapscan.workflow.mic import Microphone

    parts = []
    with Microphone(device, rate, channel) as microphone:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            block = microphone.read(0.2)
            if block is not None:
                parts.append(block.samples)
        if not parts:
            raise MicrophoneTrouble(
                f"{microphone.device.name}: gave no sound in {seconds:.0f} s; is it plugged in and switched on?"
            )
        return np.concatenate(parts), microphone.sample_rate_hz, microphone.lost


def _tell(found: "InputCheck", lost: int) -> None:
    if found.noise_db is not None:
        typer.echo(
            f"Noise: {found.noise_db:.0f} dB re full scale above 50 Hz. Largest sample: {100 * found.peak:.1f} % of full scale."
        )
    typer.echo(found.verdict)
    for what in found.processing:
        typer.echo(f"In the path: {what}")
    if not found.processing and found.noise_db is not None:
        typer.echo("Nothing was noticed that works on the sound; from quiet alone not everything can be told.")
    if lost:
        typer.echo(f"The computer missed {lost} pieces of sound: close other programs.")
