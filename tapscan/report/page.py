"""The one page a person reads: what was found and what to do first, evidence and figures after.

render_page(screening, about, beside)   HTML as text: one file, no script, nothing fetched from anywhere
write_page(screening, path, ...)        the same into a file, whole or not at all (OSError)

`beside` (report/beside.py) holds what was made from recordings and earlier scans. This module and its neighbours turn records
into rows of words; the templates set them; figures/ draws. All text from outside (names of files and stations, sentences) passes
through the template's escaping.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import Any

from tapscan import __version__
from tapscan.faults import in_words
from tapscan.records import RuleNotRun, Screening, Strike
from tapscan.report import appendix, words
from tapscan.report.about import About
from tapscan.report.beside import NOTHING, Beside
from tapscan.report.comparison_section import comparison_section, counted_tones
from tapscan.report.error_rates_section import error_rates_section
from tapscan.report.files import write_text
from tapscan.report.finding_rows import finding
from tapscan.report.map_section import map_section
from tapscan.report.players import players
from tapscan.report.rendering import render
from tapscan.report.rule_words import rule_title
from tapscan.report.shop import Shop
from tapscan.report.station_pictures import station_pictures, undrawn
from tapscan.report.tones_section import tones_section
from tapscan.report.trend_section import trend_section

FEW_NAMED = 3


def write_page(screening: Screening, path: Path, about: About | None = None, beside: Beside = NOTHING) -> None:
    """Write the page to `path`; an older one stands until the new one is complete."""
    write_text(Path(path), render_page(screening, about, beside))


def render_page(screening: Screening, about: About | None = None, beside: Beside = NOTHING) -> str:
    """The page as text; `about`: what the shop wrote down, where the scan comes from a register."""
    screening = _dated(screening, beside.shop or Shop())
    first = {**_first(screening), "about": about, "shop": beside.shop, "whom": beside.whom}
    if beside.summary:
        return render("summary.html", first)
    return render("page.html", {**first, **_further(screening, beside), **_appendix(screening)})


def _dated(screening: Screening, shop: Shop) -> Screening:
    """The same with the days in its sentences as the shop writes them."""
    compared = screening.comparison
    return replace(
        screening,
        summary=shop.dated(screening.summary),
        comparison=replace(compared, summary=shop.dated(compared.summary)) if compared else None,
        indications=tuple(replace(i, sentence=shop.dated(i.sentence)) for i in screening.indications),
    )


def _first(screening: Screening) -> dict[str, Any]:
    """What the first screen and the page for a buyer name."""
    findings = [finding(i, n, screening) for n, i in enumerate(screening.indications, 1)]
    return {
        "s": screening,
        "version": __version__,
        "facts": _facts(screening),
        "findings": findings,
        "jumps": _jumps(findings),
        "unsaid": [f for f in findings if f["sentence"] not in screening.summary],
        "plate": map_section(screening),
        "compared": screening.comparison is not None,
    }


def _jumps(findings: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """Lists of links for the first screen: what counts, where it is more than one, and what does not."""
    counts = [f for f in findings if f["relevant"]]
    beside = [f for f in findings if not f["relevant"]]
    rows = [(f"All {len(counts)} indications:", counts)] if len(counts) > 1 else []
    once = {f["title"]: f for f in reversed(beside)}
    return [*rows, *([("Also heard, and no sign of a flaw:", list(reversed(once.values())))] if beside else [])]


def _further(screening: Screening, beside: Beside) -> dict[str, Any]:
    scan = screening.scan
    return {
        "comparison": comparison_section(screening),
        "trend": trend_section(beside.course, beside.shop),
        "tones": tones_section(screening, beside.decays),
        "sounds": players(beside.sounds),
        "stations": _stations(scan.strikes, dict(scan.places)),
        "not_run": [(rule_title(r.rule), r.reason) for r in screening.rules_not_run],
        "reach": error_rates_section(screening),
        "pictures": station_pictures(screening),
        "undrawn": undrawn(screening),
        "simulated": _rests_on_simulation(screening),
    }


def _appendix(screening: Screening) -> dict[str, Any]:
    scan, most = screening.scan, appendix.MOST_ROWS
    shown, left_out = appendix.listed_modes(screening)
    notes = words.Notes()
    return {
        "modes": [appendix.mode_row(m, notes) for m in shown],
        "mode_notes": notes.rows,
        "modes_left_out": left_out,
        "strikes": [appendix.strike_row(s) for s in scan.strikes[:most]],
        "strikes_left_out": max(0, len(scan.strikes) - most),
        "recordings": [appendix.recording_row(r) for r in scan.recordings[:most]],
        "recordings_left_out": max(0, len(scan.recordings) - most),
    }


def _facts(screening: Screening) -> dict[str, str]:
    scan = screening.scan
    stations = len({s.station for s in scan.strikes})
    usable = sum(s.usable for s in scan.strikes)
    taps = "none found"
    if scan.strikes:
        places = words.counted(stations, "station")
        taps = f"{words.counted(len(scan.strikes), 'tap')} at {places}, {usable} used"
    return {
        "Taps": taps,
        "Tones (modes)": counted_tones(screening),
        "State of the plate": words.STATES.get(scan.state, scan.state) if scan.state else "not given",
        "Layout of stations": scan.layout or "not given",
        "Checks not made": _not_made(screening.rules_not_run),
    }


def _not_made(not_run: Sequence[RuleNotRun]) -> str:
    if not not_run:
        return "none"
    names = "; ".join(rule_title(r.rule) for r in not_run) if len(not_run) <= FEW_NAMED else str(len(not_run))
    return f"{names} (why: see further down)"


def _stations(strikes: Sequence[Strike], where: Mapping[str, str]) -> list[dict[str, str]]:
    rows = []
    for name in dict.fromkeys(s.station for s in strikes):
        mine = [s for s in strikes if s.station == name]
        clear = [s.snr_db for s in mine if s.snr_db is not None]
        seen = dict.fromkeys(f for s in mine for f in s.faults)
        reasons = dict.fromkeys(s.reason for s in mine if s.reason)
        rows.append(
            {
                "name": name,
                "where": where.get(name, ""),
                "taps": f"{len(mine)} ({sum(s.usable for s in mine)} used)",
                "faults": _fault_counts(mine, list(seen)),
                "over_noise": f"{words.decibels(median(clear))} dB" if clear else words.unknown("; ".join(reasons)),
            }
        )
    return rows


def _fault_counts(strikes: Sequence[Strike], seen: Sequence[str]) -> str:
    told = [f"{sum(f in s.faults for s in strikes)} of them {in_words([f])}" for f in seen]
    return "; ".join(told) or "none"


def _rests_on_simulation(screening: Screening) -> bool:
    sources = [c.source for i in screening.indications for c in i.conditions]
    return any("simulat" in source for source in sources)
