"""A finding that goes away is not cleared: from the register to the first screen."""

import datetime as dt
import hashlib

from msgspec.structs import replace

from tapscan.register.entries import PART, Outcome
from tapscan.register.files import keep_bytes
from tapscan.register.scans import add_outcome, store_scan
from tapscan.screening.disposition import CONFIRMED, NOTHING, OPEN
from tapscan.settings import Settings
from tapscan.workflow.conclude import conclude
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.snapshots import same_as_before


def put(register, day, *, silent):
    """One stored scan of that day, with the one relevant indication of `built` or without."""
    content = day.encode()
    result = built.screening((hashlib.sha256(content).hexdigest(),))
    if silent:
        result = conclude(replace(result, indications=()), Settings())
        assert result.headline == NOTHING
    file = keep_bytes(register.folder, content, "S1_1.wav")
    return store_scan(register, "B12", built.new_scan(date=dt.date.fromisoformat(day)), built.made(result), [file])


def examined(register, entry, found):
    told = Outcome(found, "magnetic particles", "A. Person", dt.date(2026, 3, 20))
    add_outcome(register, entry.name, told)
    return told


def now(register):
    """The scan at hand, silent by itself."""
    alone = conclude(replace(built.screening(("ff" * 32,)), indications=()), Settings())
    opened = open_findings(register, "B12", (dt.date(2026, 9, 1), 1), alone)
    return conclude(alone, Settings(), opened)


def test_one_silent_scan_leaves_the_finding_in_headline_summary_and_steps(register):
    (found, _) = stored_screening(register, put(register, "2026-03-14", silent=False)).indications
    said = now(register)
    assert said.headline == OPEN and said.disposition == "no relevant indication"
    assert "2026-03-14" in said.summary and found.sentence in said.summary
    same_as_before("summaries", said.summary, part="an earlier finding that nobody examined")
    assert said.next_steps[0].startswith("Workshop: Put no finish") and any(
        "Ask the owner" in s for s in said.next_steps
    )


def test_silent_scans_alone_never_clear_it(register):
    put(register, "2026-03-14", silent=False)
    for day in ("2026-04-01", "2026-05-01", "2026-06-01"):
        put(register, day, silent=True)
    assert now(register).headline == OPEN


def test_a_named_part_and_two_silent_scans_clear_it(register):
    examined(register, put(register, "2026-03-14", silent=False), PART + "hook at the tail")
    assert now(register).headline == OPEN, "one silent scan only: the one at hand"
    put(register, "2026-04-01", silent=True)
    assert now(register).headline == NOTHING
    put(register, "2026-05-01", silent=False)
    assert now(register).headline == OPEN, "it came back"


def test_a_confirmed_crack_never_vanishes(register):
    found = examined(register, put(register, "2026-03-14", silent=False), "crack in strut 2, 60 mm")
    for day in ("2026-04-01", "2026-05-01"):
        put(register, day, silent=True)
    said = now(register)
    assert said.headline == CONFIRMED
    assert all(told in said.summary for told in (found.found, found.method, found.by_whom, str(found.on)))
    same_as_before("summaries", said.summary, part="a crack that an examination found")


def test_scans_after_the_one_at_hand_do_not_speak(register):
    put(register, "2026-12-01", silent=False)
    assert now(register).headline == NOTHING
    assert [o.scan for o in open_findings(register, "B12")] == ["B12/2026-12-01"]
