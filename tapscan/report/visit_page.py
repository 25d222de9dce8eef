"""The document of one visit: one page, and an appendix with photos, figures and reasons.

On a screen the page is whole. On paper it is one sheet: what is too long for it is cut, and that alone stands whole in the appendix as printed.

VisitSheet                 everything on it, in words; the workflow fills it
render_visit(sheet, appendix)   HTML as text: one file, no script, nothing fetched; prints to A4 and to Letter
short(text, most)          Cut: where a text ends on paper
"""

import re
from collections.abc import Sequence

from markupsafe import Markup
from msgspec import Struct
from msgspec.structs import replace

from tapscan import __version__
from tapscan.report.photos import Picture
from tapscan.report.rendering import render
from tapscan.report.shop import Shop
from tapscan.report.visit_words import words_in
from tapscan.screening.next_steps import QUALIFIED

WHO = {"Workshop": "Whoever looks after the piano", "Buyer": "The buyer or owner"}
LONGEST_FACT, LONGEST_STEP = 40, 270
ROOM = 1150  # characters of findings and unknowns that the page has room for, beside the steps
PLAIN_ROOM, MAP = 1620, 120  # the same of the whole page in letters of the usual size; what the map costs
PER_LINE = 62  # characters of a column in small letters
LINE = 20  # what the end of a line costs
LISTS = 440  # the same for what was looked at, tapped and played
ENDS = re.compile(
    r"(?<=[.!?]) (?=[A-Z])|(?<=;) | (?=\()"
)  # of a sentence, of a list's item, before what stands in brackets
SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z])")
FLAW_ENDS = re.compile(r"\)(?=; |\.(?: |$))")
MORE = "and {} more, in the appendix"
IN_APPENDIX, AND_MORE = " (more in the appendix)", " and more, in the appendix"
CUT_WORD = f" …{IN_APPENDIX}"
LEAST_SHARE = 3  # a cut that leaves less than a third of the room is made between words instead


class Cut(Struct, frozen=True):
    """A text on the page: `head` and `rest` on a screen, `head` and `mark` on paper."""

    head: str
    rest: str = ""
    mark: str = ""


class Found(Struct, frozen=True):
    """One finding in plain words; `weighs` where a qualified person must see it; of `text` so many first characters are a flaw, cut last of all."""

    title: str
    text: str
    weighs: bool
    never_cut: int = 0

    @property
    def flaws(self) -> int:
        """How many are told in it: each ends with who says so, in brackets."""
        return max(1, len(FLAW_ENDS.findall(self.text[: self.never_cut]))) if self.never_cut else 0


class Unknown(Struct, frozen=True):
    """What could not be known, and from what that follows."""

    code: str
    text: str
    more: str = ""  # why, in the appendix only

    @property
    def again(self) -> tuple[str, str]:
        """How the appendix names it before it says why, and what it leaves out of the text."""
        what, mark, rest = self.text.partition(":")
        return (what + mark, rest) if self.more else (self.text, "")


class LookRow(Struct, frozen=True):
    """One region of the round."""

    title: str
    answer: str
    told: str
    suspect: bool
    photos: tuple[Picture, ...] = ()


class TapPart(Struct, frozen=True, eq=False):
    """One scan of the day."""

    title: str
    name: str
    headline: str
    rows: tuple[tuple[str, str], ...]
    small_map: Markup | None
    legend: Sequence[tuple[Markup, str]]
    sections: Sequence[tuple[str, str, Markup]]  # id, title, HTML


class VisitSheet(Struct, frozen=True, eq=False):
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
    nothing: str = "No finding came of this."  # in the place of findings
    stop: bool = False  # the piano is to be left as it is: that stands first


