"""The first words of a result: one or two plain sentences without a figure, for somebody who knows nothing of sound.

plain_of(indication)         the rule's own words for one finding
told_plainly(indication, c)  the same as two or three sentences, `c`: what its scan was compared with
what_waits(state, rules)     what must not be done while these rules' findings are open; empty where nothing
compared_plainly(c, state)   the findings of a comparison so, and what waits
not_decided(state)           who says whether the work goes on
in_plain_words(screening)    headline, first sentence and meaning of the whole result
since(comparison)            when the earlier scans were made, in words

Findings take theirs from the rule's file; what is said where nothing was found, or where there is no answer, stands here by headline.
"""

import datetime as dt
from collections.abc import Iterable

from msgspec.structs import replace

from tapscan.places import State
from tapscan.records import Comparison, Indication, Screening
from tapscan.screening import disposition as d
from tapscan.screening import played_notes
from tapscan.screening.next_steps import held, suspected
from tapscan.screening.rule import Plain
from tapscan.screening.rules import rule_named
from tapscan.screening.spared_checks import NOT_READ
from tapscan.screening.step import COATED

BEFORE = "the earlier scan"
NOT_CLEARED = (
    "A finding that goes away by itself is not explained by that. Until its cause is known, treat it as standing."
)
MISSED = "A crack may still be there: many cannot be heard by tapping"
EYE_TOO = "And the eye saw what may be a crack."
NO_WORD = "That is neither good news nor bad about the plate."
FINDING = Plain("", "The plate sounds unusual.", "What that means is told below.")
HEADLINES: dict[str, Plain] = {
    d.NOTHING: Plain(
        "",
        "These taps showed nothing unusual.",
        f"{MISSED}.",
    ),
    d.ALONE: Plain(
        "",
        "These taps by themselves showed nothing unusual.",
        "Whether the plate has changed is not known: the scans could not be compared.",
    ),
    d.STANDS: Plain(
        "",
        "Nothing new was heard. What an earlier scan found is still there.",
        "The earlier finding still has to be explained.",
    ),
    d.STANDS_ALONE: Plain(
        "",
        "What an earlier scan found is still there.",
        "Whether anything else has changed is not known: the scans could not be compared.",
    ),
    d.OPEN: Plain("", "Nothing unusual was heard this time, but an earlier scan had found something.", NOT_CLEARED),
    d.OPEN_ALONE: Plain(
        "", "Nothing unusual was heard this time, but an earlier scan had found something.", NOT_CLEARED
    ),
    d.NO_ANSWER_STANDS: Plain(
        "",
        "This scan gives no answer. What an earlier scan found is still there.",
        "The earlier finding still has to be explained.",
    ),
    d.NO_ANSWER_OPEN: Plain("", "This scan gives no answer, and an earlier scan had found something.", NOT_CLEARED),
    d.CONFIRMED: Plain(
        "", "A person has examined this plate and found a flaw.", "The examination counts for more than any tap test."
    ),
    d.EYE: Plain(
        "",
        "The taps showed nothing unusual, but the eye saw what may be a crack.",
        "Here the eye counts for more than the taps.",
    ),
    d.EYE_NO_ANSWER: Plain(
        "",
        "The taps give no answer, but the eye saw what may be a crack.",
        "Here the eye counts for more than the taps.",
    ),
    d.REPEAT: Plain("", "These taps are not good enough to say anything about the plate.", NO_WORD),
    d.BUZZED: Plain(
        "",
        "Something buzzed while the plate was tapped.",
        "Most often that is a loose part; a crack can buzz too. This test cannot tell which.",
    ),
    d.UNDECIDED: Plain(
        "", "This test cannot judge a plate in the piano.", "That is neither good news nor bad news about the plate."
    ),
    d.SAME_AFTER_JOB: Plain(
        "",
        "No change was heard beyond what a job does.",
        "A small crack may pass unheard. One that was there before, or that the strings press shut, does not show at all.",
    ),
    d.SAME_AFTER_SEASONS: Plain(
        "",
        "No large change of the plate was heard, and small ones cannot be told in the piano.",
        "That is neither good news nor bad about the plate.",
    ),
}
HEADLINES[NOT_READ] = Plain(
    "", "These taps were read as those of a plate in its piano, so most checks were not made.", NO_WORD
)
HEADLINES[played_notes.SILENT] = Plain(
    "",
    "Nothing buzzed along with the notes, and no tone rang on after them.",
    "That is neither good news nor bad news about the plate: notes do not show a crack.",
)
HEADLINES[played_notes.NO_ANSWER] = Plain("", "The notes in this recording could not be heard well enough.", NO_WORD)
HEADLINES[d.BUZZED_AGAIN] = HEADLINES[d.BUZZED]
BEGINNINGS: tuple[tuple[str, Plain], ...] = (
    (d.PART_ONLY, Plain("", "Only a part of the plate was tapped.", "Nothing unusual was heard there, but nothing is known of the rest. That is no answer for the plate, and the work on it waits.")),
    (d.DOUBTFUL, Plain("", "It is not sure that this scan is of this plate, tapped in this order.", "Until somebody has made sure, nothing can be concluded.")),
)  # fmt: skip


