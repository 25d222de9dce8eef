"""What tapscan says as JSON, schema 1.

to_json(screening)                  a dict of plain values; unknown is None with `<key>_reason` or `reason` beside it
dumps(screening)                    the same as text, strict JSON without NaN
comparison_json(comparison)         a scan beside earlier ones: the key `comparison` of a screening, and what `compare --json` gives
dumps_comparison(comparison, open)  the latter as text, with the findings of earlier scans that are still open
"""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from typing import Any

from tapscan import __version__
from tapscan.places import Station
from tapscan.plain_values import SCHEMA, plain
from tapscan.records import Comparison, Indication, Mode, Recording, Scan, Screening, Strike
from tapscan.screening.open_findings import OpenFinding
from tapscan.screening.rules import change_since_baseline, unlike_its_pattern


def to_json(screening: Screening) -> dict[str, Any]:
    """Every key of schema 1."""
    scan = screening.scan
    return {
        **_head(),
        "settings_sha256": screening.settings_sha256,
        **_conclusion(screening),
        "state": scan.state,
        "state_reason": None if scan.state else "not given",
        "layout": scan.layout,
        "layout_reason": None if scan.layout else "not given",
        "stations": [_station(s) for s in scan.map.stations] if scan.map else [],
        "assignment": list(screening.assignment),
        "recordings": [_recording(r) for r in scan.recordings],
        "strikes": [_strike(s) for s in scan.strikes],
        "modes": [_mode(m) for m in scan.modes],
        "parts_held": scan.parts_held,
        **_observed(scan),
        "indications": [_indication(i) for i in screening.indications],
        "doubts": [plain(d) for d in screening.doubts],
        "made_sure": screening.made_sure,
        "rules_not_run": [{"rule": r.rule, "reason": r.reason} for r in screening.rules_not_run],
        "limitations": [{"sentence": sentence} for sentence in screening.limitations],
        **_compared(screening),
        **_pattern(screening),
    }


def _observed(scan: Scan) -> dict[str, Any]:
    """What was heard beside the modes."""
    return {
        "force_step_db": scan.force_step_db,
        "force_step_db_reason": None if scan.force_step_db is not None else scan.force_shifts_reason,
        "force_shifts": [plain(s) for s in scan.force_shifts],
        "force_shifts_reason": scan.force_shifts_reason,
        "steady_tones": [plain(s) for s in scan.steady_tones],
        "steady_tones_reason": scan.steady_tones_reason,
        "late_sounds": [plain(s) for s in scan.late_sounds],
        "late_sounds_reason": scan.late_sounds_reason,
        "room": plain(scan.room) if scan.room else None,
        "room_reason": scan.room_reason,
        "room_left_in": scan.room_left_in,
        "room_limit": plain(scan.room_limit) if scan.room_limit else None,
        "room_limit_reason": scan.room_limit_reason,
        "self_scatter": plain(scan.self_scatter) if scan.self_scatter else None,
        "self_scatter_reason": scan.self_scatter_reason,
        "bar": plain(scan.bar) if scan.bar else None,
        "bar_reason": scan.bar_reason,
        "played": plain(scan.played) if scan.played else None,
        "played_reason": None if scan.played else "taps were recorded, no keys played",
    }


def _conclusion(screening: Screening) -> dict[str, Any]:
    names = ("disposition", "headline", "lead", "summary")
    return {**{name: getattr(screening, name) for name in names}, "next_steps": list(screening.next_steps)}


