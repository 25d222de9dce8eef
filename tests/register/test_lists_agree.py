"""What a list says of a scan, and what comes next on its plate, is what the scan's own page says: whatever came in, was taken back or came late."""

import csv
import datetime as dt
import hashlib
import json
import random
from contextlib import suppress

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.plain_values import plain
from tapscan.records import Doubt, Fingerprint
from tapscan.register.corrections import move_scan, restore_scan, void_scan
from tapscan.register.entries import CLEAN, IN_IRON, PART, SEEN, Finding, Outcome, Plate
from tapscan.register.files import keep_bytes
from tapscan.register.on_record import plate_on_record
from tapscan.register.plates import add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, edit_scan, list_scans, store_scan
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_outcome, find_visit, keep_visit, list_visits
from tapscan.screening.disposition import CONFIRMED, EYE_NO_ANSWER, LOOK, NOTHING, OPEN
from tapscan.screening.next_steps import HOLDS, STOP, STOP_UNKNOWN, STOP_UNSTRUNG
from tapscan.settings import Settings
from tapscan.workflow.as_listed import headings, lines_of, scan_lines
from tapscan.workflow.at_a_glance import as_they_stand, lines, next_of
from tapscan.workflow.conclude import conclude
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.standing import VOID, as_it_stands
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.visit import known_of
from tests.register import built

STOPS = tuple(s.line for s in (STOP, STOP_UNSTRUNG, STOP_UNKNOWN))
ASKS_TO_TAP = ("Repeat", "Scan it", "Due again", "scan it")
EXAMINED = ("magnetic particles", "A. Person")


def scanned(register, day, *, found=False, state="stripped", plate="B12", **changes):
    """One scan as an import stores it, with all that is known by then."""
    content = f"{plate} {day} {random.random()}".encode()
    alone = built.screening((hashlib.sha256(content).hexdigest(),))
    alone = replace(
        alone, scan=replace(alone.scan, state=state), indications=alone.indications[:1] if found else (), summary=""
    )
    date, number = (
        dt.date.fromisoformat(day),
        1 + sum(e.date.isoformat() == day for e in list_scans(register, plate, void=True)),
    )
    conditions = replace(built.CONDITIONS, state=state)
    new = built.new_scan(**{"date": date, "conditions": conditions, "checklist": (), **changes})
    opened = open_findings(register, plate, (date, number), alone)
    result = conclude(alone, Settings(), opened, *seen_that_day(plate_on_record(register, plate), date, new.checklist))
    return store_scan(register, plate, new, built.made(result), [keep_bytes(register.folder, content, "S1_1.wav")])


def page_says(register, entry):
    return as_it_stands(register, entry, load_screening(register, entry.current.id))


def agree(register) -> None:
    """Every list with every scan's page, and what comes next with the newest report."""
    listed = {e.name: e.headline for e in scan_lines(register)}
    next_ones = next_of(register)
    for line in as_they_stand(register, lines(register)):
        plate = line.glance.plate
        entries = list_scans(register, plate)
        said = {e.name: page_says(register, e) for e in entries}
        assert {name: listed[name] for name in said} == {name: s.headline for name, s in said.items()}
        told = headings(register, plate)
        assert all((told[n].headline, told[n].disposition) == (said[n].headline, said[n].disposition) for n in told)
        assert [e.headline for e in lines_of(register, entries)] == [s.headline for s in said.values()]
        assert next_ones.get(plate, "") == line.first == next_of(register, plate).get(plate, ""), plate
        if entries:
            newest = said[entries[-1].name]
            assert (line.glance.headline, line.glance.disposition) == (newest.headline, newest.disposition)
        forbids(line, newest_steps(register, plate))


