"""Places as a sentence names them.

places_in_words(scan, stations)      the first few with what the layout says of them, and how many more lie beside them
places_sentence(found, crack)        the likeliest parts of the plate with their shares
"""

from collections.abc import Sequence

from tapscan.records import LikelyPlace, Scan, Whereabouts
from tapscan.wording import listed

NAMED_PLACES = 3
ABOUT_AS_NEAR = 1.6  # times the way to the nearest station: a place between stations is marked at each
WORTH_NAMING = 0.05  # of the belief
SURE, EVEN = 0.5, 0.3


def places_in_words(scan: Scan, stations: Sequence[str], most: int = NAMED_PLACES) -> str:
    """At most `most` by name."""
    names = [scan.where(s) for s in stations[:most]]
    more = len(stations) - len(names)
    if more:
        names.append(f"{more} more {'place' if more == 1 else 'places'} beside them")
    return listed(names)


def places_sentence(found: Whereabouts, crack: Whereabouts | None = None) -> str:
    """`crack`: where a crack would lie, beside a weight. Shares are counts of a hundred such cracks: as a percentage one was read as "88 % cracked"."""
    first, *others = found.places[:NAMED_PLACES]
    named = [f"{_of_100(p)} at {_place(p)}" for p in others if p.share >= WORTH_NAMING]
    then = f", {listed(named)}" if named else ""
    if found.told_from == "weight":
        said = f"If it is a weight, it lies most likely at the {first.where}: of 100 such weights some {_of_100(first)} would."
        return f"{said} {places_sentence(crack)}" if crack is not None and crack.places else said
    lead = (
        "it lies most likely at"
        if first.share >= SURE
        else "no place stands out; the likeliest is"
        if first.share < EVEN
        else "it lies perhaps at"
    )
    return (
        f"If it is a crack, {lead} {_place(first)}: of 100 cracks that sound like this some {_of_100(first)} would lie there{then}. "
        "How likely a crack is at all, these figures do not say. Look there first; the cause may lie elsewhere."
    )


def _place(place: LikelyPlace) -> str:
    return f"{place.member}, {place.where}" if place.where else place.member


def _of_100(place: LikelyPlace) -> str:
    return f"{100 * place.share:.0f} \N{PLUS-MINUS SIGN} {100 * place.share_sd:.0f}"