def render_visit(sheet: VisitSheet, *, appendix: bool = True) -> str:
    """The document as text; without the appendix it is the one page."""
    limits = _limits(sheet)
    found = _found(sheet, limits)
    unknown = [(u, short(u.text, limits.longest), n >= limits.unknown) for n, u in enumerate(sheet.unknown)]
    rows = [*sheet.looked, *sheet.tested]
    longest = LISTS // max(1, len(rows)) if sum(len(text) for _, text in rows) > LISTS else LISTS
    looked = [(name, short(text, longest)) for name, text in rows]
    steps = [(line, _in_short(line)) for line in sheet.steps]
    drawn = next((s for s in sheet.scans if s.small_map), None)
    return render(
        "visit.html",
        {
            "v": sheet,
            "version": __version__,
            "appendix": appendix,
            "found": found,
            "more_found": sum(f.flaws or 1 for f, _, left in found if left),
            "cut_found": [f for f, cut, left in found if left or cut.rest],
            "looked": looked,
            "cut_tested": [(name, text) for name, text in sheet.tested if short(text, longest).rest],
            "unknown": unknown,
            "more_unknown": sum(left for *_, left in unknown),
            "reasons": [(u, bool(left or cut.rest)) for u, cut, left in unknown if left or cut.rest or u.more],
            "groups": _groups(steps, sheet.stop),
            "cut_steps": _groups([(line, Cut(line)) for line, cut in steps if cut.rest], sheet.stop),
            "map": drawn,
            "head": [(name, replace(short(text, LONGEST_FACT), mark=" …")) for name, text in sheet.head],
            "words": words_in(_all_words(sheet)),
            "qualified": QUALIFIED,
            "dense": _dense(sheet, limits, [c for _, c in steps], [c for _, c in looked], drawn is not None),
        },
    )


def _all_words(sheet: VisitSheet) -> str:
    """Of what may need to be explained; free text of the user is not looked through."""
    return " ".join([*sheet.cautions, *sheet.steps, *(r.title for r in sheet.rows)])


class Limits(Struct, frozen=True):
    """How much of the findings and of what is not known stands on the page."""

    found: int
    unknown: int
    longest: int  # characters


LIMITS = (Limits(6, 9, 240), Limits(5, 8, 150), Limits(4, 7, 110), Limits(3, 5, 70), Limits(3, 3, 70), Limits(1, 2, 70))


def _limits(sheet: VisitSheet) -> Limits:
    """The widest that one sheet of paper has room for."""
    return next((x for x in LIMITS if _room(sheet, x) <= ROOM), LIMITS[-1])


def _room(sheet: VisitSheet, x: Limits) -> int:
    """With the marks of what is cut, and the lines that count what is left out."""
    shown = [f for n, f in enumerate(sheet.found) if n < x.found or f.never_cut]
    unknown = sum(_length(u.text, x.longest) for u in sheet.unknown[: x.unknown])
    left = (len(shown) < len(sheet.found)) + (len(sheet.unknown) > x.unknown)
    return sum(_cost(f, x) for f in shown) + unknown + left * PER_LINE


def _cost(f: Found, x: Limits) -> int:
    return _length(f.text, _most(f, x), len(f.title) + 2)


def _most(f: Found, x: Limits) -> int:
    """Characters of its text: as the limits say, but a flaw is whole."""
    return max(x.longest, f.never_cut)


def _length(text: str, most: int, before: int = 0) -> int:
    """In whole lines."""
    return _whole_lines(before + (len(text) if len(text) <= most else most + len(CUT_WORD)))


