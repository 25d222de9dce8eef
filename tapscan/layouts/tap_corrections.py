"""What a person says about taps: this one is left out, that one belongs elsewhere.

AssignedTap                                  one tap as it is shown before anything is screened
numbers_kept(found, skip)                    numbers of the taps that stay
mended(names, files, stations, assign)       stations with the person's word put in, and sentences that say so
by_tap(assign, stands)                       the same, places that it names told tap by tap
tap_names(numbers)                           'T7, T10 to T27'
sound_places(assign, layout, stands), sound_order(order, stations)   WrongUsage for what does not fit
read_assigns(texts), each_once(assign)       WrongUsage where one tap is given to two places
read_assign(text), read_skip(text)           'S4_2.wav=S5', 'T7=S5', 'S4=S5'; '7,10-27'
"""

import difflib
import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from pathlib import PurePath

from msgspec import Struct

from tapscan.errors import BadRequest, WrongUsage
from tapscan.places import Layout
from tapscan.records import Force
from tapscan.wording import listed

SKIPPED = re.compile(r"T?([0-9]{1,5})(?:-T?([0-9]{1,5}))?")
MOST_TAPS = 99_999  # numbers beyond are a slip of the hand


class AssignedTap(Struct, frozen=True):
    """Where one tap went."""

    name: str  # T1, T2, ... in the order found
    recording: str
    onset_s: float
    station: str
    force: Force | None


def numbers_kept(found: int, skip: Sequence[int]) -> list[int]:
    """1..found without those to skip. Raises BadRequest for a tap that is not there."""
    if strange := [n for n in skip if not 1 <= n <= found]:
        raise BadRequest(f"--skip {strange[0]}: there is no such tap; {found} were found, numbered from 1")
    return [n for n in range(1, found + 1) if n not in set(skip)]


def mended(
    names: Sequence[str],
    files: Sequence[str],
    stations: Sequence[str],
    assign: Sequence[tuple[str, str]],
    layout: Layout | None = None,
) -> tuple[list[str], list[str]]:
    """One name, file and station a tap. `assign`: tap, file or the station as it was split, and its station; the last word counts. With a `layout` it must have that station."""
    sound_places(assign, layout, stations)
    told, notes = list(stations), []
    for what, station in assign:
        mine = [i for i, (n, f) in enumerate(zip(names, files, strict=True)) if what in (n, f, PurePath(f).name)]
        mine = mine or [i for i, s in enumerate(stations) if s == what]
        if not mine:
            known = ", ".join(dict.fromkeys(PurePath(f).name for f in files))
            raise BadRequest(f"--assign {what}={station}: no tap or recording of that name; there are {known}")
        for i in mine:
            told[i] = station
        notes.append(f"{what} was given to {station} by hand")
    return told, notes


def sound_places(assign: Sequence[tuple[str, str]], layout: Layout | None, stands: Collection[str]) -> None:
    """Raises WrongUsage for a station that is neither in the layout nor one at which a tap stands."""
    if layout is None:
        return
    names = [s.name for s in layout.stations]
    for what, station in assign:
        if station not in names and station not in stands:
            same = [name for name in names if name.casefold() == station.casefold()]
            near = same or difflib.get_close_matches(station, names, 1)
            hint = f"; {near[0]} perhaps?" if near else f"; its places are {listed(names, most=8)}"
            raise WrongUsage(f"--assign {what}={station}: there is no place {station} in {layout.name}{hint}")


def sound_order(order: Sequence[Force], stations: Sequence[str]) -> None:
    """`stations` : of each tap. Raises WrongUsage where no station has as many taps as `order` names."""
    counts = Counter(stations).values()
    if counts and len(order) not in counts:
        usual = Counter(counts).most_common(1)[0][0]
        raise WrongUsage(f"--order names {len(order)} taps, but the places of this scan have {usual}; name as many")


def by_tap(assign: Sequence[tuple[str, str]], stands: Mapping[str, str]) -> list[tuple[str, str]]:
    """`stands`: the station at which each tap stands now, by the tap's name."""
    told = []
    for what, station in assign:
        mine = [] if what in stands else [tap for tap, at in stands.items() if at == what]
        told += [(tap, station) for tap in mine] or [(what, station)]
    return told


def read_assign(text: str) -> tuple[str, str]:
    """FILE=STATION; the file's own name may hold an equals sign."""
    what, sign, station = text.rpartition("=")
    if not sign or not what.strip() or not station.strip():
        raise WrongUsage(f"--assign {text!r}: write FILE=STATION or TAP=STATION, for example S4_2.wav=S5 or T7=S5")
    return what.strip(), station.strip()


def tap_names(numbers: Sequence[int]) -> str:
    """Three and more in a row as one stretch."""
    stretches: list[list[int]] = []
    for n in sorted(set(numbers)):
        if stretches and n == stretches[-1][-1] + 1:
            stretches[-1].append(n)
        else:
            stretches.append([n])
    told = [[f"T{s[0]} to T{s[-1]}"] if len(s) > 2 else [f"T{n}" for n in s] for s in stretches]
    return ", ".join(name for names in told for name in names)


def read_assigns(texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Raises WrongUsage where one thing is given to two places, too."""
    return each_once([read_assign(text) for text in texts])


def each_once(assign: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """The same; raises WrongUsage where one thing is given to two places."""
    known: dict[str, str] = {}
    for what, station in assign:
        if known.setdefault(what, station) != station:
            raise WrongUsage(f"--assign {what}={station}: {what} is given to {known[what]} too; leave one of them out")
    return tuple(assign)


def read_skip(text: str) -> list[int]:
    """Numbers of taps and stretches of them, with or without their T, parted by commas."""
    numbers: list[int] = []
    for word in text.split(","):
        found = SKIPPED.fullmatch(word.strip().upper())
        first, last = (int(found[1]), int(found[2] or found[1])) if found else (1, 0)
        if not first <= last <= MOST_TAPS:
            raise WrongUsage(f"--skip {text!r}: write the numbers of the taps, for example 7 or 7,10-27")
        numbers += range(first, last + 1)
    return numbers
