"""A plate in its piano has changed since an earlier scan by more than screws, wood and tension do.

Reason: a plate screw that has lost its hold, or iron that has parted, lowers tones and gives many of them another shape; screws that all differ a little
mostly move them (screening/piano/measure.py). Around one job the screws hardly differ and much can be told; from season to season only
large changes can. Without an earlier scan frequencies tell nothing there.

Limits: chosen on simulated patterns, counted on others with other wood (settings/piano.py, bench/in_piano.py); no piano was measured.
"""

from tapscan.places import IN_PIANO
from tapscan.records import Condition, Indication, RuleNotRun, Scan
from tapscan.screening.rule import Outcome, Plain, Rule
from tapscan.settings import Settings

NAME = "change-in-piano"
NOT_THERE = "the plate is not in the piano, or its state was not told"
NO_EARLIER = "no earlier scan of this plate in the piano was given to compare with"
OTHERS = (
    "a plate screw or nose bolt that is looser than before, or was taken out",
    "strings taken off or tension changed over a part of the compass",
    "a part of case or action that was off in one of the scans, or leaned on the plate",
    "the pickup sat elsewhere, or other places were tapped",
    "wood that is much drier or damper than then",
)
BOTH, BEYOND_SCREWS = (
    "drops and unlikeness together",
    "change beyond that of screws",
)  # what a figure is made of
PLAIN = (
    (
        "",
        Plain(
            "the plate in the piano sounds different from before",
            "The plate does not sound as it did in {since}, and by more than screws and strings usually make of it.",
            "A plate screw may be loose, or the iron may have parted. This test cannot tell which.",
        ),
    ),
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """On a single scan there is nothing to compare with."""
    return RuleNotRun(NAME, NO_EARLIER if scan.state in IN_PIANO else NOT_THERE)


def finding(sentence: str, modes: tuple[str, ...], told: Condition) -> Indication:
    """Where a comparison in the piano passes its limit; where on the plate is not told. `told` of what the figure is made: BOTH or BEYOND_SCREWS."""
    return Indication("P1", NAME, "relevant", "new", (), modes, sentence, (told,), OTHERS)


RULE = Rule(
    NAME,
    "A change of a plate in its piano",
    run,
    frozenset({"frequencies", "levels"}),
    bare_only=False,
    rates="in the piano",
    meanings=(
        (
            BOTH,
            "how far the tones that fell most have fallen, and how unlike the tones' strengths over the places have become, beside what an unchanged plate in its piano does",
        ),
        (
            BEYOND_SCREWS,
            "two scans at either visit: the larger of two figures, each beside its own limit: one is drops and unlikeness together, and how unlike the lowest tones have become on top; the other is how unlike the highest tones have become. Of lowest and highest tones, what two scans of one visit differ by is taken off",
        ),
    ),
    plain=PLAIN,
)
