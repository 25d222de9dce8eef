"""A scan beside the references of its pattern: what is judged, what is not and why, and where it lies among them.

beside_pattern(pattern, plate, scan, references, settings)   BesidePattern
with_pattern(screening, found, settings)                     the Screening with what it says
noticed(references, settings)                                Standing after Standing: each reference against the others
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import (
    IN_PIANO,
    BesidePattern,
    Indication,
    PatternFigure,
    Reference,
    RuleNotRun,
    Scan,
    Screening,
    Sister,
)
from tapscan.screening.compressed import limitation_first
from tapscan.screening.conclude import concluded
from tapscan.screening.pattern.casting_pairs import judged_rows, own_modes
from tapscan.screening.pattern.measure import (
    FEWEST,
    Among,
    Lot,
    Scored,
    drop,
    flawed_among,
    loss_rise,
    lot_of,
    middle,
    plate_among,
    unlikeness,
    without,
)
from tapscan.screening.pattern.references import Fit, fit_for
from tapscan.screening.rules import unlike_its_pattern as rule
from tapscan.settings import Settings
from tapscan.wording import listed

UNLIKE_OTHERS = "unlike the other references"
RISEN = 2.0  # in the sisters' scatter: a mode that lost more is named
DROPS_LIMIT = 4.5  # drops are shown beside it; no indication rests on them
ONLY = "It rests on simulated castings, never on real iron. A partial crack moves modes by less than castings differ and is not found this way."
IN_PIANO_WHY = "the plate is in the piano; strings, case and room move its modes too"


class Standing(Struct, frozen=True, eq=False):
    """One reference against the others. `unlike` None: it could not be compared."""

    name: str
    unlike: float | None
    limit: float | None

    @property
    def stands_out(self) -> bool:
        """Whether it is unlike the others."""
        return self.unlike is not None and self.limit is not None and self.unlike > self.limit


def noticed(references: Sequence[Reference], settings: Settings) -> list[Standing]:
    """Of references that `fit_for` lets stand beside each other; in their order."""
    if len(references) <= FEWEST:
        return [Standing(r.name, None, None) for r in references]
    stations = _shared(references)
    lot = lot_of([own_modes(r, stations) for r in references])
    limits = settings.of(rule.Limits)
    out = flawed_among(lot, limits.unlike_for)
    rest = without(lot, out)
    return [
        Standing(r.name, _against(lot, rest, i, i in out), limits.unlike_for(len(rest) - (i not in out)))
        for i, r in enumerate(references)
    ]


def _against(lot: Lot, rest: Lot, number: int, out: bool) -> float:
    """Of one reference against those that stand."""
    if out:
        return plate_among(lot.modes[number], rest).unlike
    place = next(i for i, m in enumerate(rest.modes) if m is lot.modes[number])
    return float(unlikeness(rest)[place])


def _shared(references: Sequence[Reference]) -> tuple[str, ...]:
    return tuple(s for s in references[0].stations if all(s in r.stations for r in references))


def beside_pattern(
    pattern: str, plate: Reference, scan: Scan, references: Sequence[Reference], settings: Settings
) -> BesidePattern:
    """`references`: all there are of the pattern, the plate's own scans aside."""
    limits = settings.of(rule.Limits)
    fit = fit_for(plate, references, int(limits.places))
    if scan.state in IN_PIANO:
        return _not_run(pattern, fit, IN_PIANO_WHY)
    if len(fit.used) < limits.references:
        return _judged(pattern, plate, scan, fit, None, None, settings)
    if len(fit.stations) < limits.places:
        return _not_run(
            pattern, fit, f"{len(fit.stations)} places in common with the references; needs {limits.places:.0f}"
        )
    lot = lot_of([own_modes(r, fit.stations) for r in fit.used])
    out = flawed_among(lot, limits.unlike_for)
    fit = _less(fit, lot, out)
    rest = without(lot, out)
    return _judged(pattern, plate, scan, fit, rest, plate_among(own_modes(plate, fit.stations), rest), settings)


def _less(fit: Fit, lot: Lot, out: Sequence[int]) -> Fit:
    """With the references left out that are themselves unlike the others."""
    rest = without(lot, out)
    odd = [
        Sister(fit.used[i].name, fit.used[i].of_set, plate_among(lot.modes[i], rest).unlike, UNLIKE_OTHERS) for i in out
    ]
    return Fit(tuple(r for i, r in enumerate(fit.used) if i not in out), (*fit.left_out, *odd), fit.stations)


def _not_run(pattern: str, fit: Fit, why: str) -> BesidePattern:
    none = PatternFigure(None, None, why)
    sisters = (*(Sister(r.name, r.of_set, None) for r in fit.used), *fit.left_out)
    not_run = (RuleNotRun(rule.NAME, why),)
    return BesidePattern(pattern, sisters, none, none, none, None, None, None, len(fit.stations), (), not_run)


