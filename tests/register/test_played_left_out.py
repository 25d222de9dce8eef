"""A scan of played notes has no tones of the plate: what holds a plate against others leaves it out."""

import datetime as dt

from tapscan.register.visit_entries import Visit
from tapscan.workflow import identity
from tapscan.workflow.pattern import references_of
from tapscan.workflow.visit import known_of
from tests.register import built

PLAYED = {"played": True}


def test_only_taps_are_held_against_other_plates(register, stored):
    stored(b"notes", reading=PLAYED)
    assert references_of(register, "parlour grand") == []
    assert identity._own(register, "B12", None) == []
    taps = stored()
    stored(b"again", reading=PLAYED)
    assert [r.name for r in references_of(register, "parlour grand")] == [taps.name]
    assert [e.name for e in identity._own(register, "B12", None)] == [taps.name]


def test_played_notes_of_an_earlier_day_are_nothing_to_compare_a_visit_with(register, stored):
    visit = Visit("B12", built.DAY + dt.timedelta(1))
    stored(b"notes", reading=PLAYED)
    assert not known_of(register, visit).before
    stored()
    assert known_of(register, visit).before
