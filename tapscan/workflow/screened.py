"""From what each place gave to the screening: the scan, its bar, its rules and its conclusion. What this imports is not needed while recordings are listened to.

scan_heard(heard, results, request, ...)   everything the rules may read
screened(scan, results, request, notes)    what they say, concluded
judged(scan, settings, weak, remarks)      what they say, not concluded yet
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from tapscan.layouts.take import places_of, read_as_one
from tapscan.records import Scan, Screening
from tapscan.screening.chain.chain_change import with_drift
from tapscan.screening.compressed import limitation_first
from tapscan.screening.disposition import silent_recordings
from tapscan.screening.limitations import limitations
from tapscan.screening.notes import with_notes
from tapscan.screening.rules import RULE_LIMITS, run_rules
from tapscan.screening.scan import scan_of
from tapscan.settings import Settings, limits_by_part, settings_sha256
from tapscan.signal.plate.station_analysis import StationResult, mark_cut_short
from tapscan.workers import Workers
from tapscan.workflow.bar import read_bar
from tapscan.workflow.conclude import conclude
from tapscan.workflow.listen import Heard

if TYPE_CHECKING:
    from tapscan.workflow.check import Request


def _part_of(results: Sequence[StationResult], request: Request) -> int | None:
    """Places that the layout has, where a person said that these are part of them."""
    return places_of(request.layout, request.state) if request.partial and request.layout and results else None


def scan_heard(
    heard: Sequence[Heard],
    results: Sequence[StationResult],
    request: Request,
    workers: Workers,
    amiss: tuple[str, ...],
    unreadable: list[str],
) -> Scan:
    """`amiss` : what the layout asks for and is not there. `unreadable` : gets recordings of the bar that cannot be read."""
    settings = request.settings
    strikes = sorted((s for r in results for s in r.strikes), key=lambda s: int(s.id[1:]))
    scan = scan_of(
        results,
        settings,
        workers,
        recordings=tuple(h.recording for h in heard),
        strikes=tuple(mark_cut_short(s, results, settings) for s in strikes),
        state=request.state,
        parts_held=request.parts_held,
        layout=request.layout.name if request.layout else None,
        places=tuple((s.name, s.where) for s in request.layout.stations) if request.layout else (),
        map=request.layout,
        part_of=_part_of(results, request),
        taps_amiss=amiss,
    )
    return _with_bar(replace(scan, modes=with_notes(scan.modes)), request, workers, unreadable)


def _with_bar(scan: Scan, request: Request, workers: Workers, unreadable: list[str]) -> Scan:
    if request.bar is None:
        return scan
    heard = read_bar(request.bar, request.settings, request.contact, workers, unreadable)
    return replace(scan, bar=with_drift(heard, request.settings), bar_reason=None)


def screened(scan: Scan, results: Sequence[StationResult], request: Request, notes: Sequence[str]) -> Screening:
    """`notes` : on how the taps were assigned."""
    silent = silent_recordings(scan) if scan.strikes else ()
    weak = limitation_first(scan, (*silent, *_as_one(scan), *limitations(scan, request.settings, request.contact)))
    told = judged(scan, request.settings, weak, notes)
    return conclude(replace(told, pictures=tuple(p for r in results for p in r.pictures)), request.settings)


def _as_one(scan: Scan) -> list[str]:
    """One recording without a layout, and all of its taps at one place."""
    if scan.map is not None or len(scan.recordings) != 1 or len({s.station for s in scan.strikes}) != 1:
        return []
    told = read_as_one(sorted(s.onset_s for s in scan.strikes))
    return [told] if told else []


def judged(scan: Scan, settings: Settings, weak: Sequence[str], remarks: Sequence[str]) -> Screening:
    """What the rules say, not concluded yet; `weak` : what limits it."""
    indications, not_run = run_rules(scan, settings)
    return Screening(
        scan=scan,
        disposition="inconclusive",
        headline="",
        summary="",
        next_steps=(),
        indications=tuple(indications),
        rules_not_run=tuple(not_run),
        limitations=tuple(weak),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        limits_sha256=limits_by_part(settings, RULE_LIMITS),
        assignment=tuple(remarks),
    )
