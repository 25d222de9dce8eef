"""What the command `scan` asks of the register."""

from tapscan.register.corrections import compared_with, move_scan, restore_scan
from tapscan.register.entries import (
    Finding,
    NewScan,
    Outcome,
    ScanEntry,
    ScanLine,
    checklist_in,
    full_checklist,
    in_words,
    suspects,
)
from tapscan.register.recording_entries import Unfinished
from tapscan.register.scans import add_outcome, edit_scan, find_scan, list_scans
from tapscan.register.taken_back import both_notes
from tapscan.register.unfinished import find_unfinished, unfinished_scans

__all__ = [
    "Finding",
    "NewScan",
    "Outcome",
    "ScanEntry",
    "ScanLine",
    "Unfinished",
    "add_outcome",
    "both_notes",
    "checklist_in",
    "compared_with",
    "edit_scan",
    "find_scan",
    "find_unfinished",
    "full_checklist",
    "in_words",
    "list_scans",
    "move_scan",
    "restore_scan",
    "suspects",
    "unfinished_scans",
]
