"""What was tested, and how well: taps of each station, what weakens the test, rules that were not run."""

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any

from tapscan import wording
from tapscan.faults import in_words
from tapscan.records import Strike
from tapscan.report.rule_words import not_run_by_reason
from tapscan.report.section import Section, Sheet

NO_FAULT = "none"


def _build(sheet: Sheet) -> dict[str, Any]:
    scan = sheet.screening.scan
    every = _stations(scan.strikes, dict(scan.places))
    return {
        "tapped": bool(every),
        "played": scan.played is not None,
        "stations": every if sheet.beside.full else [row for row in every if row["faults"] != NO_FAULT],
        "not_run": not_run_by_reason(sheet.screening.rules_not_run),
    }


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
                "over_noise": f"{wording.decibels(median(clear))} dB" if clear else wording.unknown("; ".join(reasons)),
            }
        )
    return rows


def _fault_counts(strikes: Sequence[Strike], seen: Sequence[str]) -> str:
    told = [f"{sum(f in s.faults for s in strikes)} of them {in_words([f])}" for f in seen]
    return "; ".join(told) or NO_FAULT


SECTION = Section("tested", "What was tested", "tested.html", _build)
