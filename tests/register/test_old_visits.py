"""An old visit's document, written today, tells what has been found since."""

import datetime as dt

from tapscan.register.scans import add_outcome
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.screening.next_steps import held
from tapscan.screening.rules import ringing_on
from tapscan.workflow.visit import known_of
from tapscan.workflow.write_visit import GO_BY_NOW, caution_lines, visit_sheet
from tests.register.test_played_scans import play
from tests.register.test_same_places import tapped
from tests.register.test_visits import examined

QUIET = Visit("B12", dt.date(2026, 1, 5), state="strung", looks=(Look("struts", "nothing"),))


def test_an_old_visit_tells_of_a_later_flaw_and_its_steps_go_by_it(register):
    visit = keep_visit(register, QUIET)
    before = known_of(register, visit)
    assert not before.later and not before.stop and GO_BY_NOW not in caution_lines(before)
    add_outcome(register, tapped(register, "2026-03-01", "grand-short", silent=True).name, examined("crack, 40 mm"))
    now = known_of(register, visit)
    first, second, *_ = visit_sheet(register, now).cautions
    assert "crack, 40 mm" in first and "2026-03-01" in first and second == GO_BY_NOW
    assert held(now.advice.given) and now.advice.headline == before.advice.headline
    same_day = keep_visit(register, Visit("B12", dt.date(2026, 3, 1), state="stripped"))
    assert not known_of(register, same_day).later, "its own day's scan stands in it already"


def test_what_notes_showed_later_is_told_and_stops_nothing(register):
    visit = keep_visit(register, QUIET)
    steps = known_of(register, visit).advice.steps
    play(register, "2026-03-01", ringing_on.NAME, checklist=())
    now = known_of(register, visit)
    assert [o.rule for o in now.later] == [ringing_on.NAME] and now.advice.steps == steps and not now.stop
