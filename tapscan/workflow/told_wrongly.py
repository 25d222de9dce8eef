"""What a person said of the taps and seems to have said wrongly, or left out: for who can say it again.

said_anew(screening)   option of the commands that read recordings, and what it should say
"""

from tapscan.layouts.take import AS_ONE
from tapscan.records import Screening
from tapscan.screening.limitations import EXCHANGED
from tapscan.screening.rules.force_dependence import turned

A_LAYOUT = "NAME"


def said_anew(screening: Screening) -> list[tuple[str, str]]:
    """Told by what limits the screening, so that both always agree."""
    wrong = [("order", ",".join(turned(screening.scan)))] if _says(screening, EXCHANGED) else []
    return wrong + ([("layout", A_LAYOUT)] if _says(screening, AS_ONE) else [])


def _says(screening: Screening, words: str) -> bool:
    return any(words in sentence for sentence in screening.limitations)
