"""What the command `plate` asks of the register."""

from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate, edit_plate, find_plate, list_plates, retire_plate
from tapscan.register.scans import set_baseline

__all__ = [
    "Plate",
    "add_plate",
    "edit_plate",
    "find_plate",
    "list_plates",
    "retire_plate",
    "set_baseline",
]
