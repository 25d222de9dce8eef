"""Which examination may settle what was seen: what a register takes in and what counts of older ones are one rule."""

import datetime as dt

import pytest

from tapscan.errors import BadRequest
from tapscan.register.entries import CLEAN, Outcome, later_outcomes
from tapscan.register.outcomes import sound_outcome
from tapscan.screening.next_steps import HOLDS, HOLDS_BUZZ
from tapscan.screening.short_steps import EXAMINE, REPEAT, SHORT, in_short, look_in_short, repeat_in_short
from tests.every import each

SEEN = dt.date(2026, 3, 14)


@each(("days", "counts"), [(-1, False), (0, True), (1, True)])
def test_what_is_taken_in_is_what_counts(days, counts):
    found = Outcome(f"{CLEAN}all struts", "penetrant", "D. Petrov", SEEN + dt.timedelta(days))
    assert bool(later_outcomes([found], SEEN)) == counts
    if counts:
        sound_outcome(found, SEEN)
    else:
        with pytest.raises(BadRequest, match="later"):
            sound_outcome(found, SEEN)
    flaw = Outcome("crack in strut 2", "penetrant", "D. Petrov", SEEN + dt.timedelta(days))
    assert later_outcomes([flaw], SEEN), "a flaw counts in any case"


def test_what_nobody_has_looked_at_goes_before_another_scan():
    again, held = next(iter(HOLDS_BUZZ)), next(iter(HOLDS))
    assert in_short([again]) == SHORT[again] and look_in_short([again]) == EXAMINE
    assert look_in_short([again, held]) == SHORT[held]
    assert repeat_in_short([]) == REPEAT and repeat_in_short([held]) == SHORT[held]
