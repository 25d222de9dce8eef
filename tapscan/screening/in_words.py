"""Places as a sentence names them.

places_in_words(scan, stations)      the first few with what the layout says of them, and how many more lie beside them
worth_naming(found)                  the likeliest parts: named in the sentence and marked on the map
places_sentence(found, crack)        the same as a sentence
common_told(comparison)              what all tones did together, or why it is not told; empty where there is nothing to say
tones_told(comparison, heard)        how many tones were compared
"""

from collections.abc import Sequence

from tapscan.records import Comparison, LikelyPlace, Scan, Whereabouts
from tapscan.wording import listed

NAMED_PLACES = 3
ABOUT_AS_NEAR = 1.6  # times the way to the nearest station: a place between stations is marked at each
WORTH_NAMING = 0.1  # of the belief: such a part is named, and the places beside it are marked
SURE, EVEN = 0.5, 0.3


def places_in_words(scan: Scan, stations: Sequence[str], most: int = NAMED_PLACES) -> str:
    """At most `most` by name."""
    names = [scan.where(s) for s in stations[:most]]
    more = len(stations) - len(names)
    if more:
        names.append(f"{more} more {'place' if more == 1 else 'places'} beside them")
    return listed(names)


def places_sentence(found: Whereabouts, crack: Whereabouts | None = None) -> str:
    """`crack`: where a crack would lie, beside a weight. Shares are left to the report's table: 88 of 100 was read as "88 % cracked", 88 cracks of 100, too."""
    first, *others = worth_naming(found)
    then = f", then at {listed([_place(p) for p in others])}" if others else ""
    if found.told_from == "weight":
        said = f"If it is a weight, it lies most likely at the {first.where}."
        return f"{said} {places_sentence(crack)}" if crack is not None and crack.places else said
    lead = (
        "it lies most likely at"
        if first.share >= SURE
        else "no place stands out; the likeliest is"
        if first.share < EVEN
        else "it lies perhaps at"
    )
    return (
        f"If it is a crack, {lead} {_place(first)}{then}. "
        "How likely a crack is at all, this test does not say. Look there first; the cause may lie elsewhere."
    )


def worth_naming(found: Whereabouts) -> tuple[LikelyPlace, ...]:
    """The first, and those of the next that hold some share: what a sentence names, the map marks, and nothing else."""
    first, *others = found.places[:NAMED_PLACES]
    return (first, *(p for p in others if p.share >= WORTH_NAMING))


def _place(place: LikelyPlace) -> str:
    return f"{place.member}, {place.where}" if place.where else place.member


def common_told(c: Comparison) -> str:
    """It is taken out of every tone's change in either case; only how much of it is warmth can be unknown."""
    if c.common is not None:
        return c.common.sentence
    if not c.common_reason:
        return ""
    return f"What all tones did together was taken out of the changes; whether that was warmth cannot be told: {c.common_reason}."


def tones_told(c: Comparison, heard: int | None = None) -> str:
    """Only those that could be judged are called compared. `heard` : in the newer scan."""
    both, judged = len(c.pairs), [p.judged for p in c.pairs]
    if not judged or None in judged:
        return f"{both if heard is None else heard} heard, {both} of them also in the earlier scan"
    of = f"{both} heard in both scans" if heard is None else f"{heard} heard, {both} of them in both scans"
    return f"{sum(map(bool, judged))} compared with the earlier scan, of {of} (the others are too high, too low or too faint)"
