"""An area whose modes die away sooner than the plate's own trend.

Reason: faces that rub take energy from the modes that move them, and leave the others. So does whatever touches the plate there: a
support, cloth, a loose fitting. The score is that of long-decay with the other sign (screening/iron.py).

Limit: chosen on simulated plates, other castings than those the rates are given for (docs/rules.md). Weaker than other findings: whatever touches
the plate looks alike. Needs the decays of 30 modes at 6 places, and a bare plate on which nothing buzzes.
"""

from tapscan.records import Indication, RuleNotRun, Scan
from tapscan.screening.in_words import places_in_words
from tapscan.screening.iron import TREND, TREND_MEANING, area_score
from tapscan.screening.rule import Outcome, Plain, Rule, condition, measured
from tapscan.screening.rules.buzz import held_first
from tapscan.settings import Settings

NAME = "dead-place"
OTHERS = (
    "a pad, sling, cloth or hand that touches the plate there",
    "a loose screw, hook or fitting there, or the pickup",
    "hard or chilled iron elsewhere on the plate, beside which this place seems dull",
    "an earlier repair, braze or filler there",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication, for the dullest area."""
    if wait := held_first(scan, settings, "how fast the tones die away"):
        return RuleNotRun(NAME, wait)
    found = area_score(scan.modes, scan.map, settings)
    if found is None:
        return RuleNotRun(
            NAME,
            f"needs the decay of {settings.iron.modes:.0f} modes from {settings.iron.lowest_hz:.0f} to "
            f"{settings.iron.highest_hz:.0f} Hz at {settings.iron.stations:.0f} places",
        )
    if found.dull < settings.iron.area_score or found.dull <= found.lasting:
        return []
    area = found.dull_area
    sentence = (
        f"The plate is dull around {places_in_words(scan, area.stations)}: the tones strongest there lose "
        f"{100 * (area.loss_ratio - 1):.0f} % more energy than its other tones. Cracked faces that rub do that, "
        "and so does anything that touches the plate there."
    )
    conditions = (
        condition(settings.iron, "area_score", "area that is dull", found.dull),
        measured(TREND, area.loss_ratio, "1"),
    )
    return [Indication("E1", NAME, "relevant", None, area.stations, (), sentence, conditions, OTHERS)]


PLAIN = (
    (
        "",
        Plain(
            "one area sounds dull",
            "One area of the plate sounds dull beside the rest.",
            "Faces of a crack that rub can do that, and so does anything that touches the plate there. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "A dead place",
    run,
    frozenset({"faint decays"}),
    bare_only=True,
    rates="by kind of flaw",
    aims=("closed crack that rubs, half a strut deep",),
    beyond="Cloth, pads or loose parts that touch were not tried.",
    meanings=(
        (
            "area that is dull",
            "how well the tones' losses fit one part of the plate losing more; about 0.8 on a plate of one iron",
        ),
        TREND_MEANING,
    ),
    plain=PLAIN,
)
