"""The first screen and the page for a buyer: from what the sections hold, and a few facts of the scan.

first_screen(sheet, sections, shown)   the names that first.html and summary.html ask for
head(sheet)                     rows of the page's head: piano, day, workshop, contact, for whom
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from tapscan import wording
from tapscan.records import Comparison, RuleNotRun, Screening
from tapscan.report import words
from tapscan.report.error_rates import how_sure
from tapscan.report.rule_words import rule_title
from tapscan.report.section import Built, Sheet
from tapscan.report.sections.comparison import counted_tones
from tapscan.report.shop import Shop
from tapscan.screening.disposition import MAY_BE, SEEN_BY_EYE
from tapscan.screening.next_steps import QUALIFIED
from tapscan.screening.rules import change_since_baseline

FEW_NAMED = 3
MOST_WEAK = 2  # limitations on the first screen
NOT_GIVEN = "not given"
DONE_BY = {"Workshop": "For the workshop", "Buyer": "For the buyer or owner"}
NOBODY = "no examination is noted yet"
ALONE = "nothing: this is one scan on its own, so a change cannot be seen"
NOT_COMPARED = "nothing: scans of played notes are not compared, so a change cannot be seen"
EYE_FIRST = "the taps point at no place; what the eye saw counts for more: look there first"
HELD_BACK = (
    "nothing yet: the comparison is held back until somebody has made sure which plate was tapped, and in which order"
)
ELSEWHERE = "The cause may lie elsewhere."
TESTED, IN_FULL = 'further down, under "What was tested"', "in the full report"
SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z])")


def first_screen(sheet: Sheet, sections: Sequence[Built], shown: Sequence[Built]) -> dict[str, Any]:
    """`sections` : what is built; `shown` : those of them that the page holds below."""
    names = {b.section.id: b.names for b in sections}
    findings = names.get("indications", {}).get("findings", [])
    return {
        "facts": _facts(sheet.screening),
        "short": _short(sheet, findings, TESTED if any(b.section.id == "tested" for b in shown) else IN_FULL),
        "later": [(sheet.beside.shop or Shop()).dated(told) for told in sheet.about.later] if sheet.about else [],
        "figures": _figures(sheet),
        "steps": steps(sheet.screening.next_steps),
        "qualified": QUALIFIED
        if "qualified person" in " ".join([sheet.screening.lead, *sheet.screening.next_steps])
        else "",
        "jumps": _jumps(findings),
        "unsaid": [f for f in findings if f["sentence"] not in sheet.screening.summary],
        "plate": names.get("map", {}).get("plate"),
        "compared": sheet.screening.comparison is not None,
        "contents": [(b.section.id, b.section.title) for b in shown],
    }


def head(sheet: Sheet) -> list[tuple[str, str, str]]:
    """Name, value, what is said beside it; the same on every page, also where something was not given."""
    about, shop = sheet.about, sheet.beside.shop or Shop()
    given = sheet.beside.head
    piano, beside = (about.plate, about.which) if about else (given.piano, "")
    day, by = (about.tapped, about.by) if about else (given.day, "")
    rows = [
        ("Piano", piano, beside),
        ("Played on" if sheet.screening.scan.played else "Tapped on", day, f"by {by}" if by else ""),
    ]
    rows += [("Workshop", shop.name, ""), ("Contact", shop.contact, "")]
    rows += [("For", sheet.beside.whom, "")] if sheet.beside.whom else []
    return [(name, value or NOT_GIVEN, more) for name, value, more in rows]


def steps(lines: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Those of the workshop, those of the buyer, each in their order; a line that names neither stands first."""
    groups: dict[str, list[str]] = {}
    for line in lines:
        who, mark, text = line.partition(": ")
        title = DONE_BY.get(who) if mark else None
        groups.setdefault(title or "", []).append(text if title else line)
    return sorted(groups.items(), key=lambda g: ["", *DONE_BY.values()].index(g[0]))


def _short(sheet: Sheet, findings: Sequence[Mapping[str, Any]], rest: str) -> list[tuple[str, list[str]]]:
    """What a buyer asks, and the answer; `rest` : where all limitations stand."""
    s = sheet.screening
    weighs = next((f for f in findings if f["relevant"]), None)
    if weighs:
        where = [_first_look(s.comparison, weighs), *([ELSEWHERE] if weighs["has_places"] else [])]
        rows = [("Where to look first", where)]
        rows += [("Other causes to rule out", [wording.listed_or(weighs["others"])])] if weighs["others"] else []
    else:
        rows = [("Where", [_nowhere(s, findings)])]
    rows.append(("How sure", [how_sure(s)]))
    rows.append(("Compared with", [_compared(s, sheet.beside.shop or Shop())]))
    rows.append(("What limits this answer", _weak(s.limitations, rest)))
    if not sheet.about:
        return rows
    people = ("Seen and found by people", _seen(sheet) + ([] if _examined(sheet) else [NOBODY]))
    return [people, *rows] if _seen(sheet) else [*rows, people]


