"""Compare a later scan of a plate with its baseline: unlike pairs first, then figures, then what they mean.

compare_scans(later, baselines, settings)    Comparison; on records only, so a register or a file can feed it. Baseline scans in which something buzzed are left out while one is quiet
with_comparison(screening, comparison, settings)   the later scan's Screening as it reads beside its baseline
carry(later, baselines, pairs)               the later scan's own indications with status new or unchanged
`models` is the folder in which rough models of outlines are kept (model/rough.py).
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.records import (
    Comparison,
    Indication,
    ModePair,
    RuleNotRun,
    Scan,
    ScanForComparison,
    Screening,
    StationChange,
)
from tapscan.screening.chain.chain_change import between
from tapscan.screening.chain.words import of_common
from tapscan.screening.compare.added_mass import explain
from tapscan.screening.compare.carried import carry
from tapscan.screening.compare.chain_facts import chain_facts, without_lists
from tapscan.screening.compare.change import Change
from tapscan.screening.compare.common_change import common_change
from tapscan.screening.compare.condition_changes import ConditionChanges, changed_conditions
from tapscan.screening.compare.good_news import good_news
from tapscan.screening.compare.limits_told import BLIND, limitations_told
from tapscan.screening.compare.measure import Measured, measure
from tapscan.screening.compare.rattles import buzzed, left_out, quiet_ones, unsteady
from tapscan.screening.compare.repeatability import shared_stations
from tapscan.screening.compare.undecided import undecided
from tapscan.screening.compare.unpaired_modes import gained_modes, lost_modes
from tapscan.screening.compressed import limitation_first, not_comparable
from tapscan.screening.conclude import concluded
from tapscan.screening.disposition import NOT_FREE
from tapscan.screening.location.compared import of_evidence, placed
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.piano import compare as in_piano
from tapscan.screening.piano.twice import others_of
from tapscan.screening.rules import RULE_LIMITS
from tapscan.screening.rules import change_since_baseline as rule
from tapscan.screening.untold_room import not_comparable_for_room
from tapscan.settings import Settings, settings_sha256


def compare_scans(
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    settings: Settings,
    models: Path | None = None,
    again: Sequence[ScanForComparison] = (),
    one_job: bool | None = None,
) -> Comparison:
    """The whole comparison. Raises BadRequest when there is no baseline or the later scan is one of it.

    one_job : of a plate in its piano: whether one job alone lies between the scans; None: by their dates
    again : other scans of the plate as it is now, in the same state, by the same sensor. Over more days than one they show how it repeats, where the baseline does not; in its piano one of the same visit is taken beside the later scan.
    """
    every = _checked(later, baselines)
    if in_piano.applies(later):
        return _in_piano(later, every, settings, again, one_job)
    return _out_of_piano(later, every, settings, models, again)


def _in_piano(
    later: ScanForComparison,
    every: Sequence[ScanForComparison],
    settings: Settings,
    again: Sequence[ScanForComparison],
    one_job: bool | None,
) -> Comparison:
    earlier = in_piano.earlier_of(later, every)
    others = others_of(later, earlier, every, again, settings)
    unlike, lossy = _unlike(later, [earlier], settings), not_comparable([later.scan, earlier.scan])
    chain = between(later, [earlier], settings)
    why = unlike.refused or unlike.frequency_refused or lossy or of_common(chain[0])
    told = in_piano.compare_in_piano(later, earlier, why, settings, one_job, others)
    only_newest = () if told.reason or len(told.baselines) > 1 else in_piano.only_newest(every, earlier)
    return replace(told, **chain_facts(chain, unlike.sentences, (*told.limitations, *only_newest)))


def _out_of_piano(
    later: ScanForComparison,
    every: Sequence[ScanForComparison],
    settings: Settings,
    models: Path | None,
    again: Sequence[ScanForComparison],
) -> Comparison:
    baselines = quiet_ones(every, settings)
    unlike = _unlike(later, baselines, settings)
    chain = between(later, baselines, settings)
    evidence = without_lists(_evidence(later, baselines, unlike, settings, again), chain[0])
    measured, scans = evidence.measured, [later.scan, *(b.scan for b in every)]
    spoilt = not_comparable(scans) or not_comparable_for_room(scans)
    refused = unlike.refused or spoilt or buzzed(later, baselines, settings) or unsteady(later, baselines)
    evidence = evidence if refused else of_evidence(evidence, later, baselines, settings, models)
    indications, not_run = _judged(refused, later, evidence, settings)
    left, good = (None, None) if indications or not_run else _without_a_finding(evidence)
    told = Comparison(
        later=later.name,
        baselines=tuple(b.name for b in baselines),
        pairs=mode_pairs(measured, unlike),
        lost=evidence.lost,
        gained=evidence.gained,
        explanation=evidence.mass,
        where=evidence.where or evidence.where_damped,
        indications=indications,
        carried=carry(later, every, _partners(measured), settings),
        rules_not_run=not_run,
        summary=left or _summary(later, measured, indications, not_run, baselines),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        good_news=good,
        undecided=left,
        **chain_facts(chain, unlike.sentences, (*left_out(every, baselines), *_limits(evidence, settings))),
        **common_change(measured, later, baselines, settings, of_common(chain[0])),
        **_statistics(measured, unlike, settings),
    )
    return _without_figures(told, spoilt) if spoilt else placed(told, evidence.located)


def _unlike(later: ScanForComparison, baselines: Sequence[ScanForComparison], settings: Settings) -> ConditionChanges:
    places = len(shared_stations([later.scan, *(b.scan for b in baselines)]))
    return changed_conditions(later.conditions, [b.conditions for b in baselines], places, settings)


def _partners(measured: Measured) -> dict[str, tuple[str | None, ...]]:
    return {measured.later.names[int(j)]: measured.baseline.members[int(i)] for i, j in measured.pairing.pairs}


def _limits(evidence: rule.Evidence, settings: Settings) -> tuple[str, ...]:
    return limitations_told(evidence.measured, evidence.lost, evidence.gained, evidence.contact, settings)


def _without_a_finding(evidence: rule.Evidence) -> tuple[str | None, str | None]:
    """What is left open, or else the good news."""
    measured, since = evidence.measured, evidence.since
    left = undecided(measured, since, evidence.frequency_refused, evidence.loss_refused)
    return left, None if left else good_news(measured.frequency, since, measured.seen)


def _statistics(measured: Measured, unlike: ConditionChanges, settings: Settings) -> dict[str, Any]:
    drops, losses = measured.frequency, measured.loss
    return {
        "statistic": None if unlike.frequency_refused else drops.statistic,
        "statistic_limit": drops.limit,
        "loss_statistic": None if unlike.loss_refused else losses.statistic,
        "loss_statistic_limit": losses.limit,
        "reason": unlike.frequency_refused or _why_none(measured, settings),
        "by_likelihood_ratio": drops.by_likelihood_ratio,
    }


def _judged(
    refused: str | None, later: ScanForComparison, evidence: rule.Evidence, settings: Settings
) -> tuple[tuple[Indication, ...], tuple[RuleNotRun, ...]]:
    found = RuleNotRun(rule.NAME, refused) if refused else rule.judge(later.scan, evidence, settings)
    return ((), (found,)) if isinstance(found, RuleNotRun) else (tuple(found), ())


def _evidence(
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    unlike: ConditionChanges,
    settings: Settings,
    again: Sequence[ScanForComparison],
) -> rule.Evidence:
    """What the rule reads. Drops are told and placed only where the same sensor listened in the same place."""
    contact = all(s.conditions.sensor.contact for s in (later, *baselines))
    own, foreign_hz = plate_alone([b.scan for b in baselines] + [later.scan])
    one_day, lifted = _one_day(baselines), _lifted(later, again)
    measured = measure(own[-1], own[:-1], contact, unlike, settings, foreign_hz, one_day=one_day, lifted=lifted)
    same = unlike.frequency_refused is None
    return rule.Evidence(
        measured,
        lost_modes(measured, foreign_hz, settings),
        gained_modes(measured, foreign_hz, settings),
        # a room blurs what tells a weight from a crack
        explain(measured, settings) if same and contact and _over(measured) else None,
        places_of_change(measured, measured.frequency) if same else (),
        places_of_change(measured, measured.loss),
        _since(baselines),
        unlike.loss_refused,
        contact,
        unlike.frequency_refused,
        coated=unlike.extra_ppm > 0,
    )


def _without_figures(comparison: Comparison, why: str) -> Comparison:
    """What a codec or a room did to the tones must not be read as what happened to the iron."""
    return replace(
        comparison,
        pairs=(),
        common=None,
        common_reason=why,
        undecided=None,
        lost=(),
        gained=(),
        statistic=None,
        statistic_limit=None,
        loss_statistic=None,
        loss_statistic_limit=None,
        explanation=None,
        where=(),
        places=(),
        places_reason=why,
        located=(),
        limitations=(BLIND,),
        reason=why,
    )


def with_comparison(screening: Screening, comparison: Comparison, settings: Settings) -> Screening:
    """The screening with what the comparison says: its indications first, old ones `unchanged`, the disposition anew.

    An indication that stood in the baseline already does not raise the disposition.
    """
    indications = (*comparison.indications, *comparison.carried)
    others = in_piano.others_not_run(screening.rules_not_run, comparison)
    told = replace(
        screening,
        indications=indications,
        rules_not_run=(*others, *comparison.rules_not_run),
        limitations=limitation_first(
            screening.scan, (*comparison.unlike, *comparison.limitations, *screening.limitations)
        ),
        comparison=comparison,
    )
    return concluded(told, settings)


def plate_alone(scans: Sequence[Scan]) -> tuple[list[Scan], tuple[float, ...]]:
    """The scans without the tones of strings, room and mains, and these tones' frequencies in Hz: hum that came or went is no change of the iron."""
    own = [replace(s, modes=tuple(of_plate(s.modes))) for s in scans]
    kept = [{m.id for m in s.modes} for s in own]
    foreign = [m.frequency_hz for s, k in zip(scans, kept, strict=True) for m in s.modes if m.id not in k]
    return own, tuple(sorted(foreign))


