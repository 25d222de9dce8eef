"""Where the change between a later scan and its baseline lies.

of_evidence(evidence, later, baselines, settings, models)   the evidence with Whereabouts of what fell, of a weight where that is likelier, of what lost its ring
placed(comparison, located)                                  the comparison with its places
"""

from collections.abc import Sequence
from pathlib import Path

from msgspec.structs import replace

from tapscan.records import Comparison, ScanForComparison, Whereabouts
from tapscan.records.places import From
from tapscan.screening.compare.change import Change
from tapscan.screening.location.whereabouts import whereabouts
from tapscan.screening.rules.change_since_baseline import Evidence
from tapscan.settings import Settings

NOTHING = "nothing changed that could be given a place"


def of_evidence(
    evidence: Evidence,
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    settings: Settings,
    models: Path | None,
) -> Evidence:
    """The same with `located`, empty where nothing changed. models : folder in which rough models are kept."""
    measured = evidence.measured
    reference = baselines[measured.baseline.reference].scan
    reference = reference if reference.map is not None else replace(reference, map=later.scan.map)
    wanted: list[From] = []
    if evidence.frequency_refused is None and _passes(measured.frequency):
        wanted += ["drops", "weight"] if evidence.mass is not None and evidence.mass.likelier else ["drops"]
    if evidence.loss_refused is None and _passes(measured.loss) and measured.loss.named.any():
        wanted.append("losses")
    located = tuple(whereabouts(measured, reference, which, settings, models) for which in wanted)
    return replace(evidence, located=located)


def placed(comparison: Comparison, located: tuple[Whereabouts, ...]) -> Comparison:
    """Its places are the first that could be told."""
    first = next((w for w in located if w.places), None)
    reason = None if first else located[0].reason if located else NOTHING
    return replace(comparison, places=first.places if first else (), places_reason=reason, located=located)


def _passes(change: Change) -> bool:
    return change.statistic is not None and change.statistic > change.limit
