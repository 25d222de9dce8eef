"""Numbers and names as a sentence has them: one way for rules, report and screen.

with_sd(estimate)              "311.678 ± 0.0083", two significant digits of the standard deviation
number(value, digits)          significant digits, no exponent for everyday sizes
decibels(value)                one decimal
odds(log)                      "3600 to 1"
weight_odds(log)               the same, no larger than what counts bear out
within(estimate)               as with_sd, two standard deviations: what readers are shown (PLUS_MINUS says so)
counted(n, word)               "1 tap", "3 taps"
small(text)                    with a small first letter
spelled(n)                     "none", "one", ... in letters as far as there are words for it here
listed(names, most)            "S1, S2 and S3", cut short in words after `most`
each_day_once(days)            "2026-03-14 (2 scans)" where a day is there twice
listed_or(names)               "a screw; a hook; or a pad"
argument(name)                 as it is typed on a command line: in quotes where it holds a blank
quantity(value, unit)          "12.2 dB"
unknown(reason)                the word and why
minus(text)                    true minus signs
"""

import re
from collections import Counter
from collections.abc import Sequence
from math import ceil, exp, floor, isfinite, log10
from math import log as math_log

from tapscan.estimate import Estimate

UNKNOWN = "unknown"
PLUS_MINUS = "\N{PLUS-MINUS SIGN}: 19 of 20 readings lie within (two standard deviations)."
TOLD_ODDS = 10.0  # of a weight against a crack: weights are taken for cracks in 7 of 115, light ones in most (docs/comparison.md)
WORDS = (
    "none",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def minus(text: str) -> str:
    """Hyphens that stand for a sign before a figure become true minus signs."""
    return re.sub(r"(^|(?<=[\s(]))-(?=\d)", "\N{MINUS SIGN}", text)


def unknown(reason: str | None) -> str:
    """The word and why."""
    return f"{UNKNOWN}: {reason or 'no reason given'}"


def each_day_once(days: Sequence[str]) -> list[str]:
    """Days of scans; of those of one day how many there are."""
    return [f"{day} ({n} scans)" if n > 1 else day for day, n in Counter(days).items()]


def listed_or(names: Sequence[str]) -> str:
    """As choices; empty without names."""
    return "; ".join([*names[:-1], f"or {names[-1]}"]) if len(names) > 1 else "".join(names)


def quantity(value: float | str | None, unit: str) -> str:
    """A figure with its unit, three significant digits and no idle zeros; text as it stands."""
    if isinstance(value, str):
        return value
    text = number(value, 3)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text if unit == "1" or text == UNKNOWN else f"{text} {unit}"


def with_sd(estimate: Estimate, places: int = 7) -> str:
    """Value ± standard deviation, to two significant digits of the latter, at most `places` decimals."""
    value, spread = estimate.value, estimate.sd
    if value is None or not isfinite(value):
        return UNKNOWN
    if spread is None or not isfinite(spread) or spread <= 0:
        return f"{number(value, 4)} ± {UNKNOWN}"
    wanted = 1 - floor(log10(spread))
    if wanted > places:
        least = 10.0**-places
        told = f"under {least:.{places}f}" if spread < least else f"{ceil(spread / least) * least:.{places}f}"
        return f"{minus(f'{value:.{places}f}')} ± {told}"
    shown = max(0, wanted)
    return f"{minus(f'{round(value, wanted):.{shown}f}')} ± {round(spread, wanted):.{shown}f}"


def number(value: float | None, digits: int = 3) -> str:
    """`digits` significant digits; unknown as a word."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    places = digits - 1 - floor(log10(abs(value)))
    return minus(f"{round(value, places):.{max(0, min(places, 9))}f}")


def odds(log: float) -> str:
    """From their natural logarithm: "3600 to 1", "1 to 20"; beyond a million they are not told apart."""
    times = number(min(exp(abs(log)), 1e6), 2)
    return f"{times} to 1" if log >= 0 else f"1 to {times}"


def weight_odds(log: float) -> str:
    """A model's odds of a million to one would read as a proof; beyond TOLD_ODDS they are not told apart."""
    if abs(log) <= math_log(TOLD_ODDS):
        return odds(log)
    return f"more than {TOLD_ODDS:.0f} to 1" if log > 0 else f"less than 1 to {TOLD_ODDS:.0f}"


def within(estimate: Estimate, places: int = 7) -> str:
    """Value ± two standard deviations."""
    spread = None if estimate.sd is None else 2 * estimate.sd
    return with_sd(Estimate(estimate.value, spread), places)


def small(text: str) -> str:
    """With a small first letter."""
    return text[:1].lower() + text[1:]


def decibels(value: float | None) -> str:
    """One decimal, which is finer than any of these levels is known."""
    return UNKNOWN if value is None or not isfinite(value) else minus(f"{value:.1f}")


def counted(n: int, word: str) -> str:
    """A number with its noun."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def listed(names: Sequence[str], most: int | None = None) -> str:
    """Names as a sentence has them; empty without names."""
    if most is not None and len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def argument(name: str) -> str:
    """One word of a command that is shown; what a shell would part or read for itself stands in quotes."""
    if re.fullmatch(r"[\w./:@%+,=-]+", name) and not name.startswith("-"):
        return name
    return '"' + re.sub(r'(["\\$`])', r"\\\1", name) + '"'


def spelled(count: int) -> str:
    """A count in letters."""
    return WORDS[count] if count < len(WORDS) else str(count)