def plain_of(indication: Indication) -> Plain:
    """A rule of another version has no words here."""
    rule = rule_named(indication.rule)
    rows = rule.plain if rule else ()
    return next((plain for begins, plain in rows if indication.id.startswith(begins)), FINDING)


def told_plainly(indication: Indication, comparison: Comparison | None) -> str:
    """As the first words of its own scan."""
    plain = plain_of(indication)
    return f"{plain.first.format(since=since(comparison))} {plain.means}"


def what_waits(state: State | None, rules: Iterable[str]) -> str:
    """The first step of a suspected plate."""
    of_plate = [name for name in rules if name not in d.NOTES]
    steps = suspected(state, of_plate) if of_plate else ()
    return steps[0].text if held(steps) else ""


def compared_plainly(comparison: Comparison, state: State | None) -> tuple[str, ...]:
    """Empty where it made no finding: then its summary is plain enough."""
    found = [i for i in comparison.indications if i.interpretation == "relevant"]
    told = dict.fromkeys(told_plainly(i, comparison) for i in found)
    waits = what_waits(state, [i.rule for i in found])
    return (*told, *([waits] if waits else []))


def in_plain_words(screening: Screening) -> Plain:
    """Of what weighs most: a finding that is relevant and not known from before, else what the headline says."""
    new = [i for i in screening.indications if i.interpretation == "relevant" and i.status != "unchanged"]
    if screening.headline.startswith(d.LOOK) and new:
        found = plain_of(new[0])
        return Plain(found.headline, found.first.format(since=since(screening.comparison)), found.means)
    if screening.headline == d.NOTHING:
        return _nothing(screening)
    by_beginning = (plain for begins, plain in BEGINNINGS if screening.headline.startswith(begins))
    return HEADLINES.get(screening.headline) or next(by_beginning, FINDING)


def _nothing(screening: Screening) -> Plain:
    """Alone, or without a change since an earlier scan."""
    decided = not_decided(screening.scan.state)
    if not screening.comparison or not screening.comparison.good_news:
        return replace(HEADLINES[d.NOTHING], means=f"{MISSED}. {decided}")
    means = f"{MISSED}, and one that was there already then would not show as a change. {decided}"
    return Plain("", f"These taps show no change of the plate since {since(screening.comparison)}.", means)


def not_decided(state: State | None) -> str:
    """On a plate with its finish on, only the strings are still to come."""
    what = "strings" if state in COATED else "finish and strings"
    return f"Whether {what} may be put on is for a qualified person to decide, not for this test."


def since(comparison: Comparison | None) -> str:
    """Month and year where they are one; the days stand in the figures."""
    if comparison is None:
        return BEFORE
    months = sorted({m for name in comparison.baselines if (m := _month(name))})
    if len(months) != 1:
        return BEFORE if not months else f"the scans of {_told(months[0])} to {_told(months[-1])}"
    return _told(months[0])


def _month(scan: str) -> tuple[int, int] | None:
    """Of a scan's name, PLATE/DATE[-n]."""
    try:
        day = dt.date.fromisoformat(scan.rpartition("/")[2][:10])
    except ValueError:
        return None
    return day.year, day.month


MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def _told(month: tuple[int, int]) -> str:
    return f"{MONTHS[month[1] - 1]} {month[0]}"


def headline(plain: Plain, said: str) -> str:
    """With what was found, so that two different findings never read alike."""
    return f"{said}: {plain.headline}" if plain.headline and said == d.LOOK else said
