"""Whether two names are of one pattern, or one name of two: told from the modes, suggested and never done.

    two_or_one(lots)                       sentence after sentence; `lots`: references by name of their pattern
    sounds_like(plate, pattern, lots)      what is said of a plate that is unlike its own pattern

Two lots are one pattern where plates differ across them hardly more than within them; one lot is two where its plates fall into two groups that differ far more across than
within. Groups by average linkage (scipy.cluster.hierarchy) on the change of shape. No more than MOST plates of a lot are looked at. The factors were chosen
on the simulated castings on which the rule's limits were set.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import FloatArray, Reference
from tapscan.screening.pattern.casting_pairs import beside, own_modes, shape_change
from tapscan.screening.pattern.references import fit_for
from tapscan.wording import listed

Lots = dict[str, list[Reference]]
MOST = 6  # of each lot
FEWEST_PLACES = 8
ONE = 1.5  # across over within: less, and two names are one pattern
TWO = 3.0  # more, and one name is two
USUAL = 0.012  # change of shape within a lot of one plate, where nothing tells


def two_or_one(lots: Lots) -> tuple[str, ...]:
    """Each pair of names once."""
    told = [f"{_two_groups(name, some)}" for name, some in lots.items() if _two_groups(name, some)]
    names = list(lots)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            ratio = _across_over_within(lots[one], lots[other])
            if ratio is not None and ratio < ONE:
                told.append(
                    f"Plates of {one} and of {other} sound like one pattern: if they are, give both one name in the register."
                )
    return tuple(told)


def sounds_like(plate: Reference, pattern: str, lots: Lots) -> tuple[str, ...]:
    """Of the patterns in `lots` those that this plate is like."""
    alike = [name for name, some in lots.items() if (r := _across_over_within([plate], some)) is not None and r < ONE]
    if not alike:
        return ()
    return (f"It sounds like a plate of pattern {listed(alike)}: is {pattern} the right name?",)


def _comparable(first: Reference, some: Sequence[Reference]) -> list[Reference]:
    return list(fit_for(first, some, FEWEST_PLACES).used)[:MOST]


def _changes(some: Sequence[Reference]) -> FloatArray:
    stations = tuple(s for s in some[0].stations if all(s in r.stations for r in some))
    modes = [own_modes(r, stations) for r in some]
    out = np.zeros((len(some), len(some)))
    for i, one in enumerate(modes):
        for j in range(i):
            out[i, j] = out[j, i] = shape_change(one, modes[j], beside(one, modes[j]).shift)
    return out


def _across_over_within(some: Sequence[Reference], others: Sequence[Reference]) -> float | None:
    """None where they cannot be compared."""
    first = next((r for r in some if r.outcome != "flaw" and not r.standing), None)
    if first is None:
        return None
    here, there = [first, *_comparable(first, [r for r in some if r is not first])], _comparable(first, others)
    if not there or len(here) + len(there) < 3:
        return None
    change = _changes([*here, *there])
    across = change[: len(here), len(here) :].mean()
    within = [_mean(change[: len(here), : len(here)]), _mean(change[len(here) :, len(here) :])]
    known = [w for w in within if w is not None]
    return float(across / (max(known) if known else USUAL))


def _mean(change: FloatArray) -> float | None:
    upper = change[np.triu_indices(len(change), 1)]
    return float(upper.mean()) if len(upper) else None


def _two_groups(name: str, some: Sequence[Reference]) -> str:
    """A sentence, or nothing."""
    first = next((r for r in some if r.outcome != "flaw" and not r.standing), None)
    lot = [] if first is None else [first, *fit_for(first, [r for r in some if r is not first], FEWEST_PLACES).used]
    if len(lot) < 4:
        return ""
    change = _changes(lot)
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    group = fcluster(linkage(squareform(change), "average"), 2, "maxclust")
    parts = [np.nonzero(group == g)[0] for g in (1, 2)]
    if min(map(len, parts)) < 2:
        return ""
    across = change[np.ix_(*parts)].mean()
    within = max(_mean(change[np.ix_(p, p)]) or 0.0 for p in parts)
    if across < TWO * within:
        return ""
    small = min(parts, key=len)
    return f"The plates called {name} fall into two groups that do not move alike: {listed([lot[i].name for i in small])} against the others. Are they one pattern?"
