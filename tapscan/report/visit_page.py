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
MOST_FOUND, MOST_UNKNOWN = 5, 8
LONGEST_NOTE, LONGEST_LIST, LONGEST_STEP = 110, 330, 270
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
    unknown = sheet.unknown
    return render(
        "visit.html",
        {
            "v": sheet,
            "version": __version__,
            "appendix": appendix,
            "found": [(f, short(f.text, 2 * LONGEST_NOTE)) for f in sheet.found[:MOST_FOUND]],
            "more_found": max(0, len(sheet.found) - MOST_FOUND),
            "looked": [(answer, short(regions, LONGEST_LIST)) for answer, regions in sheet.looked],
            "unknown": [short(u.text, 2 * LONGEST_NOTE) for u in unknown[:MOST_UNKNOWN]],
            "more_unknown": max(0, len(unknown) - MOST_UNKNOWN),
            "groups": _groups([_in_short(line) for line in sheet.steps], sheet.stop),
            "all_steps": _groups(sheet.steps, sheet.stop),
            "map": next((s for s in sheet.scans if s.small_map), None),
            "short": short,
        },
    )


def short(text: str, most: int) -> str:
    """Cut between words."""
    if len(text) <= most:
        return text
    return f"{text[:most].rpartition(' ')[0] or text[:most]} … (whole in the appendix)"


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
