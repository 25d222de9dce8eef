"""What a person says about taps: this one is left out, that one belongs elsewhere.

AssignedTap                                  one tap as it is shown before anything is screened
numbers_kept(found, skip)                    numbers of the taps that stay
mended(names, files, stations, assign)       stations with the person's word put in, and sentences that say so
by_tap(assign, stands)                       the same, places that it names told tap by tap
tap_names(numbers)                           'T7, T10 to T27'
read_assign(text), read_skip(text)           'S4_2.wav=S5', 'T7=S5', 'S4=S5'; '7,10-27'
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from tapscan.errors import BadRequest, WrongUsage
from tapscan.records import Force

SKIPPED = re.compile(r"T?([0-9]{1,5})(?:-T?([0-9]{1,5}))?")
MOST_TAPS = 99_999  # numbers beyond are a slip of the hand


@dataclass(frozen=True)
class AssignedTap:
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
    names: Sequence[str], files: Sequence[str], stations: Sequence[str], assign: Sequence[tuple[str, str]]
) -> tuple[list[str], list[str]]:
    """One name, file and station a tap. `assign`: tap, file or the station as it was split, and its station; the last word counts."""
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