def dumps(screening: Screening, registered: Mapping[str, Any] | None = None) -> str:
    """Indented text, ending in a newline; `registered`: what the register knows of the scan, under the key `register`."""
    return _text({**to_json(screening), "register": plain(registered)} if registered else to_json(screening))


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Every field of the comparison; its indications as those of a screening."""
    return {
        **plain(comparison),
        "indications": [_indication(i) for i in comparison.indications],
        "carried": [_indication(i) for i in comparison.carried],
    }


def dumps_comparison(comparison: Comparison, still_open: Sequence[OpenFinding]) -> str:
    """Indented text, ending in a newline."""
    return _text({**_head(), **comparison_json(comparison), "open_findings": plain(still_open)})


def _head() -> dict[str, Any]:
    return {"tapscan": __version__, "schema": SCHEMA}


def _text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False, default=_day) + "\n"


def _day(value: Any) -> str:
    """The only value of a record that JSON does not know."""
    if isinstance(value, dt.date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def _compared(screening: Screening) -> dict[str, Any]:
    if screening.comparison is None:
        why = _why(screening, change_since_baseline.NAME, "no earlier scan to compare with")
        return {"comparison": None, "comparison_reason": why}
    return {"comparison": comparison_json(screening.comparison), "comparison_reason": None}


def _why(screening: Screening, rule: str, otherwise: str) -> str:
    return next((r.reason for r in screening.rules_not_run if r.rule == rule), otherwise)


def _pattern(screening: Screening) -> dict[str, Any]:
    """Every field; its indications as those of a screening."""
    found = screening.pattern
    if found is None:
        return {"pattern": None, "pattern_reason": _why(screening, unlike_its_pattern.NAME, "no pattern given")}
    told = {**plain(found), "used": list(found.used), "indications": [_indication(i) for i in found.indications]}
    return {"pattern": told, "pattern_reason": None}


def _station(s: Station) -> dict[str, Any]:
    return {
        "station": s.name,
        "where": s.where,
        "x": s.x,
        "y": s.y,
        "direction": s.direction,
        "direction_reason": None if s.direction else "not told by the layout",
        "states": list(s.states),
    }


def _recording(r: Recording) -> dict[str, Any]:
    return {
        "id": r.id,
        "file": r.file.encode("utf-8", "replace").decode(),
        "sha256": r.sha256,
        "sample_rate_hz": r.sample_rate_hz,
        "channels": r.channels,
        "channel_used": r.channel_used,
        "channel_used_reason": r.reason,
        "duration_s": r.duration_s,
        "faults": list(r.faults),
        "compression": {"codec": r.compression.codec, "told_by": r.compression.told_by} if r.compression else None,
        "compression_reason": None if r.compression else _why_no_codec(r),
        "compression_looked_at": list(r.compression_looked_at),
    }


def _why_no_codec(r: Recording) -> str:
    if not r.compression_looked_at:
        return "not looked at: the scan was made before this was told (tapscan scan rescreen tells it)"
    if "spectrum" not in r.compression_looked_at:
        return "no lossy codec told by the container; whether it was compressed before was not examined"
    return "no lossy codec told by the container, and no trace of one in the spectrum"


def _strike(s: Strike) -> dict[str, Any]:
    return {
        "id": s.id,
        "recording": s.recording,
        "station": s.station,
        "force": s.force,
        "force_reason": None if s.force else "not declared (--order)",
        "onset_s": s.onset_s,
        "duration_s": s.duration_s,
        "peak": s.peak,
        "level_db": s.level_db,
        "snr_db": s.snr_db,
        "snr_db_reason": s.reason,
        "faults": list(s.faults),
    }


def _mode(m: Mode) -> dict[str, Any]:
    return {
        "id": m.id,
        "frequency_hz": m.frequency_hz,
        "frequency_sd_hz": m.frequency_sd_hz,
        "decay_rate_per_s": m.decay_rate_per_s,
        "decay_rate_sd_per_s": m.decay_rate_sd_per_s,
        "t60_s": m.t60_s,
        "q": m.q,
        "loss_factor": m.loss_factor,
        "level_db": m.level_db,
        "tone_to_noise_db": m.tone_to_noise_db,
        "prominence_ratio_db": m.prominence_ratio_db,
        "prominent": m.prominent,
        "stations_prominent": m.stations_prominent,
        "stations_judged": m.stations_judged,
        "note": m.note,
        "cents": m.cents,
        "origin": m.origin,
        "origin_reason": "heard at one station only" if m.origin == "unknown" else None,
        "strengths": [{"station": s.station, "strength_db": s.amplitude_db, "sign": s.sign} for s in m.amplitudes],
        "reason": m.reason,
    }


def _indication(i: Indication) -> dict[str, Any]:
    return {
        "id": i.id,
        "rule": i.rule,
        "interpretation": i.interpretation,
        "status": i.status,
        "status_reason": None if i.status else "no earlier scan to compare with",
        "stations": list(i.stations),
        "modes": list(i.modes),
        "sentence": i.sentence,
        "conditions": [
            {"name": c.name, "value": c.value, "limit": c.limit, "unit": c.unit, "source": c.source}
            for c in i.conditions
        ],
        "other_explanations": list(i.other_explanations),
    }
