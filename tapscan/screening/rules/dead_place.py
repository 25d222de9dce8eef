"""A place whose modes die away sooner than the plate's own trend.

Reason: faces that rub take energy from the modes that move them, and leave the others. So does whatever touches the plate there: a
support, cloth, a loose fitting. The scores are those of long-decay with the other sign (screening/iron.py).

Limit: chosen on simulated plates of two patterns, tried on three others (docs/rules.md). Weaker than other findings: whatever touches
the plate looks alike. Needs the decays of 30 modes at 6 places, and a bare plate on which nothing buzzes.
"""

from tapscan.records import Condition, Indication, RuleNotRun, Scan
from tapscan.screening.iron import place_scores, spread_score
from tapscan.screening.rules.buzz import held_first
from tapscan.settings import Settings

NAME = "dead-place"
SIMULATED = "limit set on simulated plates; no iron was measured"
NAMED_PLACES = 3
OTHERS = (
    "a pad, sling, cloth or hand that touches the plate there",
    "a loose screw, hook or fitting there, or the pickup",
    "hard or chilled iron elsewhere on the plate, beside which this place seems dull",
    "an earlier repair, braze or filler there",
)


def run(scan: Scan, settings: Settings) -> list[Indication] | RuleNotRun:
    """At most one indication, for the dullest places."""
    if wait := held_first(scan, settings, "how fast the tones die away"):
        return RuleNotRun(NAME, wait)
    scores = place_scores(scan.modes, settings)
    if not scores:
        return RuleNotRun(
            NAME,
            f"needs the decay of {settings.region_modes:.0f} modes from {settings.region_lowest_hz:.0f} to "
            f"{settings.region_highest_hz:.0f} Hz at {settings.region_stations:.0f} places",
        )
    spread = spread_score(scan.modes, settings)
    together = spread is not None and not spread.lasting and spread.score >= settings.spread_score
    dullest = list(reversed(scores))[:NAMED_PLACES]
    dull = [p for p in dullest if p.score >= settings.dead_score] or (dullest if together else [])
    if not dull or spread is None:
        return []
    worst = dull[0]
    sentence = (
        f"The plate is dull around {_listed([scan.where(p.station) for p in dull])}: the tones strongest there lose "
        f"{100 * (worst.loss_ratio - 1):.0f} % more energy in each swing than its other tones. Cracked faces that rub do that, "
        "and so does anything that touches the plate there."
    )
    conditions = (
        Condition(f"score at {worst.station}", worst.score, settings.dead_score, "standard deviations", SIMULATED),
        Condition("loss that goes with place", spread.score, settings.spread_score, "standard deviations", SIMULATED),
        Condition("loss beside the plate's trend", worst.loss_ratio, None, "1", "measured"),
    )
    stations = tuple(p.station for p in dull)
    return [Indication("E1", NAME, "relevant", None, stations, (), sentence, conditions, OTHERS)]


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