def _checked(later: ScanForComparison, baselines: Sequence[ScanForComparison]) -> Sequence[ScanForComparison]:
    if not baselines:
        raise BadRequest(f"{later.name}: no baseline scan to compare with; name one with `tapscan plate baseline`")
    names = [b.name for b in baselines]
    if len(set(names)) < len(names):
        raise BadRequest(f"{max(names, key=names.count)} is named twice as a baseline scan; name each scan once")
    if later.name in names:
        raise BadRequest(f"{later.name} is itself a baseline scan; compare a later scan with it")
    return baselines


def _over(measured: Measured) -> bool:
    s = measured.frequency.statistic
    return s is not None and s > measured.frequency.limit


def _why_none(measured: Measured, settings: Settings) -> str | None:
    if measured.frequency.statistic is not None:
        return None
    return f"{int(measured.frequency.judged.sum())} modes matched, {settings.compare.modes:.0f} are needed"


def mode_pairs(measured: Measured, unlike: ConditionChanges) -> tuple[ModePair, ...]:
    """Every pair in order of frequency."""
    order = np.argsort(measured.earlier_index)
    return tuple(_pair(measured, int(k), unlike) for k in order)


def _pair(measured: Measured, k: int, unlike: ConditionChanges) -> ModePair:
    base, f, loss = measured.baseline, measured.frequency, measured.loss
    i, j = int(measured.earlier_index[k]), int(measured.later_index[k])
    known = bool(np.isfinite(loss.value[k]) and np.isfinite(loss.sd[k])) and unlike.loss_refused is None
    reason = None if known else unlike.loss_refused or "no decay is known in one of the scans"
    same = unlike.frequency_refused is None
    return ModePair(
        later_mode=measured.later.names[j],
        baseline_modes=base.members[i],
        baseline_hz=float(np.exp(base.log_frequency.mean[i])),
        later_hz=float(measured.later.frequency_hz[j]),
        change_ppm=float(1e6 * f.value[k]),
        change_sd_ppm=float(1e6 * f.sd[k]),
        normalised_drop=float(f.score[k]),
        fell=bool(f.named[k]) and same,
        loss_ratio=float(np.exp(loss.value[k])) if known else None,
        loss_ratio_sd=float(loss.sd[k]) if known else None,
        normalised_loss_rise=float(loss.score[k]) if known else None,
        loss_rose=bool(loss.named[k]) if known else None,
        reason=reason,
        judged=bool(f.judged[k]) and same,
    )


