"""What the command `scan` asks of the register."""

from tapscan.register.entries import CHECKLIST, PART, Finding, NewScan, Outcome, ScanEntry, Unfinished, full_checklist
from tapscan.register.scans import add_outcome, edit_scan, find_scan, list_scans
from tapscan.register.unfinished import find_unfinished, unfinished_scans

__all__ = [
    "CHECKLIST",
    "PART",
    "Finding",
    "NewScan",
    "Outcome",
    "ScanEntry",
    "Unfinished",
    "add_outcome",
    "edit_scan",
    "find_scan",
    "find_unfinished",
    "full_checklist",
    "list_scans",
    "unfinished_scans",
]
