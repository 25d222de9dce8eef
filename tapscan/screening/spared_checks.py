"""A scan that was read as one of a plate in its piano, where most checks are left out, and by now is known to be of a bare plate.

spared(outcome)     the Outcome of a silent one: no answer until it is read anew
"""

from tapscan.screening import disposition as d
from tapscan.screening.next_steps import READ_ANEW, read_again

NOT_READ = "No answer: the scan must be read anew"
SAID = "The taps were read as those of a plate in its piano, where most checks are left out. So that nothing was found says little."
HEADLINES = {d.NOTHING: NOT_READ, d.ALONE: NOT_READ, d.EYE: d.EYE_NO_ANSWER}
HEADLINES |= {
    d.STANDS: d.NO_ANSWER_STANDS,
    d.STANDS_ALONE: d.NO_ANSWER_STANDS,
    d.OPEN: d.NO_ANSWER_OPEN,
    d.OPEN_ALONE: d.NO_ANSWER_OPEN,
}


def spared(outcome: d.Outcome) -> d.Outcome:
    """What was found stays found."""
    if outcome.disposition != "no relevant indication":
        return outcome
    headline = HEADLINES.get(outcome.headline, outcome.headline)
    return d.Outcome("inconclusive", headline, f"{SAID} {outcome.summary}", read_again(outcome.steps, READ_ANEW))
