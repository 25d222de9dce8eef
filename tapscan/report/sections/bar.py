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
        "level": _whole(r.level_db),
        "noise": _whole(r.noise_db),
    }


def _whole(value: float | None) -> str:
    return wording.UNKNOWN if value is None else wording.minus(f"{value:.0f}")


def _change(c: ChainChange) -> dict[str, Any]:
    shift = wording.UNKNOWN
    if c.shift_ppm is not None:
        shift = wording.minus(f"{c.shift_ppm:+.0f} ± {2 * (c.shift_sd_ppm or 0.0):.0f}")
    return {
        "beside": f"{c.after} beside {c.before}",
        "tones": c.modes,
        "shift": shift,
        "level": _pair(Estimate(c.level_db, c.level_sd_db)),
        "noise": wording.UNKNOWN if c.noise_db is None else wording.minus(f"{c.noise_db:+.0f}"),
        "sentences": c.sentences,
        "reason": c.reason,
    }


def _pair(value: Estimate) -> str:
    if value.value is None or value.sd is None:
        return wording.UNKNOWN
    return wording.minus(f"{value.value:+.0f} ± {2 * value.sd:.0f}")


SECTION = Section("bar", "The reference bar", "bar.html", _build)