def _judged(
    pattern: str, plate: Reference, scan: Scan, fit: Fit, lot: Lot | None, among: Among | None, settings: Settings
) -> BesidePattern:
    limits, count = settings.of(rule.Limits), len(fit.used)
    scatter = middle(lot.frequency_scatter) if lot else None
    lost = middle(lot.loss_scatter) if lot else None
    silent = rule.few_references(pattern, count, limits) or _silent(scatter, limits.scatter_percent, "frequencies")
    silent_loss = silent or _silent(lost, limits.loss_scatter_percent, "losses")
    rise, fall = (loss_rise(among), drop(among)) if among else (None, None)
    unlike = _figure(among.unlike if among else None, limits.unlike_for(max(count, 1)), silent)
    losses = _figure(rise.statistic if rise else None, limits.losses_for(max(count, 1)), silent_loss)
    drops = _figure(fall.statistic if fall else None, DROPS_LIMIT, silent)
    named, times = _risen(plate, rise, fit)
    evidence = rule.Evidence(
        pattern, tuple(r.name for r in fit.used), unlike, losses, named, times, _percent(scatter), _percent(lost)
    )
    outcome = rule.judge(scan, evidence, settings)
    not_run = (outcome,) if isinstance(outcome, RuleNotRun) else ()
    found: Sequence[Indication] = () if isinstance(outcome, RuleNotRun) else outcome
    return BesidePattern(
        pattern,
        _sisters(fit, lot),
        unlike,
        losses,
        drops,
        _percent(scatter),
        _percent(lost),
        None if among is None else -100 * among.shift,
        len(fit.stations),
        tuple(found),
        not_run,
        _limitations(evidence, fit, not_run),
    )


def _silent(scatter: float | None, most: float, what: str) -> str | None:
    if scatter is None:
        return "too few modes in common"
    if 100 * scatter > most:
        return f"the references' own {what} scatter by {100 * scatter:.2g} % a mode; above {most:g} % nothing is said"
    return None


def _figure(value: float | None, limit: float, silent: str | None) -> PatternFigure:
    if silent or value is None:
        return PatternFigure(None, limit, silent or "too few modes in common")
    return PatternFigure(float(value), limit)


def _percent(scatter: float | None) -> float | None:
    return None if scatter is None else 100 * scatter


def _risen(plate: Reference, rise: Scored | None, fit: Fit) -> tuple[tuple[str, ...], float | None]:
    """Names of the modes whose loss rose plainly, strongest first, and the middle of how many times."""
    if rise is None:
        return (), None
    order = [int(i) for i in np.argsort(-np.nan_to_num(rise.score, nan=-np.inf)) if rise.score[i] > RISEN]
    if not order:
        return (), None
    rows = judged_rows(plate, fit.stations)
    return tuple(plate.modes[rows[i]] for i in order), float(np.exp(np.median(rise.value[order])))


def _sisters(fit: Fit, lot: Lot | None) -> tuple[Sister, ...]:
    unlike = list(unlikeness(lot)) if lot and len(lot) > 2 else [None] * len(fit.used)
    used = [Sister(r.name, r.of_set, None if u is None else float(u)) for r, u in zip(fit.used, unlike, strict=True)]
    return (*used, *fit.left_out)


def _limitations(evidence: rule.Evidence, fit: Fit, not_run: Sequence[RuleNotRun]) -> tuple[str, ...]:
    told = [] if not_run else [f"Held against {len(evidence.references)} plates of pattern {evidence.pattern}. {ONLY}"]
    told += [
        f"Beside its pattern the {what} were not judged: {figure.reason}."
        for what, figure in (("shapes", evidence.unlike), ("losses", evidence.losses))
        if not not_run and figure.value is None
    ]
    odd = [s.name for s in fit.left_out if s.left_out == UNLIKE_OTHERS]
    if odd:
        told.append(
            f"Not used as references, since they are unlike the others of their pattern themselves: {listed(odd)}. Look at them."
        )
    return tuple(told)


def with_pattern(screening: Screening, found: BesidePattern, settings: Settings) -> Screening:
    """Its indications before the others, the disposition anew."""
    others = tuple(r for r in screening.rules_not_run if r.rule != rule.NAME)
    known = tuple(i for i in screening.indications if i.rule != rule.NAME)
    told = replace(
        screening,
        indications=(*found.indications, *known),
        rules_not_run=(*others, *found.rules_not_run),
        limitations=limitation_first(screening.scan, (*screening.limitations, *found.limitations)),
        pattern=found,
    )
    return concluded(told, settings)
