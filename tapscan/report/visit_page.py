"""The document of one visit: one page, and an appendix with photos, figures and reasons.

VisitSheet                 everything on it, in words; the workflow fills it
render_visit(sheet, appendix)   HTML as text: one file, no script, nothing fetched; prints to A4 and to Letter
short(text, most)          free text of a user cut for the page; the whole stands in the appendix
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from tapscan import __version__
from tapscan.report.photos import Picture
from tapscan.report.rendering import render
from tapscan.report.shop import Shop

WHO = {"Workshop": "Whoever looks after the piano", "Buyer": "The buyer or owner"}
LONGEST_FACT, LONGEST_STEP = 40, 270
IN_APPENDIX = " (appendix)"
ROOM = 1150  # characters of findings and unknowns that the page has room for, beside the steps
LINE = 20  # what the end of a line costs
LISTS = 440  # the same for what was looked at, tapped and played
SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z])")


@dataclass(frozen=True)
class Found:
    """One finding in plain words; `weighs` where a qualified person must see it."""

    title: str
    text: str
    weighs: bool


@dataclass(frozen=True)
class Unknown:
    """What could not be known, and from what that follows."""

    code: str
    text: str
    more: str = ""  # in the appendix only


@dataclass(frozen=True)
class LookRow:
    """One region of the round."""

    title: str
    answer: str
    told: str
    suspect: bool
    photos: tuple[Picture, ...] = ()


@dataclass(frozen=True, eq=False)
class TapPart:
    """One scan of the day."""

    name: str
    headline: str
    rows: tuple[tuple[str, str], ...]
    small_map: Markup | None
    legend: Sequence[tuple[Markup, str]]
    sections: Sequence[tuple[str, str, Markup]]  # id, title, HTML


@dataclass(frozen=True, eq=False)
class VisitSheet:
    """One visit, in words."""

    name: str  # PLATE/DATE
    head: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]  # in the appendix
    cautions: tuple[str, ...]
    headline: str
    lead: str
    known: str  # how much the findings, or their absence, rest on
    found: tuple[Found, ...]
    looked: tuple[tuple[str, str], ...]  # answer, regions
    tested: tuple[tuple[str, str], ...]  # taps, keys
    unknown: tuple[Unknown, ...]
    steps: tuple[str, ...]
    questions: tuple[str, ...]
    rows: tuple[LookRow, ...]
    scans: tuple[TapPart, ...]
    shop: Shop | None = None
    stop: bool = False  # the piano is to be left as it is: that stands first


def render_visit(sheet: VisitSheet, *, appendix: bool = True) -> str:
    """The document as text; without the appendix it is the one page."""
    limits = _limits(sheet)
    found, unknown = sheet.found[: limits.found], sheet.unknown[: limits.unknown]
    rows = [*sheet.looked, *sheet.tested]
    longest = LISTS // max(1, len(rows)) if sum(len(text) for _, text in rows) > LISTS else LISTS
    return render(
        "visit.html",
        {
            "v": sheet,
            "version": __version__,
            "appendix": appendix,
            "found": [(f, short(f.text, limits.longest)) for f in found],
            "more_found": len(sheet.found) - len(found),
            "looked": [(name, short(text, longest)) for name, text in rows],
            "unknown": [short(u.text, limits.longest) for u in unknown],
            "more_unknown": len(sheet.unknown) - len(unknown),
            "groups": _groups([_in_short(line) for line in sheet.steps], sheet.stop),
            "all_steps": _groups(sheet.steps, sheet.stop),
            "map": next((s for s in sheet.scans if s.small_map), None),
            "head": [(name, short(text, LONGEST_FACT).replace(IN_APPENDIX, "")) for name, text in sheet.head],
            "dense": limits in LIMITS[2:],
        },
    )


@dataclass(frozen=True)
class Limits:
    """How much of the findings and of what is not known stands on the page."""

    found: int
    unknown: int
    longest: int  # characters


LIMITS = (Limits(6, 9, 240), Limits(5, 8, 150), Limits(4, 7, 110), Limits(3, 5, 70))


def _limits(sheet: VisitSheet) -> Limits:
    """The widest that one sheet of paper has room for."""
    return next((x for x in LIMITS if _room(sheet, x) <= ROOM), LIMITS[-1])


def _room(sheet: VisitSheet, x: Limits) -> int:
    found = [len(f.title) + min(len(f.text), x.longest) + LINE for f in sheet.found[: x.found]]
    return sum(found) + sum(min(len(u.text), x.longest) + LINE for u in sheet.unknown[: x.unknown])


def short(text: str, most: int) -> str:
    """Cut between words."""
    if len(text) <= most:
        return text
    return f"{text[:most].rpartition(' ')[0] or text[:most]} …{IN_APPENDIX}"


def _groups(lines: Sequence[str], stop: bool) -> list[tuple[str, list[str]]]:
    """The buyer's first: the page is for the buyer. But to stop comes before all. A line that names nobody is the workshop's."""
    groups: dict[str, list[str]] = {who: [] for who in (("Workshop", "Buyer") if stop else ("Buyer", "Workshop"))}
    for line in lines:
        who, mark, text = line.partition(": ")
        known = mark and who in groups
        groups[who if known else "Workshop"].append(text if known else line)
    return [(WHO[who], texts) for who, texts in groups.items() if texts]


def _in_short(line: str) -> str:
    """How an examination is made stands in the appendix; what is to be done stays."""
    if len(line) <= LONGEST_STEP:
        return line
    first, *rest = SENTENCE.split(line)
    return f"{first} (More in the appendix.)" if rest else line
