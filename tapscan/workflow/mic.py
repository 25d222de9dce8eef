"""What the command `mic` and the recorder ask of the sound input."""

from tapscan.recording.microphone import Beeper, Microphone, chosen_device, input_devices, look_again
from tapscan.signal.strikes.input_check import InputCheck, check_input

__all__ = [
    "Beeper",
    "InputCheck",
    "Microphone",
    "check_input",
    "chosen_device",
    "input_devices",
    "look_again",
]
