"""Places as a sentence names them.

joined(names)                        "a, b and c"
places_in_words(scan, stations)      the first few with what the layout says of them, and how many more lie beside them
"""

from collections.abc import Sequence

from tapscan.records import Scan

NAMED_PLACES = 3


def joined(names: Sequence[str]) -> str:
    """Empty without names."""
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def places_in_words(scan: Scan, stations: Sequence[str], most: int = NAMED_PLACES) -> str:
    """At most `most` by name."""
    names = [scan.where(s) for s in stations[:most]]
    more = len(stations) - len(names)
    if more:
        names.append(f"{more} more {'place' if more == 1 else 'places'} beside them")
    return joined(names)
