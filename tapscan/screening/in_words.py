"""Places as a sentence names them.

places_in_words(scan, stations)      the first few with what the layout says of them, and how many more lie beside them
places_sentence(found, crack)        the likeliest parts of the plate with their shares
"""

from collections.abc import Sequence

from tapscan.records import LikelyPlace, Scan, Whereabouts
from tapscan.wording import listed

NAMED_PLACES = 3
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
    """`crack`: where a crack would lie, beside a weight. A share says where it would lie, never whether there is one: hence "if"."""
    first, *others = found.places[:NAMED_PLACES]
    named = [f"{_place(p)} ({_percent(p)})" for p in others if p.share >= WORTH_NAMING]
    then = f"; then {listed(named)}" if named else ""
    if found.told_from == "weight":
        said = f"If it is a weight, it lies most likely at the {first.where} ({_percent(first)})."
        return f"{said} {places_sentence(crack)}" if crack is not None and crack.places else said
    lead = (
        "it lies most likely at"
        if first.share >= SURE
        else "nothing stands out; the likeliest is"
        if first.share < EVEN
        else "it lies perhaps at"
    )
    return (
        f"If it is a crack, {lead} {_place(first)} ({_percent(first)}){then}. Whether it is one, these figures do not say. "
        "Look there first; the cause may lie elsewhere."
    )


def _place(place: LikelyPlace) -> str:
    return f"{place.member}, {place.where}" if place.where else place.member


def _percent(place: LikelyPlace) -> str:
    return f"{100 * place.share:.0f} \N{PLUS-MINUS SIGN} {100 * place.share_sd:.0f} %"
