"""The reference bar: what was heard of it with this scan, and whether the chain is as it was."""

from typing import Any

from tapscan import wording
from tapscan.estimate import Estimate
from tapscan.records import BarReading, ChainChange
from tapscan.report.section import Section, Sheet


def _build(sheet: Sheet) -> dict[str, Any] | None:
    scan, compared = sheet.screening.scan, sheet.screening.comparison
    if scan.bar is None:
        return None
    turns = (("before the plate", scan.bar.first), ("after the plate", scan.bar.last))
    changes = [scan.bar.drift] if scan.bar.drift else []
    changes += compared.chain if compared else ()
    return {
        "name": scan.bar.name,
        "readings": [_reading(when, reading) for when, reading in turns if reading],
        "changes": [_change(c) for c in changes],
        "missing": [r for r in (scan.bar.drift_reason, compared.chain_reason if compared else None) if r],
    }


def _reading(when: str, r: BarReading) -> dict[str, str]:
    return {
        "when": when,
        "taps": f"{r.used} of {r.taps} used",
        "tones": f"{len(r.modes)}" if r.modes else wording.unknown(r.reason or ""),
        "lowest": wording.with_sd(r.modes[0].frequency) if r.modes else wording.UNKNOWN,
        "level": wording.with_sd(Estimate(r.level_db, r.level_sd_db), 1),
        "noise": wording.number(r.noise_db, 3),
    }


def _change(c: ChainChange) -> dict[str, Any]:
    return {
        "beside": f"{c.after} beside {c.before}",
        "tones": c.modes,
        "shift": _pair(Estimate(c.shift_ppm, c.shift_sd_ppm)),
        "level": _pair(Estimate(c.level_db, c.level_sd_db)),
        "noise": _signed(c.noise_db),
        "sentences": c.sentences,
        "reason": c.reason,
    }


def _pair(value: Estimate) -> str:
    if value.value is None or value.sd is None:
        return wording.UNKNOWN
    return f"{_signed(value.value)} ± {2 * value.sd:.0f}"


def _signed(value: float | None) -> str:
    if value is None:
        return wording.UNKNOWN
    return wording.minus(f"{round(value):+d}") if round(value) else "0"


SECTION = Section("bar", "The reference bar", "bar.html", _build)
