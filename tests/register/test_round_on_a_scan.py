"""A scan knows what the visit of its day went round and found, so that no page of it says that nobody looked or examined."""

import datetime as dt
from pathlib import Path

from tapscan.places import REGIONS
from tapscan.register.entries import IN_IRON, SEEN, Finding, Outcome
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_outcome, keep_visit
from tapscan.report.first_screen import NOBODY
from tapscan.workflow.notices import notices
from tapscan.workflow.round_words import seen_rows
from tapscan.workflow.write_report import Wish, write_report
from tests.cli.commands import flat, run
from tests.register.test_mending import silent, standing
from tests.report.reading import Reading

DAY = dt.date(2026, 3, 14)
ROUND = (
    *(Look(r, "nothing") for r in REGIONS if r not in ("corners", "horn")),
    Look("corners", "note", (IN_IRON,), "2 cm"),
)
NOT_LOOKED = "not looked at"
FLAW = Outcome("crack, 20 mm", "penetrant", "A. Ulm", DAY)


def visited(register, date=DAY):
    return keep_visit(register, Visit("B12", date, state="strung", looks=ROUND))


def read(register, name, folder, **wish) -> str:
    page = write_report(register, name, folder / "page.html", Wish(**wish))
    return flat(Reading(Path(page).read_text(encoding="utf-8")).text)


def test_a_scan_of_that_day_says_what_the_visit_went_round(register, tmp_path):
    entry = silent(register, DAY.isoformat(), checklist=(Finding("rust-line", "not seen"),))
    assert len(seen_rows(register, entry)) == 8, "before the visit the list is all there is"
    visited(register)
    rows = seen_rows(register, entry)
    answers = [answer for _, answer, _ in rows]
    assert NOT_LOOKED not in answers and answers[0] == "not seen" and "2 cm" in rows[1][2]
    assert any(REGIONS["rim"] in note for *_, note in rows)
    told = flat(run("scan", "show", entry.name, "--register", register.folder).out)
    assert REGIONS["rim"] in told and f"iron: {NOT_LOOKED}" not in told
    for wish in ({}, {"full": True}):
        page = read(register, entry.name, tmp_path, **wish)
        assert REGIONS["rim"] in page and "Nobody has noted" not in page


def test_another_day_s_visit_says_nothing_of_it(register):
    entry = silent(register, "2026-03-15", checklist=())
    before = seen_rows(register, entry)
    visited(register)
    assert seen_rows(register, entry) == before


def test_what_an_examination_found_at_a_visit_stands_on_the_scan_of_that_day_and_a_flaw_on_every_one(
    register, tmp_path
):
    earlier, same, after = (silent(register, day, checklist=()) for day in ("2026-03-13", "2026-03-14", "2026-03-15"))
    visit = visited(register)
    assert NOBODY in read(register, same.name, tmp_path).lower()
    add_look_outcome(register, visit, "corners", Outcome(SEEN + "the lacquer", "replica", "B. Ulm", DAY))
    page = read(register, same.name, tmp_path)
    assert NOBODY not in page.lower() and "B. Ulm" in page
    add_look_outcome(register, visit, "corners", FLAW)
    for entry in (same, after):
        page = read(register, entry.name, tmp_path)
        assert NOBODY not in page.lower() and FLAW.found in page
    assert any(
        FLAW.told in told and told.startswith("Found later")
        for told in notices(register, earlier, standing(register, earlier.name))
    )
