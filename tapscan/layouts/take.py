"""Whether one long take is what the layout asks for, told from the pauses before anything is judged.

groups_of(onsets)                         how many taps lie in each group between two long pauses; None without clear pauses
mismatch(take, layout, state, known, offers)   a line on what was heard and what would fit, or None
read_as_one(onsets)                       a sentence where a long take was given to one place for want of a layout, or None
Fits                                      a known layout that has so many places
ORDER, BETWEEN_TAPS_S, BETWEEN_PLACES_S   what sheet, docs and recorder ask for

Pauses between places are told from those between taps by parting their logarithms in two where the variance between the parts is
largest (Otsu, IEEE Trans. SMC 9 (1979) 62, from memory); the shortest of the long ones must stand clear of the longest of the others.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from tapscan.layouts.assignment import PAUSE_RATIO, SHIFTED
from tapscan.places import IN_PIANO, Layout, State
from tapscan.records import Force

ORDER: tuple[Force, ...] = ("soft", "hard", "hard")  # what sheet, docs and recorder ask for at each place
BETWEEN_TAPS_S, BETWEEN_PLACES_S = 3, 10  # pauses that they ask for
OFFERS = frozenset({"partial", "assign", "skip"})  # options that a command may have for it
AS_ONE = "were read as one place: a layout says where each tap was"
BY_HAND = "--assign and --skip put single taps right"
LONGER_SHARE = 0.8  # of all pairs of a pause between places and one between taps; by chance 0.5
SMALLER_SHARE = (
    0.75  # the same for groups of three taps or more within a place's: so many show that there were more places
)
LEAST_GROUP = 3
LONG_TAKE = 6  # taps; so many at one place are rare
FEW_OFF = 2  # groups too few or too many, as where a place was left out or tapped twice
BREAK_TIMES = 3  # usual pauses; hands that are uneven by 30 % stay below two
LEAST_TAPS = 4  # fewer show no two kinds of pause


class Take(Struct, frozen=True):
    """What was expected of one long recording, and what is in it."""

    taps: int
    groups: tuple[int, ...] | None  # taps in each; None: no clear pauses
    per_station: int | None
    onsets: tuple[float, ...] = ()  # s; where given, a take whose count is right may have uneven pauses


class Fits(Struct, frozen=True):
    """A layout, and how many of its places may be struck in the state at hand."""

    name: str
    places: int


def groups_of(onsets: Sequence[float]) -> tuple[int, ...] | None:
    """`onsets` in s, ascending."""
    if len(onsets) < LEAST_TAPS:
        return None
    gaps = np.array([b - a for a, b in pairwise(onsets)])
    cut = _parted(np.sort(np.log(np.maximum(gaps, 1e-3))))
    if cut is None:
        return None
    numbers = np.concatenate([[0], np.cumsum(np.log(np.maximum(gaps, 1e-3)) > cut)])
    return tuple(Counter(numbers.tolist()).values())


def _parted(values: np.ndarray) -> float | None:
    """A value between the two kinds; None where they do not stand clear of each other."""
    n = len(values)
    sums, total = np.cumsum(values), values.sum()
    k = np.arange(1, n)
    between = k * (n - k) * (sums[:-1] / k - (total - sums[:-1]) / (n - k)) ** 2
    best = int(np.argmax(between))
    low, high = values[best], values[best + 1]
    return float((low + high) / 2) if high - low >= np.log(PAUSE_RATIO) else None


def mismatch(
    take: Take,
    layout: Layout,
    state: State | None,
    known: Callable[[], Iterable[Layout]],
    offers: frozenset[str] = OFFERS,
) -> str | None:
    """What was heard, which layouts and options fit; None where the take is as the layout asks.

    known : gives the layouts to look among, asked only where something does not fit.
    offers : options that whoever asks has; no other is named.
    """
    here, every = places_of(layout, state), len(layout.stations)
    if take.per_station and take.taps in {here * take.per_station, every * take.per_station} and _as_announced(take):
        return None
    if take.groups is None:
        return _by_count(take, layout.name, {here, every}, state, offers)
    if take.per_station == 1 and take.taps in {here, every}:
        return None
    if len(take.groups) in {here, every}:
        return _by_size(take, offers)
    gap = _break(take)
    heard = f"heard {len(take.groups)} groups of {_sizes(take.groups)}; {_asked(layout, here)}{gap}"
    others = [f for f in fitting(known(), state, len(take.groups)) if f.name != layout.name]
    ways = [f"--layout {' or '.join(f.name for f in others)} has {_places(len(take.groups))}"] if others else []
    if len(take.groups) < here and "partial" in offers:
        ways.append("--partial screens what was tapped of an aborted take")
    ways.append(
        _singly(offers) if others or gap or abs(len(take.groups) - here) > FEW_OFF else f"{_singly(offers)}; {SHIFTED}"
    )
    return f"{heard}. {'; '.join(ways)}"


def _asked(layout: Layout, here: int) -> str:
    every = len(layout.stations)
    if here == every:
        return f"{layout.name} has {_places(here)}"
    return f"{layout.name} has {_places(every)}, and {here} may be tapped in this state"


def _break(take: Take) -> str:
    """What one gap shows that is many times a usual pause between places; empty without."""
    gaps = np.diff(take.onsets)
    if take.groups is None or len(take.groups) < LEAST_TAPS or not len(gaps):
        return ""
    pauses = gaps[np.cumsum(take.groups)[:-1] - 1]
    longest, usual = int(np.argmax(gaps)), float(np.median(pauses))
    if gaps[longest] < BREAK_TIMES * usual:
        return ""
    return (
        f"; no tap for {gaps[longest]:.0f} s after {take.onsets[longest]:.0f} s, {gaps[longest] / usual:.0f} times the usual pause: "
        "if another plate or take begins there, cut the recording in two"
    )


def _singly(offers: frozenset[str]) -> str:
    return BY_HAND if {"assign", "skip"} <= offers else "`tapscan scan import` puts single taps right"


def _as_announced(take: Take) -> bool:
    """Whether the pauses after every so many taps are nearly all longer than those between, and no smaller group shows among these."""
    gaps, per = np.diff(take.onsets), take.per_station or 1
    number = np.arange(1, len(gaps) + 1)
    between = number % per == 0
    if _longer(gaps[between], gaps[~between]) < LONGER_SHARE:
        return False
    parts = [~between & (number % part == 0) for part in range(LEAST_GROUP, per) if per % part == 0]
    return all(_longer(gaps[sub], gaps[~between & ~sub]) < SMALLER_SHARE for sub in parts)


def _longer(these: np.ndarray, those: np.ndarray) -> float:
    """Share of all pairs in which one of these is longer; 0 without pairs."""
    return float((these[:, None] > those[None, :]).mean()) if len(these) and len(those) else 0.0


def _by_size(take: Take, offers: frozenset[str]) -> str | None:
    """Where most places have another number of taps than was said; a tap more or less here and there is told, and does not stop."""
    sizes = take.groups or ()
    if not take.per_station or 2 * sum(n == take.per_station for n in sizes) > len(sizes):
        return None
    usual = Counter(sizes).most_common(1)[0][0]
    return (
        f"heard {len(sizes)} groups of {_sizes(sizes)}; {take.per_station} taps a place were announced. "
        f"--per-station {usual}, or an --order of {usual} taps, fits; {_singly(offers)}"
    )


def places_of(layout: Layout, state: State | None) -> int:
    """Places that may be struck in `state`; all where it allows none."""
    return len(layout.allowed(state)) or len(layout.stations)


def read_as_one(onsets: Sequence[float]) -> str | None:
    """Of one recording that nobody gave a layout for: what the pauses show, and what says where each tap was. None for a few taps.

    onsets : s, ascending, all given to one place
    """
    if len(onsets) < LONG_TAKE:
        return None
    groups = groups_of(onsets) or (len(onsets),)
    usual, often = Counter(groups).most_common(1)[0]
    if min(usual, often) > 1 and 2 * often > len(groups):
        return f"The pauses show {len(groups)} groups of {usual} taps, but all {AS_ONE}."
    return f"All {len(onsets)} taps {AS_ONE}."


def fitting(known: Iterable[Layout], state: State | None, groups: int) -> list[Fits]:
    """Those with just so many places."""
    return [Fits(one.name, groups) for one in known if groups in {places_of(one, state), len(one.stations)}]


def _by_count(take: Take, name: str, places: set[int], state: State | None, offers: frozenset[str]) -> str | None:
    """Without clear pauses a tap more or less shifts all places after it. In the piano nobody is asked to tap again: the plate may have to be left as it is."""
    if not take.per_station or take.taps in {n * take.per_station for n in places}:
        return None
    wanted = " or ".join(str(n * take.per_station) for n in sorted(places))
    by_hand = ", or put it right with --skip and --assign" if {"assign", "skip"} <= offers else ""
    again = f"record it again with {BETWEEN_PLACES_S} seconds between places{by_hand}"
    return (
        f"heard {take.taps} taps without clear pauses between the places; {name} with {take.per_station} a place has {wanted}. "
        f"Without pauses one tap more or less shifts every place after it: {_singly(offers) if state in IN_PIANO else again}"
    )


def _sizes(groups: Sequence[int]) -> str:
    """Such as: 3 (place 5 has 2)."""
    usual = Counter(groups).most_common(1)[0][0]
    odd = [f"place {i} has {n}" for i, n in enumerate(groups, 1) if n != usual]
    return f"{usual} ({', '.join(odd[:4])}{' and more' if len(odd) > 4 else ''})" if odd else str(usual)


def _places(n: int) -> str:
    return f"{n} place" if n == 1 else f"{n} places"
