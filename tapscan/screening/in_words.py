"""Places as a sentence names them.

places_in_words(scan, stations)      the first few with what the layout says of them, and how many more lie beside them
"""

from collections.abc import Sequence

from tapscan.records import Scan
from tapscan.wording import listed

NAMED_PLACES = 3


def places_in_words(scan: Scan, stations: Sequence[str], most: int = NAMED_PLACES) -> str:
    """At most `most` by name."""
    names = [scan.where(s) for s in stations[:most]]
    more = len(stations) - len(names)
    if more:
        names.append(f"{more} more {'place' if more == 1 else 'places'} beside them")
    return listed(names)
