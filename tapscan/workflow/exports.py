"""The register as CSV and JSON, every scan with what it says by now, as lists and pages have it.

export_csv(register, folder)   names of the files
export_json(register, path)
"""

from pathlib import Path

from tapscan.records import Disposition, Screening
from tapscan.register import export
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.on_record import on_record
from tapscan.workflow.as_listed import QUIET, headings
from tapscan.workflow.standing import VOID, as_it_stands


def export_csv(register: Register, folder: Path) -> list[str]:
    """A new or empty folder."""
    told = headings(register)

    def said(entry: ScanEntry) -> tuple[Disposition, str]:
        if entry.crossed_out:
            return "inconclusive", VOID
        now = told.get(entry.name, entry.current)
        return now.disposition, now.headline

    return export.export_csv(register, folder, said)


def export_json(register: Register, path: Path) -> None:
    """Plates on which nothing is noted are read once; their scans say what they said."""
    records = on_record(register, QUIET)

    def stands(entry: ScanEntry, screening: Screening) -> Screening:
        if entry.crossed_out or entry.plate in records:
            return as_it_stands(register, entry, screening, records.get(entry.plate))
        return screening

    export.export_json(register, path, stands)
