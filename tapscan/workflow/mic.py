"""What the command `mic`, the recorder and the page ask of the sound input.

hear_quiet(input, seconds, heard)    Quiet: some seconds in which nobody taps
quiet_words(quiet, settings)         whether that allows a scan, in sentences
LISTEN_S, WARNING                    how long, and what is said before
"""

import time
from collections.abc import Callable

import numpy as np
from msgspec import Struct

from tapscan.errors import MicrophoneTrouble
from tapscan.recording.microphone import Beeper, InputDevice, Microphone, chosen_device, input_devices, look_again
from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.strikes.input_check import InputCheck, check_input

__all__ = [
    "Beeper",
    "InputCheck",
    "InputDevice",
    "Microphone",
    "check_input",
    "chosen_device",
    "input_devices",
    "look_again",
]
LISTEN_S = 6.0
WARNING = "Keep quiet, and do not tap."


class Quiet(Struct, frozen=True, eq=False):
    """What came in."""

    samples: FloatArray  # (n,) full scale = 1
    sample_rate_hz: int
    lost: int  # pieces of sound


def hear_quiet(
    input_: tuple[str | None, int | None, int], seconds: float, heard: Callable[[FloatArray], None] = lambda _: None
) -> Quiet:
    """`input_` : device, rate in Hz or None, channel from 0. `heard` gets every piece. Raises MicrophoneTrouble."""
    parts = []
    with Microphone(*input_) as microphone:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            block = microphone.read(0.2)
            if block is not None:
                parts.append(block.samples)
                heard(block.samples)
        if not parts:
            raise MicrophoneTrouble(
                f"{microphone.device.name}: gave no sound in {seconds:.0f} s; is it plugged in and switched on?"
            )
        return Quiet(np.concatenate(parts), microphone.sample_rate_hz, microphone.lost)


def quiet_words(quiet: Quiet, settings: Settings) -> list[str]:
    """The verdict among them."""
    found = check_input(quiet.samples, quiet.sample_rate_hz, settings)
    told = []
    if found.noise_db is not None:
        told.append(
            f"Noise: {found.noise_db:.0f} dB re full scale above 50 Hz. Largest sample: {100 * found.peak:.1f} % of full scale."
        )
    told.append(found.verdict)
    told += [f"In the path: {what}" for what in found.processing]
    if not found.processing and found.noise_db is not None:
        told.append("Nothing was noticed that works on the sound; from quiet alone not everything can be told.")
    if quiet.lost:
        told.append(f"The computer missed {quiet.lost} pieces of sound: close other programs.")
    return told
