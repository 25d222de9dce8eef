"""One recording through the whole check, without a layout or a register."""

from pathlib import Path

from tapscan.records import Screening
from tapscan.workflow.check import Request, check


def screened(path: Path) -> Screening:
    """Of the file alone."""
    screening = check([str(path)], Request()).screening
    assert screening is not None
    return screening