def _first_look(c: Comparison | None, weighs: Mapping[str, Any]) -> str:
    """The likeliest part, where a change was placed, with the places that the map marks; else the places as they stand."""
    told: str = weighs["where"]
    if (
        c is None
        or not c.places
        or not weighs["has_places"]
        or weighs["title"] != rule_title(change_since_baseline.NAME)
    ):
        return told
    first = c.places[0]
    part = f"{first.member}, {first.where}" if first.where else first.member
    return f"most likely {part}; tapped near it, and marked on the map: {told}"


def _nowhere(screening: Screening, findings: Sequence[Mapping[str, Any]]) -> str:
    """No place is suspected; a buzz is clearest somewhere all the same."""
    if screening.scan.played is not None:
        return "no place is pointed at; keys were played, nothing was tapped"
    named = next((f for f in findings if f["has_places"]), None)
    tapped = wording.counted(len({s.station for s in screening.scan.strikes}), "place")
    if SEEN_BY_EYE in screening.summary:
        return f"{EYE_FIRST}; {tapped} tapped"
    if named:
        return f"{named['title']} is clearest at {named['where']}. That need not be where it comes from."
    return f"no place is pointed at; {tapped} tapped"


def _compared(s: Screening, shop: Shop) -> str:
    if s.scan.played:
        return NOT_COMPARED
    if s.doubts:
        return HELD_BACK
    c = s.comparison
    if c is None:
        return ALONE
    days = [shop.dated(name.rpartition("/")[2][:10]) for name in c.baselines]
    told = f"the plate's own {'scan' if len(days) == 1 else 'scans'} of {wording.listed(wording.each_day_once(days))}"
    return f"{told}, but without a result" if c.rules_not_run else told


def _weak(limitations: Sequence[str], rest: str) -> list[str]:
    """The first sentence of the weightiest, and how many more there are."""
    told = [SENTENCE.split(text)[0] for text in limitations[:MOST_WEAK]]
    more = len(limitations) - len(told)
    left = f"{wording.counted(more, 'more limit')} {'is' if more == 1 else 'are'} told {rest}."
    return [*told, *([left] if more else [])] or ["nothing was noted"]


def _figures(sheet: Sheet) -> str:
    """The summary without what stands above it already."""
    told = sheet.screening.summary
    for said in (how_sure(sheet.screening), *_seen(sheet)):
        told = told.replace(f"{said} {MAY_BE}", "").replace(said, "")
    return " ".join(told.split())


def _examined(sheet: Sheet) -> bool:
    told = ("An examination found", "Found later")
    return bool(sheet.about and (sheet.about.outcomes or any(t.startswith(told) for t in sheet.about.since)))


def _seen(sheet: Sheet) -> list[str]:
    """Sentences on what people saw, found and did, days as the shop writes them."""
    shop = sheet.beside.shop or Shop()
    return [shop.dated(text) for text in sheet.about.since] if sheet.about else []


def _jumps(findings: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """Lists of links for the first screen: what counts, where it is more than one, and what does not."""
    counts = [f for f in findings if f["relevant"]]
    beside = [f for f in findings if not f["relevant"]]
    rows = [(f"All {len(counts)} indications:", counts)] if len(counts) > 1 else []
    once = {f["title"]: f for f in reversed(beside)}
    return [*rows, *([("Heard, but no finding by itself:", list(reversed(once.values())))] if beside else [])]


def _facts(screening: Screening) -> dict[str, str]:
    scan = screening.scan
    if scan.played is not None:
        return {
            "Notes": f"{wording.counted(len(scan.played.notes), 'note')} played, {len({n.key for n in scan.played.notes if n.key})} keys told",
            "State of the plate": words.STATES.get(scan.state, scan.state) if scan.state else NOT_GIVEN,
            "Checks not made": _not_made(screening.rules_not_run),
        }
    stations = len({s.station for s in scan.strikes})
    usable = sum(s.usable for s in scan.strikes)
    taps = "none found"
    if scan.strikes:
        places = wording.counted(stations, "place")
        taps = f"{wording.counted(len(scan.strikes), 'tap')} at {places}, {usable} used"
    return {
        "Taps": taps,
        "Tones": counted_tones(screening),
        "State of the plate": words.STATES.get(scan.state, scan.state) if scan.state else NOT_GIVEN,
        "Checks not made": _not_made(screening.rules_not_run),
    }


def _not_made(not_run: Sequence[RuleNotRun]) -> str:
    if not not_run:
        return "none"
    if len(not_run) > FEW_NAMED:
        return f"{len(not_run)} (which, and why: under What was tested)"
    return f"{'; '.join(rule_title(r.rule) for r in not_run)} (why: under What was tested)"
