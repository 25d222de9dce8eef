"""What the eye saw is neither lost nor turned round: from the list to every first screen, until an examination says what it is."""

import datetime as dt
from pathlib import Path

import pytest
from msgspec.structs import asdict, replace

from tapscan.errors import BadRequest
from tapscan.places import CHECKLIST, IN_PIANO, STATES
from tapscan.register import tables as t
from tapscan.register.corrections import void_scan
from tapscan.register.entries import CLEAN, IN_IRON, PART, SEEN, Finding, Outcome, checklist_in
from tapscan.register.scans import add_outcome, edit_scan, find_scan, list_scans
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.screening.disposition import EYE, MAY_BE, NOTHING, OPEN
from tapscan.screening.next_steps import CRACK_TEST
from tapscan.settings import Settings
from tapscan.workflow.at_a_glance import lines
from tapscan.workflow.conclude import conclude
from tapscan.workflow.evidence import newest_examined
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.notices import notices
from tapscan.workflow.reading import reading_of
from tapscan.workflow.standing import as_it_stands, later
from tapscan.workflow.still_open import EXAMINED, EYE_RULE, open_findings, unexamined
from tapscan.workflow.visit import known_of
from tapscan.workflow.write_report import Wish, write_report
from tests.every import each
from tests.register.conftest import put
from tests.register.test_mending import silent, standing

LINE = (Finding(IN_IRON, "seen", "S4: 2 cm"),)
TOLD = "a line or crack in the iron (S4: 2 cm)"
FIRST, LATER, LAST = "2026-03-14", "2026-04-01", "2026-05-01"


def found(register, name, words):
    add_outcome(register, name, Outcome(words, "penetrant", "A. Ulm", dt.date(2026, 4, 2)))


def kept_before(register, entry, outcome):
    """As a register may hold it from before such an outcome was refused."""
    told = {**asdict(outcome), "scan_id": entry.id, "entered_utc": "2026-06-01T10:00:00Z"}
    with register.writing() as connection:
        connection.execute(t.outcome.insert().values(told))


def sheets(register, name, tmp_path) -> list[str]:
    """The first words of the report and of the page for a buyer."""
    texts = []
    for wish in (Wish(), Wish(summary=True)):
        page = Path(write_report(register, name, tmp_path / "page.html", wish)).read_text(encoding="utf-8")
        texts.append(" ".join(page.partition("<body>")[2].partition("What to do next")[0].split()))
    return texts


def test_the_line_is_asked_for_first():
    assert next(iter(CHECKLIST)) == IN_IRON


@each("state", [None, *STATES])
def test_only_what_can_be_looked_at_is_asked(state):
    asked = {f.item for f in checklist_in(state, ())}
    assert IN_IRON in asked and "rust-line" in asked
    assert ("loose-nose-bolts" in asked) == (state is None or state in IN_PIANO)
    assert ("cracked-finish" in asked) == (state != "stripped")
    assert ("pitch-not-held" in asked) == (state in (None, "strung", "as-found"))
    assert "pitch-not-held" in {f.item for f in checklist_in(state, (Finding("pitch-not-held", "seen"),))}


def test_a_line_in_bare_iron_holds_finish_and_strings(register, tmp_path):
    entry = silent(register, FIRST, checklist=())
    assert standing(register, entry.name).headline == NOTHING
    edit_scan(register, entry.name, lambda e: replace(e, checklist=LINE))
    said = standing(register, entry.name)
    assert said.headline == EYE and said.disposition == "no relevant indication"
    assert said.next_steps[0].startswith("Workshop: Put no finish") and CRACK_TEST.line in said.next_steps
    assert all(TOLD in page for page in sheets(register, entry.name, tmp_path))
    whole = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert whole.count(TOLD) == 1 and MAY_BE not in whole, "the sentence goes from the figures with what it speaks of"
    assert any(TOLD in told for told in reading_of(register, entry.name).about.since)
    assert TOLD in reading_of(register, entry.name).short
    edit_scan(register, entry.name, lambda e: replace(e, checklist=()), "a file's scratch")
    assert standing(register, entry.name).headline == NOTHING


def test_what_was_taken_from_the_list_is_no_longer_said(register):
    entry = silent(register, FIRST, checklist=())
    stored = conclude(stored_screening(register, entry), Settings(), (), (TOLD,), (TOLD,))
    assert stored.headline == EYE and as_it_stands(register, entry, stored).headline == NOTHING


def test_beside_a_finding_both_are_told(register, tmp_path):
    entry = put(register, checklist=LINE)
    said = standing(register, entry.name)
    assert said.disposition == "relevant indication" and "eye saw" in said.lead and CRACK_TEST.line in said.next_steps
    assert all(TOLD in page and "eye saw" in page for page in sheets(register, entry.name, tmp_path))


def test_silent_taps_do_not_clear_it_and_only_an_explanation_closes_it(register):
    first = silent(register, FIRST, checklist=LINE).name
    later_one, last = (silent(register, day, checklist=()).name for day in (LATER, LAST))
    for words in (None, CLEAN + "strut 2", PART + "hook"):
        if words:
            found(register, first, words)
        assert [o.rule for o in open_findings(register, "B12")] == [EYE_RULE]
        said = standing(register, last)
        assert said.headline == OPEN and TOLD in said.summary and CRACK_TEST.line in said.next_steps
        assert FIRST in said.summary and "2 more scans" not in said.summary
    found(register, later_one, SEEN + "a scratch of a file")
    assert open_findings(register, "B12") == ()
    assert {standing(register, name).headline for name in (first, later_one, last)} == {NOTHING}
    assert any(TOLD in told for told in notices(register, find_scan(register, first), standing(register, first)))


