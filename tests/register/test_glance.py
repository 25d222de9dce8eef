"""Every plate in a line, held against what the plates' own pages would say."""

import datetime as dt

from msgspec.structs import replace

from tapscan.places import STATES
from tapscan.register.corrections import void_scan
from tapscan.register.entries import Outcome, Plate
from tapscan.register.glance import Glance, glance
from tapscan.register.plates import add_plate, retire_plate
from tapscan.register.scans import add_outcome, add_screening, list_scans
from tapscan.screening.next_steps import HOLDS_BUZZ, HOLDS_PART, KEEP, READ_AGAIN
from tapscan.screening.short_steps import EXAMINE, SHORT
from tapscan.workflow.at_a_glance import Standing, _of_flaw, _told, lines, months_later
from tests.every import each
from tests.register import built
from tests.register.conftest import put
from tests.register.test_seen_by_eye import kept_before


def test_a_line_holds_what_its_scans_say(register):
    """By another road: from the list of scans."""
    first = put(register, b"one", baseline=True)
    put(register, b"two", baseline=True)
    last = put(register, b"three")
    add_outcome(register, first.name, Outcome("crack", "penetrant", "A. Ulm", dt.date(2026, 5, 1)))
    add_outcome(register, first.name, Outcome("nothing", "replica", "A. Ulm", dt.date(2026, 4, 1)))
    add_plate(register, Plate("C7"))
    line, empty = glance(register)
    scans = list_scans(register, "B12")
    assert (line.plate, line.scans, line.baselines) == ("B12", len(scans), sum(s.baseline for s in scans))
    assert (line.scan, line.date, line.headline) == (last.name, last.date, last.current.headline)
    assert line.disposition == last.current.disposition
    assert line.outcome is not None and line.outcome.found == "crack"
    assert (empty.plate, empty.scans, empty.scan, empty.outcome) == ("C7", 0, None, None)


def test_crossed_out_scans_and_plates_out_of_the_list_do_not_count(register):
    first, second = put(register, b"one"), put(register, b"two")
    void_scan(register, second.name, "another plate", dt.date(2026, 5, 1))
    assert [(g.scan, g.scans) for g in glance(register)] == [(first.name, 1)]
    retire_plate(register, "B12", dt.date(2026, 5, 2), None)
    assert glance(register) == []
    assert [g.plate for g in glance(register, retired=True)] == ["B12"]


def test_a_finding_is_next_until_somebody_examined_it_on_or_after_that_day(register):
    scan = put(register)
    assert scan.current.disposition == "relevant indication"
    before = Outcome("nothing", "replica", "A. Ulm", scan.date - dt.timedelta(days=1))
    for outcome, open_ in ((None, True), (before, True), (Outcome("nothing", "replica", "A. Ulm", scan.date), False)):
        if outcome is before:
            kept_before(register, scan, before)
        elif outcome:
            add_outcome(register, scan.name, outcome)
        assert ("look" in lines(register)[0].kinds) is open_


def test_only_the_reading_that_counts_says_what_was_found(register):
    """An earlier one had found something; the newest scan says so no more, nor does an older scan of the plate."""
    for content in (b"one", b"two"):
        scan = put(register, content)
        silent = replace(built.screening(()), disposition="no relevant indication", headline="Nothing", indications=())
        add_screening(register, scan.name, built.made(silent))
    (line,) = glance(register)
    assert (line.headline, line.disposition, line.found_on) == ("Nothing", "no relevant indication", None)
    put(register, b"three")
    last = put(register, b"four")
    add_screening(register, last.name, built.made(silent))
    (line,) = glance(register)
    assert (line.headline, line.found_on) == ("Nothing", last.date), "an older scan's finding stands"


@each("first", [READ_AGAIN, *HOLDS_BUZZ, *HOLDS_PART])
def test_a_finding_that_nobody_examined_comes_before_what_is_read_or_tapped_again(first):
    """Of notes: it makes no plate suspected, so that the newest scan's own steps are what else is next."""
    quiet = Glance("B12", None, None, None, scans=1, date=DAYS[0][0], next_steps=(first.line, KEEP.line))
    now = Standing((), False, (first, KEEP))
    told = [_told(g, now, None, DAYS[0][0]).get("look") for g in (quiet, replace(quiet, found_on=DAYS[0][0]))]
    assert told == [None, EXAMINE] and now.first == SHORT[first]


def test_of_a_suspected_plate_no_baseline_scans_are_asked_for():
    """Its page says that these can wait until what is open is settled."""
    g = Glance("B12", None, None, None, scans=1, date=DAYS[0][0], flawed=True)
    suspected, free = (_told(g, Standing((), s, ()), DAYS[0][0], DAYS[0][0]) for s in (True, False))
    assert (suspected.keys() & {"baseline", "due"}, free.keys() & {"baseline", "due"}) == ({"due"}, {"baseline", "due"})


@each("state", [None, *STATES])
def test_a_plate_with_a_flaw_is_among_those_to_look_at(state):
    """Somebody has to decide about it; out of the piano, too."""
    g = Glance("B12", None, None, None, scans=1, date=DAYS[0][0], flawed=True, state=state)
    assert _told(g, _of_flaw(state), None, DAYS[0][0]).keys() == {"look"}


DAYS = (
    (dt.date(2026, 1, 31), 1, dt.date(2026, 2, 28)),
    (dt.date(2024, 1, 31), 1, dt.date(2024, 2, 29)),
    (dt.date(2026, 12, 5), 1, dt.date(2027, 1, 5)),
    (dt.date(2026, 3, 14), 12, dt.date(2027, 3, 14)),
    (dt.date(2026, 11, 30), 27, dt.date(2029, 2, 28)),
)


@each(("day", "months", "later"), DAYS)
def test_months_later(day, months, later):
    assert months_later(day, months) == later
