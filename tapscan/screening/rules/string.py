"""Some tones come from strings.

Reason: the partials of one stiff string keep to one stretched series and die away together (screening/string_series.py, with sources); a
plate's modes keep to none. Only a piano with strings has strings.

Limits: `origins` and `strings` in settings/origins.py; by engineering judgement about published inharmonicities. Its false calls on mode lists of simulated bare plates
taken for strung stand in docs/rules.md; what it finds in a strung piano was not measured.
"""

from tapscan.places import STRUNG
from tapscan.records import Indication, RuleNotRun, Scan
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.rule import Outcome, Rule, condition
from tapscan.screening.string_series import Series, string_series, usual_inharmonicity
from tapscan.settings import Settings

NAME = "string"
OTHERS = (
    "modes of the plate that fall into such a row by chance",
    "a string of another instrument, or a duplex part, nearby",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """One indication for each string."""
    if scan.state is None:
        return RuleNotRun(NAME, "the state of the plate was not given")
    if scan.state not in STRUNG:
        return RuleNotRun(NAME, "no strings on the plate in this state")
    if not scan.modes:
        return RuleNotRun(NAME, "no mode was found")
    mine = [*of_plate(scan.modes), *(m for m in scan.modes if m.origin == "string")]
    series = string_series(sorted(mine, key=lambda m: m.frequency_hz), settings)
    return [_indication(i, s, scan, settings) for i, s in enumerate(sorted(series, key=lambda s: s.fundamental_hz), 1)]


def _indication(number: int, series: Series, scan: Scan, settings: Settings) -> Indication:
    partials = len(series.modes)
    usual = usual_inharmonicity(series.fundamental_hz)
    times = [m.t60_s for m in scan.modes if m.id in series.modes and m.t60_s]
    sentence = (
        f"{partials} tones belong to one string of {series.fundamental_hz:.1f} Hz: they keep to its series within {max(series.cents, 0.1):.1f} cents and "
        "die away together. They are left out of what the other rules look at."
    )
    conditions = (
        condition(settings.strings, "partials", "partials in a row", float(partials)),
        condition(settings.strings, "cents", "furthest from the series", series.cents),
        condition(settings.strings, "stiffness_factor", "stiffness of the series over the usual one", series.inharmonicity / usual),
        condition(settings.strings, "decay_ratio", "longest decay over the shortest", max(times) / min(times)),
    )  # fmt: skip
    return Indication(f"S{number}", NAME, "nonrelevant", None, (), series.modes, sentence, conditions, OTHERS)


RULE = Rule(
    NAME,
    "Tones that come from strings",
    run,
    frozenset({"frequencies", "decays"}),
    bare_only=False,
    rates="on bare plates",
)
