"""What may stand in a settings file in the place of a threshold, told from its unit and its name.

within(threshold, value)   whether the value may stand there
range_told(threshold)      the range in words

A sign at least: times, frequencies, counts, scatters and factors are never negative, shares lie between 0 and 1, iron grows no stiffer in
the warmth. Levels in decibels, odds and slopes may be either.
"""

from tapscan.settings.definition import Threshold

EITHER = ("dB", "log odds", "ln for each 1")  # how units of either sign begin
SHARES = ("share", "chance", "correlation", "reach")  # how names of shares end
SWITCH = "0 or 1"
BY_WARMTH = "1/K"


def within(threshold: Threshold, value: float) -> bool:
    """Both ends count."""
    least, most = _ends(threshold)
    whole = threshold.unit != SWITCH or value in (0, 1)
    return whole and (least is None or value >= least) and (most is None or value <= most)


def range_told(threshold: Threshold) -> str:
    """Such as: a number of 0 or more (s)."""
    least, most = _ends(threshold)
    if threshold.unit == SWITCH:
        return SWITCH
    if least is not None and most is not None:
        return f"a number from {least:g} to {most:g}"
    unit = "" if threshold.unit == "1" else f" ({threshold.unit})"
    if least is not None:
        return f"a number of {least:g} or more{unit}"
    return f"a number of {most:g} or less{unit}" if most is not None else f"any number{unit}"


def _ends(threshold: Threshold) -> tuple[float | None, float | None]:
    if threshold.unit.startswith(EITHER):
        return None, None
    if threshold.unit == BY_WARMTH:
        return None, 0.0
    share = threshold.unit == "1" and threshold.name.rpartition("_")[2] in SHARES
    return 0.0, 1.0 if share or threshold.unit == SWITCH else None