def test_an_examination_dated_before_the_scan_is_refused(register):
    entry = silent(register, FIRST, checklist=LINE)
    for words in (SEEN + "a casting mark", CLEAN + "strut 2", PART + "hook", "crack, 40 mm"):
        early = Outcome(words, "lens", "A. Ulm", dt.date(2026, 3, 13))
        with pytest.raises(BadRequest, match="of 2026-03-13 cannot explain what was seen later, on 2026-03-14"):
            add_outcome(register, entry.name, early)
    assert find_scan(register, entry.name).outcomes == ()


def test_one_that_a_register_holds_already_closes_nothing(register):
    entry = silent(register, FIRST, checklist=LINE)
    flawed = put(register, checklist=()).name
    for words in (SEEN + "a casting mark", PART + "hook"):
        for name in (entry.name, flawed):
            kept_before(register, find_scan(register, name), Outcome(words, "lens", "A. Ulm", dt.date(1999, 1, 1)))
    for day in (LATER, LAST):
        silent(register, day, checklist=())
    opened = open_findings(register, "B12")
    assert EYE_RULE in {o.rule for o in opened} and len(opened) > 1 and not any(o.outcomes for o in opened)
    assert "look" in lines(register)[0].kinds and standing(register, entry.name).headline == EYE
    assert not newest_examined(list_scans(register), ()) and len(find_scan(register, entry.name).outcomes) == 2
    kept_before(register, entry, Outcome("crack, 40 mm", "lens", "A. Ulm", dt.date(1999, 1, 1)))
    assert EXAMINED in {o.rule for o in open_findings(register, "B12")}, "a flaw that was found is never lost"


def test_what_is_written_beside_an_item_that_was_not_seen_is_told(register, tmp_path):
    entry = silent(register, FIRST, checklist=(Finding("rust-line", "not seen", "hairline, 2 cm"),))
    assert standing(register, entry.name).headline == NOTHING
    told = "a line of rust, not seen: hairline, 2 cm"
    assert any(told in one for one in entry.by_eye)
    assert all(told in page for page in sheets(register, entry.name, tmp_path))


def test_a_line_seen_on_a_visit_stays_open_for_later_scans_and_visits(register):
    keep_visit(
        register, Visit("B12", dt.date.fromisoformat(FIRST), looks=(Look("struts", "note", (IN_IRON,), "2 cm"),))
    )
    on_the_day, entry = silent(register, FIRST, checklist=()), silent(register, LATER, checklist=())
    assert standing(register, on_the_day.name).headline == EYE
    assert standing(register, entry.name).headline == OPEN
    assert [(o.rule, o.visit) for o in open_findings(register, "B12")] == [(EYE_RULE, True)]
    known = known_of(register, Visit("B12", dt.date.fromisoformat(LAST)))
    assert known.advice.code == "eye" and known.opened == () and len(known.seen_before) == 1


def test_a_scans_own_line_reaches_a_later_visit(register):
    silent(register, FIRST, checklist=LINE)
    known = known_of(register, Visit("B12", dt.date.fromisoformat(LAST)))
    assert known.advice.code == "eye" and [o.rule for o in known.opened] == [EYE_RULE]


def test_the_list_of_plates_asks_for_an_examination(register):
    first = silent(register, FIRST, checklist=LINE).name
    silent(register, LATER, checklist=())
    (line,) = lines(register)
    assert "look" in line.kinds and FIRST in line.seen
    found(register, first, SEEN + "a scratch of a file")
    (line,) = lines(register)
    assert "look" not in line.kinds and not line.seen


def test_a_silent_scan_does_not_take_an_unexamined_finding_off_the_list_of_plates(register):
    flawed = put(register, checklist=()).name
    silent(register, LATER, checklist=())
    (line,) = lines(register)
    assert "look" in line.kinds and unexamined(open_findings(register, "B12"))
    found(register, flawed, CLEAN + "strut 2")
    (line,) = lines(register)
    assert "look" not in line.kinds and not unexamined(open_findings(register, "B12"))


def test_an_older_scan_says_what_the_newest_found(register, tmp_path):
    first = silent(register, FIRST, checklist=()).name
    assert later(register, find_scan(register, first)) == ()
    silent(register, LATER, checklist=())
    last = put(register, date=dt.date.fromisoformat(LAST), checklist=()).name
    (newer,) = later(register, find_scan(register, first))
    headline = standing(register, last).headline
    assert newer.name == last and headline in newer.told and headline != NOTHING
    assert later(register, find_scan(register, last)) == ()
    assert all(page.index(headline) < page.index(NOTHING) for page in sheets(register, first, tmp_path))
    assert reading_of(register, first).later == (newer,)
    void_scan(register, last, "wrong plate", dt.date.fromisoformat(LAST))
    (newer,) = later(register, find_scan(register, first))
    assert newer.name.endswith(LATER)
