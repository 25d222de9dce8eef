"""Compare a later scan of a plate with its baseline: unlike pairs first, then figures, then what they mean.

compare_scans(later, baselines, settings)    Comparison; on records only, so a register or a file can feed it
with_comparison(screening, comparison, settings)   the later scan's Screening as it reads beside its baseline
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tapscan.errors import BadRequest
from tapscan.records import (
    CommonShift,
    Comparison,
    Indication,
    ModePair,
    RuleNotRun,
    Scan,
    ScanForComparison,
    Screening,
    StationChange,
)
from tapscan.screening.compare.added_mass import explain
from tapscan.screening.compare.carried import carry
from tapscan.screening.compare.condition_changes import ConditionChanges, changed_conditions
from tapscan.screening.compare.good_news import good_news
from tapscan.screening.compare.measure import Change, Measured, limit_of, measure
from tapscan.screening.compare.rattles import buzzed, left_out, quiet_ones
from tapscan.screening.compare.repeatability import shared_stations
from tapscan.screening.compare.shared_shift import agree
from tapscan.screening.compare.thermal_shift import common_shift, iron_c
from tapscan.screening.compare.undecided import undecided
from tapscan.screening.compare.unpaired_modes import gained_modes, lost_modes, one_sided
from tapscan.screening.compressed import limitation_first, not_comparable
from tapscan.screening.conclude import concluded
from tapscan.screening.disposition import NOT_FREE
from tapscan.screening.origins import of_plate
from tapscan.screening.rules import RULE_LIMITS
from tapscan.screening.rules import change_since_baseline as rule
from tapscan.settings import Settings, settings_sha256

SINGLE = (
    "There is one baseline scan only, so what this plate repeats to is taken from simulated plates and the limit is higher. "
    "With three baseline scans, the plate set down anew between them, small changes can be told."
)
ONE_DAY_ONLY = (
    "The baseline scans are all of one day, and supports are softer or elsewhere on another: what this plate repeats to is taken from simulated plates and the limit is higher. "
    "A baseline over two days can tell small changes."
)
MICROPHONE = (
    "By microphone the room blurs the modes: small changes are told less surely, and hardly at all with one baseline scan or from further off than 10 cm; modes that are lost or new "
    "make no indication. A pickup on the iron, or a microphone at 10 cm that stays put, is needed."
)
HEARD_LESS = (
    "Many strong tones were found in the one scan and not in the other, and hardly any the other way round. A change of the plate moves tones and takes none away, so one of the "
    "scans heard less: something rattled or hummed faintly, or the sensor sat badly. Nothing is to be concluded from it alone."
)
BLIND = (
    "A crack that is pressed shut and does not rub changes nothing that can be heard; no change does not show that the plate "
    "is free of flaws."
)


def compare_scans(
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    settings: Settings,
    again: Sequence[ScanForComparison] = (),
) -> Comparison:
    """The whole comparison. Raises BadRequest when there is no baseline or the later scan is one of it.

    again : other scans of the plate as it is now, in the same state, by the same sensor. Over more days than one they show how it repeats, where the baseline does not.

    Baseline scans in which something buzzed are left out while one is quiet; they still tell which indications are old.
    """
    _check(later, baselines)
    every, baselines = baselines, quiet_ones(baselines, settings)
    places = len(shared_stations([later.scan, *(b.scan for b in baselines)]))
    unlike = changed_conditions(later.conditions, [b.conditions for b in baselines], places, settings)
    contact = all(s.conditions.sensor.contact for s in (later, *baselines))
    own, foreign_hz = plate_alone([b.scan for b in baselines] + [later.scan])
    measured = measure(
        own[-1],
        own[:-1],
        contact,
        unlike,
        settings,
        foreign_hz,
        one_day=_one_day(baselines),
        lifted=_lifted(later, again),
    )
    lost, gained = lost_modes(measured, foreign_hz, settings), gained_modes(measured, foreign_hz, settings)
    where, where_damped = places_of_change(measured, measured.frequency), places_of_change(measured, measured.loss)
    same = unlike.frequency_refused is None  # heard by the same sensor in the same place
    where = where if same else ()
    mass = (
        explain(measured, settings) if same and contact and _over(measured) else None
    )  # a room blurs what tells the two
    since = _since(baselines)
    shared, no_shared = _common(measured, later, baselines, settings)
    evidence = rule.Evidence(
        measured, lost, gained, mass, where, where_damped, since, unlike.loss_refused, contact, unlike.frequency_refused
    )
    lossy = not_comparable([later.scan, *(b.scan for b in every)])
    refused = unlike.refused or lossy or buzzed(later, baselines, settings)
    found = RuleNotRun(rule.NAME, refused) if refused else rule.judge(later.scan, evidence, settings)
    indications = () if isinstance(found, RuleNotRun) else tuple(found)
    not_run = (found,) if isinstance(found, RuleNotRun) else ()
    pairs = mode_pairs(measured, unlike)
    open_ = undecided(measured, since) if same and not indications and not not_run else None
    told = Comparison(
        later=later.name,
        baselines=tuple(b.name for b in baselines),
        pairs=pairs,
        common=shared,
        lost=lost,
        gained=gained,
        statistic=measured.frequency.statistic if same else None,
        statistic_limit=measured.frequency.limit,
        loss_statistic=None if unlike.loss_refused else measured.loss.statistic,
        loss_statistic_limit=measured.loss.limit,
        unlike=unlike.sentences,
        explanation=mass,
        where=where or where_damped,
        indications=indications,
        carried=carry(later, every, measured, settings),
        rules_not_run=not_run,
        limitations=(*left_out(every, baselines), *_limitations(evidence, settings)),
        summary=open_ or _summary(later, measured, indications, not_run, baselines),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        reason=unlike.frequency_refused or _why_none(measured, settings),
        by_likelihood_ratio=measured.frequency.by_likelihood_ratio,
        good_news=None if indications or not_run or open_ else good_news(measured.frequency, since, measured.seen),
        common_reason=no_shared,
        undecided=None if refused else open_,
    )
    return _without_figures(told, lossy) if lossy else told


def _without_figures(comparison: Comparison, why: str) -> Comparison:
    """What a codec did to the tones must not be read as what happened to the iron."""
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
        limitations=(BLIND,),
        reason=why,
    )


def with_comparison(screening: Screening, comparison: Comparison, settings: Settings) -> Screening:
    """The screening with what the comparison says: its indications first, old ones `unchanged`, the disposition anew.

    An indication that stood in the baseline already does not raise the disposition.
    """
    indications = (*comparison.indications, *comparison.carried)
    others = tuple(r for r in screening.rules_not_run if r.rule != rule.NAME)
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


def _check(later: ScanForComparison, baselines: Sequence[ScanForComparison]) -> None:
    if not baselines:
        raise BadRequest(f"{later.name}: no baseline scan to compare with; name one with `tapscan plate baseline`")
    names = [b.name for b in baselines]
    if len(set(names)) < len(names):
        raise BadRequest(f"{max(names, key=names.count)} is named twice as a baseline scan; name each scan once")
    if later.name in names:
        raise BadRequest(f"{later.name} is itself a baseline scan; compare a later scan with it")


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


def _common(
    measured: Measured, later: ScanForComparison, baselines: Sequence[ScanForComparison], settings: Settings
) -> tuple[CommonShift | None, str | None]:
    """Against the mean of the baseline scans; None with the reason where too few modes, or faint ones only, agree on it."""
    if reason := _none_shared(measured, settings):
        return None, reason
    mean = float(np.mean(measured.baseline.shifts))
    known = [t for t in (iron_c(b.conditions) for b in baselines) if t is not None]
    before = float(np.mean(known)) if len(known) == len(baselines) else None
    shift = common_shift(measured.shift - mean, measured.shift_sd, iron_c(later.conditions), before, settings)
    return shift, None


def _none_shared(measured: Measured, settings: Settings) -> str | None:
    """Faint and spurious modes agree with one another while the plate's own have moved (seen on measured beams)."""
    careful = measured.small or measured.frequency
    together = careful.judged & agree(careful.value, careful.sd)
    if together.sum() < settings.compare.common_modes:
        return f"{int(together.sum())} tones moved alike, {settings.compare.common_modes:.0f} are needed to tell a common change"
    f, energy = measured.later.frequency_hz, measured.later.energy
    inside = (f >= settings.compare.lowest_hz) & (f <= settings.compare.highest_hz)
    share = float(energy[measured.later_index[together]].sum() / max(energy[inside].sum(), 1e-300))
    if share < settings.compare.common_energy:
        return f"the tones that moved alike hold {100 * share:.0f} % of the sound only, so it is no change of the whole plate"
    return None


def _since(baselines: Sequence[ScanForComparison]) -> str:
    dates = sorted({b.date[:10] for b in baselines})
    when = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
    return f"the baseline of {when} ({len(baselines)} {'scan' if len(baselines) == 1 else 'scans'})"


def _limitations(evidence: rule.Evidence, settings: Settings) -> tuple[str, ...]:
    measured, contact = evidence.measured, evidence.contact
    found = []
    if contact and one_sided(evidence.lost, evidence.gained, settings):
        found.append(HEARD_LESS)
    if measured.seen == 1:
        found.append(SINGLE if measured.baseline.scans == 1 else ONE_DAY_ONLY)
    if not contact:
        found.append(MICROPHONE)
    limit = limit_of("drop", measured.seen, settings)
    rises = int((measured.frequency.score[measured.frequency.judged] < -2 * limit).sum())
    if rises:
        found.append(
            f"{rises} of the modes rose. A crack raises none: something has come off the plate, most of the modes fell, or modes "
            "were matched wrongly."
        )
    found.append(BLIND)
    return tuple(found)


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