def exports_agree(register, folder) -> None:
    """CSV with the lists, JSON with every scan's page; a scan crossed out with its page."""
    export_csv(register, folder / "csv")
    export_json(register, folder / "all.json")
    with (folder / "csv" / "scans.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["scan"]: (row["disposition"], row["headline"]) for row in csv.DictReader(file)}
    plates = json.loads((folder / "all.json").read_text(encoding="utf-8"))["plates"]
    told = {scan["name"]: scan for plate in plates for scan in plate["scans"]}
    entries = {e.name: e for e in list_scans(register, void=True)}
    assert rows.keys() == told.keys() == entries.keys()
    for name, entry in entries.items():
        page = plain(page_says(register, entry))
        assert rows[name] == (page["disposition"], page["headline"]), name
        page["scan"].pop("map")
        assert told[name]["screening"] == json.loads(json.dumps(page, default=str)), name
        assert told[name]["screenings"][-1]["headline"] == entry.current.headline, "what it said when it was read"


def newest_steps(register, plate) -> tuple[str, ...]:
    """Of the newest scan's report, or of the newest visit's document where that is newer; a plate may have come out of its piano since."""
    entries, visits = list_scans(register, plate), list_visits(register, plate)
    if visits and (not entries or entries[-1].date < visits[-1].date):
        return known_of(register, visits[-1]).advice.steps
    return page_says(register, entries[-1]).next_steps if entries else ()


def forbids(line, steps) -> None:
    """Where the report says stop, the list does."""
    if any(s in STOPS for s in steps):
        assert "top: do not tap" in line.next and not any(w in line.next for w in ASKS_TO_TAP), line
        assert line.kinds == {"look"}
    elif any(s.line in steps for s in HOLDS):
        assert line.first and not any(w in line.next for w in ASKS_TO_TAP), line
        assert "repeat" not in line.kinds


def test_a_scan_crossed_out_is_gone_from_what_later_ones_say_in_lists(register):
    first, later = scanned(register, "2026-03-14", found=True), scanned(register, "2026-04-01")
    assert later.current.headline == OPEN
    agree(register)
    void_scan(register, first.name, "wrong plate", dt.date(2026, 4, 2))
    agree(register)
    assert [e.headline for e in scan_lines(register)][1] == NOTHING and not next_of(register)
    restore_scan(register, first.name)
    assert [e.headline for e in scan_lines(register)][1] == OPEN
    add_plate(register, Plate("C7"))
    move_scan(register, first.name, "C7", "it was C7's", dt.date(2026, 4, 3))
    agree(register)
    assert [e.headline.partition(":")[0] for e in scan_lines(register)] == [NOTHING, LOOK]


def test_a_scan_that_is_added_late_is_told_of_by_those_after_it(register):
    later = scanned(register, "2026-04-01")
    assert later.current.headline == NOTHING
    scanned(register, "2026-03-14", found=True)
    agree(register)
    assert [e.headline for e in scan_lines(register)][1] == OPEN


def test_what_an_examination_found_stands_in_lists_and_goes_with_its_scan(register):
    first, _ = scanned(register, "2026-03-14"), scanned(register, "2026-04-01")
    add_outcome(register, first.name, Outcome("crack in strut 2", *EXAMINED, dt.date(2026, 4, 2)))
    agree(register)
    assert {e.headline for e in scan_lines(register)} == {CONFIRMED}
    scanned(register, "2026-05-01")
    add_plate(register, Plate("C7"))
    move_scan(register, first.name, "C7", "it was C7's", dt.date(2026, 5, 3))
    agree(register)
    assert {e.headline for e in scan_lines(register, "B12")} == {NOTHING}


@pytest.mark.parametrize("signs", [(), (IN_IRON,), ("rust-line",), ("repair",)])
def test_what_the_eye_saw_on_a_visit_stops_the_plate_in_every_list(register, signs):
    """By the same words on the day and later, whether the visit or the scan came first; also where it was not tapped at all."""
    visit = Visit("B12", dt.date(2026, 3, 14), state="strung", looks=(Look("struts", "note", signs, "a crack"),))
    keep_visit(register, visit)
    agree(register)
    assert "do not tap" in lines(register)[0].next and lines(register)[0].seen
    day, later = (scanned(register, d, state="strung") for d in ("2026-03-14", "2026-03-20"))
    for entry in (day, later):
        assert STOP.line in page_says(register, entry).next_steps
    assert page_says(register, day).headline == EYE_NO_ANSWER
    agree(register)
    add_look_outcome(
        register, find_visit(register, "B12"), "struts", Outcome(SEEN + "lacquer", *EXAMINED, dt.date(2026, 3, 25))
    )
    agree(register)
    assert "do not tap" not in lines(register)[0].next


def test_exports_say_what_lists_and_pages_say(register, tmp_path):
    add_plate(register, Plate("C7"))
    first, second = scanned(register, "2026-03-14"), scanned(register, "2026-04-01", found=True)
    quiet, wrong = (scanned(register, day, plate="C7") for day in ("2026-03-14", "2026-04-01"))
    void_scan(register, wrong.name, "wrong plate", dt.date(2026, 4, 2))
    (tmp_path / "before").mkdir()
    exports_agree(register, tmp_path / "before")
    add_outcome(register, second.name, Outcome("crack in strut 2", *EXAMINED, dt.date(2026, 4, 2)))
    scanned(register, "2026-03-01", found=True)
    exports_agree(register, tmp_path)
    told = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["plates"]
    now = {scan["name"]: scan["screening"]["headline"] for plate in told for scan in plate["scans"]}
    assert (now[first.name], now[second.name]) == (OPEN, CONFIRMED) and now[first.name] != first.current.headline
    assert (now[wrong.name], now[quiet.name]) == (VOID, NOTHING)


def change(register, dice: random.Random) -> None:
    """Anything that a shop may do."""
    plates, scans = ("B12", "C7"), list_scans(register, void=True)
    day = f"2026-0{dice.randint(1, 9)}-1{dice.randint(0, 3)}"
    entry = dice.choice(scans) if scans else None
    what = dice.randrange(10)
    if what < 3 or entry is None:
        told = {"found": dice.random() < 0.4, "state": dice.choice(("stripped", "finished", "strung", None))}
        scanned(register, day, plate=dice.choice(plates), **told)
    elif what == 3:
        restore_scan(register, entry.name) if entry.crossed_out else _void(register, entry)
    elif what == 4 and not entry.crossed_out:
        move_scan(register, entry.name, plates[entry.plate == "B12"], "the other one", dt.date(2026, 9, 20))
    elif what == 5:
        words = dice.choice((CLEAN + "struts", PART + "hook", SEEN + "a scratch", "crack in strut 2"))
        add_outcome(
            register, entry.name, Outcome(words, *EXAMINED, entry.date + dt.timedelta(days=dice.randint(0, 40)))
        )
    elif what == 6:
        seen = dice.choice(((), (Finding(IN_IRON, "seen"),), (Finding("rust-line", "seen", "tail"),)))
        edit_scan(register, entry.name, lambda e: replace(e, checklist=seen))
    elif what == 8:
        put_right(register, entry, dice.choice(("stripped", "finished", "strung", "in-piano-unstrung", None)))
    elif what == 7:
        look = Look("struts", "note", dice.choice(((), (IN_IRON,), ("missing-screws",))), "there")
        state = dice.choice(("strung", "stripped", None))
        keep_visit(register, Visit(dice.choice(plates), dt.date.fromisoformat(day), state=state, looks=(look,)))
    elif visits := [v for v in list_visits(register) if v.suspects]:
        words = dice.choice((SEEN + "the lacquer", CLEAN + "it", "crack, 4 cm"))
        add_look_outcome(register, visits[0], "struts", Outcome(words, *EXAMINED, dt.date(2026, 9, 21)))


def put_right(register, entry, state):
    """What the plate's state was."""
    return edit_scan(register, entry.name, lambda e: replace(e, conditions=replace(e.conditions, state=state)))


def _void(register, entry) -> None:
    if not entry.flaws:
        void_scan(register, entry.name, "wrong plate", dt.date(2026, 9, 20))


@pytest.mark.parametrize("seed", range(1, 5))
def test_lists_and_pages_agree_after_any_changes(register, tmp_path, seed):
    add_plate(register, Plate("C7"))
    dice = random.Random(seed)
    for step in range(24):
        with suppress(BadRequest):  # what an examination has its result of is not taken away
            change(register, dice)
        if step % 4 == 3:
            agree(register)
    exports_agree(register, tmp_path)


def test_a_doubtful_scans_finding_stays_open_with_the_doubt_beside_it(register):
    scanned(register, "2026-03-14", found=True)
    content = b"doubtful"
    alone = replace(
        built.screening((hashlib.sha256(content).hexdigest(),)), indications=built.screening(()).indications[:1]
    )
    doubted = conclude(replace(alone, doubts=(built_doubt(),)), Settings())
    new = built.new_scan(date=dt.date(2026, 4, 1), checklist=())
    entry = store_scan(register, "B12", new, built.made(doubted), [keep_bytes(register.folder, content, "S1_1.wav")])
    (only,) = open_findings(register, "B12")
    assert (only.scan, only.doubt) == ("B12/2026-03-14", ""), "the plate's own finding is not hidden behind it"
    void_scan(register, "B12/2026-03-14", "wrong plate", dt.date(2026, 4, 2))
    (only,) = open_findings(register, "B12")
    assert only.scan == entry.name and "may be another plate's" in only.doubt
    later = scanned(register, "2026-05-01")
    assert page_says(register, later).headline == OPEN and only.doubt in page_says(register, later).summary
    assert next_of(register)["B12"].startswith("Make sure which plate")
    assert plate_on_record(register, "B12").scans[0].headline == "Doubtful: which plate"


def built_doubt() -> Doubt:
    return Doubt("which plate", "B12/2026-03-14", "It sounds like another casting.", Fingerprint(0.1, 0.9, 0.95, 0.0))
