"""Which strike belongs to which station.

station_of_file(name)                         a file's station: its name before the first "_"
split(onsets, names, per_station)             station of each strike of one long recording
expected(layout, state, onsets, per_station)  stations that one long recording should hold, in order
wanted(layout, state)                         stations that should have been tapped
barred(layout, state)                         stations that must not be struck in this state
struck_barred(layout, state, stations)        a sentence on those of them that were struck all the same
left_out(layout, state, stations)             a sentence on those that were not
forces(stations, order)                       soft or hard by declared order
shortfalls(stations, names, per_station)      "expected 24, found 23: S5 has two"
"""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from tapscan.errors import WrongUsage
from tapscan.places import STRUNG, Layout, State
from tapscan.records import Force
from tapscan.wording import counted, listed, spelled

FEW_EMPTY = 2  # places without a tap that are told one by one
SHIFTED = "where a place was left out or tapped twice, all after it are shifted"
PAUSE_RATIO = 1.3  # a pause between stations is at least this much longer than any gap within


def station_of_file(file: str) -> str:
    """Station name told by a file name."""
    stem = Path(file).stem
    return stem.split("_", 1)[0] or stem


def split(
    onsets: Sequence[float], names: Sequence[str] | None, per_station: int | None, shown: int | None = None
) -> tuple[list[str], str]:
    """Station for each onset (s, ascending), and a sentence that says how it was told.

    names : stations in the order tapped, or None to number them P1, P2, ...
    shown : groups that the pauses show of themselves; None where there are no clear pauses. It changes the sentence alone.
    """
    wanted = len(names) if names else max(1, round(len(onsets) / per_station)) if per_station else 1
    labels = list(names) if names else [f"P{i}" for i in range(1, wanted + 1)]
    groups = _by_pauses(onsets, wanted)
    if groups is not None:
        return [labels[g] for g in groups], "split at the pauses"
    unlike = shown is not None and shown != wanted
    why = f"the pauses show {shown} groups, not {wanted}" if unlike else "no clear pauses between stations"
    if per_station:
        last = len(labels) - 1
        return [labels[min(i // per_station, last)] for i in range(len(onsets))], (
            f"{why}, so split by count, {per_station} taps each" + (f"; {SHIFTED}" if unlike else "")
        )
    return [labels[0]] * len(onsets), f"{why}, so all taps were given to the first"


def _by_pauses(onsets: Sequence[float], groups: int) -> list[int] | None:
    """Group number of each onset when the groups - 1 longest gaps stand out; None when they do not."""
    if len(onsets) < groups:
        return None
    gaps = [b - a for a, b in pairwise(onsets)]
    longest = sorted(range(len(gaps)), key=lambda i: -gaps[i])
    cuts, rest = set(longest[: groups - 1]), longest[groups - 1 :]
    if cuts and rest and min(gaps[i] for i in cuts) < PAUSE_RATIO * max(gaps[i] for i in rest):
        return None
    numbers, group = [], 0
    for i in range(len(onsets)):
        numbers.append(group)
        group += i in cuts
    return numbers


def expected(
    layout: Layout | None, state: State | None, onsets: Sequence[float], per_station: int | None
) -> list[str] | None:
    """Stations that may be struck in `state`; all of them where only their number fits the taps. None without a layout."""
    if layout is None:
        return None
    every = [s.name for s in layout.stations]
    allowed = [s.name for s in layout.allowed(state)]
    if not allowed or allowed == every or (per_station and len(onsets) == per_station * len(every)):
        return every
    fits_all_only = _by_pauses(onsets, len(allowed)) is None and _by_pauses(onsets, len(every)) is not None
    return every if fits_all_only else allowed


def wanted(layout: Layout | None, state: State | None) -> list[str] | None:
    """In layout order; None without a layout."""
    return None if layout is None else [s.name for s in layout.allowed(state)]


def barred(layout: Layout | None, state: State | None) -> list[str]:
    """In layout order; none without a layout or a state."""
    return layout.barred(state) if layout else []


def struck_barred(layout: Layout | None, state: State | None, stations: Sequence[str]) -> list[str]:
    """Empty where none was. Taps there are extra: nobody asked for them."""
    names = [name for name in barred(layout, state) if name in set(stations)]
    if not names:
        return []
    when = "with strings on" if state in STRUNG else "in this state"
    extra = counted(sum(s in names for s in stations), "tap")
    return [f"{listed(names)} must not be tapped {when}: do not tap there again ({extra} more than expected)"]


def left_out(layout: Layout | None, state: State | None, stations: Sequence[str]) -> list[str]:
    """Empty where nothing is ruled out, or all of it was struck."""
    names = [name for name in barred(layout, state) if name not in set(stations)]
    return [f"not to be tapped in this state, so not expected: {', '.join(names)}"] if names else []


def read_order(text: str, said: str = "--order: ") -> tuple[Force, ...]:
    """'soft,soft,hard,hard' as forces; `said` : how the line begins that tells what is wrong."""
    known: dict[str, Force] = {"soft": "soft", "hard": "hard"}
    words = [w.strip().lower() for w in text.split(",")]
    wrong = [w for w in words if w not in known]
    if wrong:
        raise WrongUsage(f"{said}{wrong[0]!r} is neither soft nor hard; write for example soft,soft,hard,hard")
    return tuple(known[w] for w in words)


def forces(stations: Sequence[str], order: Sequence[Force] | None) -> list[Force | None]:
    """Force of each strike; None at a station whose count does not fit the order."""
    if not order:
        return [None] * len(stations)
    count, seen = Counter(stations), Counter[str]()
    told: list[Force | None] = []
    for station in stations:
        told.append(order[seen[station]] if count[station] == len(order) else None)
        seen[station] += 1
    return told


def shortfalls(stations: Sequence[str], names: Sequence[str] | None, per_station: int | None) -> list[str]:
    """What is missing or double against the layout and the count, in words."""
    count = Counter(stations)
    wanted = sorted(count) if names is None else list(names)
    lines = []
    if names is not None:
        strangers = sorted(set(count) - set(names))
        if strangers:
            lines.append(f"not in the layout: {', '.join(strangers)}")
    if per_station:
        odd = [f"{s} has {spelled(count[s])}" for s in wanted if count[s] not in (0, per_station)]
        empty = [s for s in wanted if not count[s]]
        few = len(empty) <= FEW_EMPTY
        odd += [f"{s} has none" for s in empty] if few else [f"{len(empty)} places have none ({', '.join(empty)})"]
        total, found = per_station * len(wanted), sum(count[s] for s in wanted)
        if odd:
            lines.append(f"expected {total}, found {found}: {'; '.join(odd)}")
    else:
        missing = [s for s in wanted if not count[s]]
        if missing:
            lines.append(f"no tap at {', '.join(missing)}")
    return lines
