"""A drop too large for a careful hand and too small for any supports: what one earlier scan, or scans of one day, cannot settle.

    undecided(measured, since, frequency_refused, loss_refused)    a sentence or two; None where nothing is left open

Unchanged plates that lie on felt, foam, blocks or trestles differ from one scan to the next by several times what chalked pads give (bench/supports.py), and so
a small drop beside one earlier scan is neither a finding nor good news. What settles it is the plate's own scatter: lifted, set down and scanned on more days than one.
"""

from tapscan.screening.compare.measure import Measured
from tapscan.wording import counted

ONE_SCAN = "One earlier scan does not show how far this plate moves by being set down anew"
ONE_DAY = "The earlier scans are all of one day, so they do not show what another day and another hand bring"
DROPS_HELD = {
    "supports": " Most low tones moved as well, as they do when a plate lies softer or touches its supports elsewhere.",
    "few tones": " Two of them at most stand out far, and a crack moves more.",
    None: "",
}
LOSSES_HELD = {
    "supports": "Most low tones now ring for another time than before, as they do when a plate rests otherwise on its supports.",
    "few tones": "Only a few of them stand out far, and a crack that rubs damps more.",
}
NEARLY = "this plate was seen to move by being set down anew, and no further than supports may do beyond that"


def undecided(
    measured: Measured, since: str, frequency_refused: str | None = None, loss_refused: str | None = None
) -> str | None:
    """`since` : what it was compared with. refused : why nothing is concluded from frequencies, or from damping. For a scan without a finding."""
    drops = None if frequency_refused else _drops(measured, since)
    damping = None if loss_refused else _damping(measured, since)
    return " ".join(filter(None, (drops, damping))) or None


def _drops(measured: Measured, since: str) -> str | None:
    """Says nothing where the finding is made anyway, or no figure was had."""
    small, found = measured.small, measured.frequency
    if small is None or small.statistic is None or small.statistic <= small.limit:
        return None
    if found.statistic is not None and found.statistic > found.limit:
        return None
    held = DROPS_HELD[found.held_back]
    tones = counted(max(int(small.named.sum()), 1), "tone")
    if measured.seen > 1:
        return f"Since {since}, {tones} fell by more than {NEARLY}.{held} This is neither a finding nor good news."
    why = ONE_SCAN if measured.baseline.scans == 1 else ONE_DAY
    return (
        f"Since {since}, {tones} fell by more than a careful hand on soft pads makes of an unchanged plate, but no further than other supports may. {why}, so this is "
        f"neither a finding nor good news.{held}"
    )


def _damping(measured: Measured, since: str) -> str | None:
    """Of tones that die away sooner."""
    why = measured.loss.held_back
    if why is None:
        return None
    return (
        f"Since {since}, tones die away sooner than before. {LOSSES_HELD[why]} This is neither a finding nor good news."
    )