def places_of_change(measured: Measured, change: Change) -> tuple[StationChange, ...]:
    """How strongly the modes that changed move at each station, strongest first; empty when none changed.

    Strengths squared, over their mean of all modes at that station, weighted with the size of the change.
    """
    total = change.weight.sum()
    if not total > 0:
        return ()
    energy = measured.baseline.table.pattern[measured.earlier_index] ** 2
    usual = energy.mean(axis=0)
    here = change.weight @ energy / total / np.where(usual > 0, usual, np.inf)
    most = float(here.max(initial=0.0))
    if most <= 0:
        return ()
    rows = zip(measured.baseline.stations, here / most, strict=True)
    return tuple(sorted((StationChange(s, float(w)) for s, w in rows), key=lambda c: -c.weight))


def _since(baselines: Sequence[ScanForComparison]) -> str:
    dates = sorted({b.date[:10] for b in baselines})
    when = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
    return f"the baseline of {when} ({len(baselines)} {'scan' if len(baselines) == 1 else 'scans'})"


def _summary(
    later: ScanForComparison,
    measured: Measured,
    indications: Sequence[Indication],
    not_run: Sequence[RuleNotRun],
    baselines: Sequence[ScanForComparison],
) -> str:
    if not_run:
        return f"Nothing is concluded from the comparison: {not_run[0].reason}"
    if indications:
        return indications[0].sentence
    return " ".join(filter(None, [good_news(measured.frequency, _since(baselines), measured.seen), NOT_FREE]))


def _one_day(scans: Sequence[ScanForComparison]) -> bool:
    return len({s.date[:10] for s in scans}) == 1


def _lifted(later: ScanForComparison, again: Sequence[ScanForComparison]) -> tuple[Scan, Scan] | None:
    """The first and the last of three scans of the plate as it is now, this one among them, where they are of two days."""
    others = sorted((s for s in again if s.name != later.name), key=lambda s: (s.date, s.name))[-2:]
    three = sorted([later, *others], key=lambda s: (s.date, s.name))
    if len(three) < 3 or _one_day(three):
        return None
    first, last = plate_alone([three[0].scan, three[-1].scan])[0]
    return first, last