def _whole_lines(characters: int) -> int:
    return -(-characters // PER_LINE) * PER_LINE


def _found(sheet: VisitSheet, x: Limits) -> list[tuple[Found, Cut, bool]]:
    """Each with its text on the page, and whether paper has no room for it. What is no flaw has the place that the limits give it; flaws share the room left, the first one first."""
    room = _room_for_flaws(sheet, x)
    shown = []
    for n, f in enumerate(sheet.found):
        if not f.never_cut:
            shown.append((f, short(f.text, x.longest), n >= x.found))
            continue
        shown.append((f, _flaw_on_page(f, room, x), n > 0 and _no_room_for(f, room, x)))
        room = _room_after(f, room, x)
    return shown


def _room_for_flaws(sheet: VisitSheet, x: Limits) -> int:
    """What all else leaves, and the line that counts the findings left out, where not all have room."""
    everything = _room(sheet, x)
    flaws = sum(_cost(f, x) for f in sheet.found if f.never_cut)
    counting = PER_LINE if everything > ROOM else 0
    return ROOM - (everything - flaws) - counting


def _flaw_on_page(f: Found, room: int, x: Limits) -> Cut:
    """Whole where it fits; else as many of its flaws as there is room for, beside title and mark."""
    if _fits(f, room, x):
        return short(f.text, _most(f, x))
    left = room - len(f.title) - len(CUT_WORD) - PER_LINE
    return _flaws_cut(f, max(x.longest, left))


def _no_room_for(f: Found, room: int, x: Limits) -> bool:
    """Not for the whole, and not for two lines of it."""
    return min(_cost(f, x), 2 * PER_LINE) > room


def _room_after(f: Found, room: int, x: Limits) -> int:
    """One that does not fit takes all there is."""
    return room - _cost(f, x) if _fits(f, room, x) else min(room, 0)


def _fits(f: Found, room: int, x: Limits) -> bool:
    return _cost(f, x) <= room


def _flaws_cut(f: Found, most: int) -> Cut:
    """After a whole flaw, with the number of those that follow; one that is longer than the room itself is cut like any text."""
    ends = [m.end() + 1 for m in FLAW_ENDS.finditer(f.text, 0, f.never_cut) if m.end() < most]
    if not ends or len(ends) == f.flaws:
        return short(f.text, most)
    return Cut(f.text[: ends[-1]], f.text[ends[-1] :], f" {MORE.format(f.flaws - len(ends))}")


def _dense(sheet: VisitSheet, x: Limits, steps: Sequence[Cut], looked: Sequence[Cut], drawn: bool) -> bool:
    """Whether smaller letters are needed: two columns beside each other, and what stands below them over the whole width."""
    columns = max(min(ROOM, _room(sheet, x)), sum(len(c.head) + LINE for c in steps))
    below = len(QUALIFIED) + sum(len(q) + LINE for q in sheet.questions) + sum(len(c.head) + 2 * LINE for c in looked)
    return columns + below / 2 + MAP * drawn > PLAIN_ROOM


def short(text: str, most: int) -> Cut:
    """At the end of a sentence or of a list's item; where there is none, between words."""
    if len(text) <= most:
        return Cut(text)
    ends = [m.start() for m in ENDS.finditer(text, most // LEAST_SHARE, most + 1)]
    if whole := [at for at in ends if text.count("(", 0, at) == text.count(")", 0, at)]:
        at = whole[-1]
        return Cut(text[:at], text[at:], AND_MORE if text[at - 1] == ";" else IN_APPENDIX)
    at = text.rfind(" ", 0, most + 1)
    at = at if at > 0 else most
    return Cut(text[:at], text[at:], CUT_WORD)


def _groups(lines: Sequence[tuple[str, Cut]], stop: bool) -> list[tuple[str, list[Cut]]]:
    """The buyer's first: the page is for the buyer. But to stop comes before all. A line that names nobody is the workshop's."""
    groups: dict[str, list[Cut]] = {who: [] for who in (("Workshop", "Buyer") if stop else ("Buyer", "Workshop"))}
    for line, cut in lines:
        who, mark, _ = line.partition(": ")
        known = bool(mark) and who in groups
        groups[who if known else "Workshop"].append(replace(cut, head=cut.head.partition(": ")[2]) if known else cut)
    return [(WHO[who], cuts) for who, cuts in groups.items() if cuts]


def _in_short(line: str) -> Cut:
    """How an examination is made stands in the appendix; what is to be done stays."""
    end = SENTENCE.search(line)
    if len(line) <= LONGEST_STEP or not end:
        return Cut(line)
    return Cut(line[: end.start()], line[end.start() :], IN_APPENDIX)


def own_ids(html: Markup, number: int) -> Markup:
    """Of one of several scans on a page: ids are there once."""
    if not number:
        return html
    return Markup(re.sub(r'(<(?:section|article)\b[^>]*? id="[^"]+)"', rf'\1-{number + 1}"', str(html)))
