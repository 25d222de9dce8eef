"""The comparison with earlier scans, as rows of words and two drawings.

comparison_section(screening)   what the template names, or None where nothing was compared
counted_tones(screening)        how many tones were told apart, found again and judged
"""

from collections.abc import Sequence
from math import log10
from typing import Any

from markupsafe import Markup

from tapscan import wording
from tapscan.records import Comparison, LikelyPlace, ModalAmplitude, ModePair, Screening, UnpairedMode
from tapscan.records.places import From
from tapscan.report.drawing.plate_map import LETTERS, amplitude_map, belief_map
from tapscan.report.error_rates import place_rates
from tapscan.report.section import Section, Sheet
from tapscan.report.words import drops_in_words
from tapscan.screening.in_words import common_told, tones_told

MOST_ROWS, MOST_BRIEF = 12, 6
DROPS = "three largest drops, in the plate's own scatter"
HEADS: dict[From, str] = {
    "drops": "Where a crack would lie, if there is one",
    "losses": "Where a closed crack that rubs would lie, if there is one",
    "weight": "Where a weight would lie, if there is one",
    "force": "Where faces that touch would lie, if there are any",
}


def comparison_section(screening: Screening) -> dict[str, Any] | None:
    """Rows for the modes that changed most, the common shift, what differs between the scans, and the drawings."""
    c = screening.comparison
    if c is None:
        return None
    from tapscan.report.figures.changes import shifts

    changed = [p for p in c.pairs if p.fell or p.loss_rose]
    shown = sorted(changed, key=lambda p: -max(p.normalised_drop, p.normalised_loss_rise or 0.0))[:MOST_ROWS]
    shown = sorted(shown or _largest(c), key=lambda p: p.baseline_hz)
    return {
        "places": _located(screening, c),
        "summary": "" if c.summary in screening.summary else c.summary,
        "tones": counted_tones(screening),
        "later": c.later,
        "baselines": wording.listed(c.baselines, 6),
        "common": common_told(c) or c.reason or "",
        "rows": [_row(p) for p in shown],
        "most": [
            _row(p) for p in (shown if len(shown) <= MOST_BRIEF else sorted(_most(shown), key=lambda p: p.baseline_hz))
        ],
        "any_changed": bool(changed),
        "lost": [_unpaired(u) for u in c.lost if u.counts],
        "gained": [_unpaired(u) for u in c.gained if u.counts],
        "unlike": c.unlike,
        "limitations": c.limitations,
        "by_likelihood_ratio": c.by_likelihood_ratio,
        "verdict": _verdict(c),
        "in_piano": c.around is not None,
        "shifts": shifts(c.pairs, None if c.by_likelihood_ratio or c.around else c.statistic_limit, "shifts"),
        "map": None if c.places else _where_strong(screening, c),
    }


def _most(shown: Sequence[ModePair]) -> list[ModePair]:
    return sorted(shown, key=lambda p: -max(p.normalised_drop, p.normalised_loss_rise or 0.0))[:MOST_BRIEF]


def _located(screening: Screening, c: Comparison) -> list[dict[str, Any]]:
    """The likeliest parts, drawn and in a table, or why they cannot be told."""
    layout = screening.scan.map
    return [
        {
            "head": HEADS[w.told_from],
            "map": belief_map(layout, w, f"where-{w.told_from}") if layout and w.places else None,
            "rows": [_place(letter, p) for letter, p in zip(LETTERS, w.places, strict=False)],
            "rates": place_rates(w, screening.limits_sha256) if w.places else "",
            "reason": w.reason,
        }
        for w in c.located
    ]


def _where_strong(screening: Screening, c: Comparison) -> Markup | None:
    """Where the modes that changed are strong; None without a layout."""
    tapped = tuple(dict.fromkeys(s.station for s in screening.scan.strikes))
    where = [ModalAmplitude(w.station, _decibels(w.weight)) for w in c.where]
    layout = screening.scan.map
    return amplitude_map(layout, where, tapped, "where-changed", "the changed modes") if layout and where else None


def _largest(c: Comparison) -> list[ModePair]:
    return sorted(c.pairs, key=lambda p: -p.normalised_drop)[:6]


def counted_tones(screening: Screening) -> str:
    """In words a reader can add up."""
    told, c = len(screening.scan.modes), screening.comparison
    return f"{told} heard" if c is None else tones_told(c, told)


def _decibels(weight: float) -> float:
    """Squared: the eye sees small differences of size badly."""
    return 40 * log10(max(weight, 1e-3))


def _fallen(c: Comparison, statistic: float, limit: float) -> tuple[str, str, str]:
    if c.by_likelihood_ratio:
        return "odds that some tones fell, against none", wording.odds(statistic), wording.odds(limit)
    what = "tones that fell and tones strong at other places, together" if c.around else DROPS
    return what, f"{statistic:.1f}", f"{limit:.1f}"


def _verdict(c: Comparison) -> list[tuple[str, str, str]]:
    """Figure, value, limit."""
    rows = []
    if c.statistic is not None:
        rows.append(_fallen(c, c.statistic, c.statistic_limit or 0.0))
        if not c.by_likelihood_ratio:
            rows.append(("the three largest drops as they are, uncapped", drops_in_words(c), ""))
    if c.loss_statistic is not None:
        rows.append(
            (
                "five largest rises of the loss, in the plate's own scatter",
                f"{c.loss_statistic:.1f}",
                f"{c.loss_statistic_limit:.1f}",
            )
        )
    if c.explanation is not None:
        score, limit = c.explanation.score, c.explanation.limit
        rows.append(
            ("odds that a weight was left on, against a crack", wording.weight_odds(score), wording.odds(limit))
        )
    return rows


def _row(p: ModePair) -> dict[str, str]:
    loss = wording.UNKNOWN if p.loss_ratio is None else f"{p.loss_ratio:.2f}"
    if p.loss_change.sd is not None:
        loss = f"{p.loss_ratio:.2f} ± {2 * p.loss_change.sd:.2f}"
    said = [word for told, word in ((p.fell, "fell"), (bool(p.loss_rose), "dies away faster")) if told]
    return {
        "mode": p.later_mode,
        "before": f"{p.baseline_hz:.2f}",
        "now": f"{p.later_hz:.2f}",
        "change": wording.minus(f"{p.change_ppm / 1e4:+.4f} ± {2e-4 * p.change_sd_ppm:.4f}"),
        "loss": loss,
        "said": " and ".join(said) or "within the scatter",
    }


def _place(letter: str, p: LikelyPlace) -> dict[str, str]:
    return {
        "letter": letter,
        "member": p.member,
        "where": p.where or "\N{EN DASH}",
        "share": f"{100 * p.share:.0f} ± {200 * p.share_sd:.0f}",
    }


def _unpaired(u: UnpairedMode) -> str:
    return f"{u.frequency_hz:.1f} Hz"


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = comparison_section(sheet.screening)
    return {"comparison": found} if found else None


SECTION = Section("comparison", "Compared with earlier scans", "comparison.html", _build)
