"""A scan that should not count, or belongs to another plate; what people saw and found, on the first screen."""

import csv
import datetime as dt
import hashlib
import json
from types import SimpleNamespace

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest, UnknownName
from tapscan.places import CHECKLIST
from tapscan.records import IN_PIANO, STATES
from tapscan.register.corrections import compared_with, move_scan, restore_scan, void_scan
from tapscan.register.entries import CLEAN, PART, Finding, Outcome, Plate
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome, edit_scan, find_scan, list_scans, newest_scan, set_baseline, store_scan
from tapscan.screening.disposition import CONFIRMED, EYE, EYE_NO_ANSWER, NOTHING
from tapscan.screening.next_steps import may_tap
from tapscan.screening.open_findings import EYE_RULE
from tapscan.settings import Settings
from tapscan.workflow import import_scan as keep
from tapscan.workflow.check import Request
from tapscan.workflow.conclude import conclude
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.history import baseline_of, compare_stored, history_of
from tapscan.workflow.import_scan import rescreen, stored_screening
from tapscan.workflow.notices import notices
from tapscan.workflow.standing import VOID, as_it_stands
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.trend_for_report import course_of
from tests.every import each
from tests.register import built
from tests.register.conftest import put

STRUNG = replace(built.CONDITIONS, state="strung")
ON = dt.date(2026, 7, 1)


def silent(register, day, **changes):
    """A stored scan in which nothing was found."""
    result = conclude(replace(built.screening((hashlib.sha256(day.encode()).hexdigest(),)), indications=()), Settings())
    assert result.headline == NOTHING
    file = keep_bytes(register.folder, day.encode(), "S1_1.wav")
    new = built.new_scan(date=dt.date.fromisoformat(day), **changes)
    return store_scan(register, "B12", new, built.made(result), [file])


def with_comparison(register, day, baselines, **more):
    """A stored scan that was compared with these."""
    result = built.screening((hashlib.sha256(day.encode()).hexdigest(),))
    told = replace(built.comparison(), later=f"B12/{day}", baselines=tuple(baselines), **more)
    file = register.files.keep_bytes(day.encode(), "S1_1.wav")
    new = built.new_scan(date=dt.date.fromisoformat(day))
    return store_scan(register, "B12", new, built.made(replace(result, comparison=told)), [file])


def outcome(found):
    return Outcome(found, "magnetic particles", "A. Person", dt.date(2026, 6, 3))


def standing(register, name):
    entry = find_scan(register, name)
    return as_it_stands(register, entry, stored_screening(register, entry))


# a scan crossed out


def test_a_scan_crossed_out_is_kept_and_never_compared(register):
    first, second, third = (silent(register, d) for d in ("2026-03-14", "2026-04-01", "2026-05-01"))
    set_baseline(register, "B12", [first.name])
    entry = void_scan(register, first.name, "another plate was tapped", ON)
    assert (entry.void_on, entry.void_why) == (ON, "another plate was tapped")
    assert [e.name for e in list_scans(register, "B12")] == [second.name, third.name]
    assert [e.name for e in list_scans(register, "B12", void=True)] == [first.name, second.name, third.name]
    assert baseline_of(register, "B12") == []
    assert stored_screening(register, entry).scan.modes, "nothing of it is gone"
    for ask in (
        lambda: compare_stored(register, "B12", Settings(), against=[first.name]),
        lambda: compare_stored(register, "B12", Settings(), scan=first.name, against=[second.name]),
        lambda: set_baseline(register, "B12", [first.name]),
        lambda: rescreen(register, first.name, Settings()),
    ):
        with pytest.raises(BadRequest, match=r"crossed out on 2026-07-01.*--undo"):
            ask()
    trend = history_of(register, "B12", Settings()).trend
    assert trend is not None and trend.scans == (second.name, third.name)
    course = course_of(register, third)
    assert course is not None and course.scans == (second.name, third.name)


def test_it_opens_no_finding_and_is_not_the_newest(register, stored):
    entry = stored()
    assert [o.scan for o in open_findings(register, "B12")] == [entry.name]
    void_scan(register, entry.name, "wrong plate", ON)
    assert [o.rule for o in open_findings(register, "B12")] == [EYE_RULE], "the eye needs no taps"
    with pytest.raises(UnknownName):
        newest_scan(register, "B12")


def test_undo_makes_it_count_again(register, stored):
    entry = stored(baseline=True)
    void_scan(register, entry.name, "wrong plate", ON)
    assert restore_scan(register, entry.name) == entry
    assert baseline_of(register, "B12") == [entry]
    with pytest.raises(BadRequest, match="not crossed out"):
        restore_scan(register, entry.name)


@pytest.mark.parametrize("why", ["", "  "])
def test_nothing_is_mended_without_a_reason(register, stored, why):
    entry = stored()
    add_plate(register, Plate("B13"))
    with pytest.raises(BadRequest, match="needs a reason"):
        void_scan(register, entry.name, why, ON)
    with pytest.raises(BadRequest, match="needs a reason"):
        move_scan(register, entry.name, "B13", why, ON)
    assert find_scan(register, entry.name) == entry


def test_its_day_keeps_its_numbers(register, stored):
    first = stored(b"a")
    void_scan(register, first.name, "wrong plate", ON)
    assert stored(b"b").number == 2


def test_its_first_screen_says_so(register, stored):
    entry = stored()
    entry = void_scan(register, entry.name, "wrong plate", ON)
    said = standing(register, entry.name)
    assert said.headline == VOID and "wrong plate" in said.summary and "Something to look at" in said.summary
    assert "wrong plate" in notices(register, entry, said)[0]


def test_exports_show_it_crossed_out(register, stored, tmp_path):
    add_plate(register, Plate("B13"))
    moved = move_scan(register, stored(b"a").name, "B13", "this was B13", ON)
    void_scan(register, moved.name, "wrong plate", ON)
    export_csv(register, tmp_path / "csv")
    with (tmp_path / "csv" / "scans.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["scan"], row["void_on"], row["void_why"]) == (moved.name, "2026-07-01", "wrong plate")
    assert json.loads(row["moves"])[0]["before"] == "B12/2026-03-14"
    export_json(register, tmp_path / "all.json")
    (scan,) = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["plates"][1]["scans"]
    assert (scan["void_why"], scan["moves"][0]["why"]) == ("wrong plate", "this was B13")


# a scan moved


def test_a_scan_is_moved_with_all_it_has(register, stored):
    add_plate(register, Plate("B13"))
    put(register, b"other", plate="B13")
    before = stored(baseline=True)
    add_outcome(register, before.name, outcome("crack in strut 2"))
    before = find_scan(register, before.name)
    after = move_scan(register, before.name, "b13", "this was B13", ON)
    assert (after.name, after.plate, after.number) == ("B13/2026-03-14-2", "B13", 2)
    assert (after.files, after.checklist, after.outcomes) == (before.files, before.checklist, before.outcomes)
    assert not after.baseline, "of another plate it was the baseline"
    (move,) = after.moves
    assert (move.before, move.after, move.on, move.why) == (before.name, after.name, "2026-07-01", "this was B13")
    assert list_scans(register, "B12") == [] and [o.scan for o in open_findings(register, "B12")] == []
    assert any(
        before.name in told and "this was B13" in told
        for told in notices(register, after, stored_screening(register, after))
    )
    with pytest.raises(UnknownName):
        find_scan(register, before.name)
    back = move_scan(register, after.name, "B12", "it was B12 after all", ON)
    assert back.name == before.name and [m.after for m in back.moves] == [after.name, before.name]


def test_it_cannot_be_moved_to_its_own_plate_or_to_none(register, stored):
    entry = stored()
    with pytest.raises(BadRequest, match="already"):
        move_scan(register, entry.name, "B12", "why", ON)
    with pytest.raises(UnknownName):
        move_scan(register, entry.name, "B99", "why", ON)


@pytest.mark.parametrize("how", ["void", "move"])
def test_what_was_compared_with_it_is_named_and_says_so_itself(register, how):
    first = silent(register, "2026-03-14")
    later = with_comparison(register, "2026-06-01", [first.name])
    silent(register, "2026-06-02")
    assert compared_with(register, first.name, "B12") == (later.name,)
    assert not any("does not count" in told for told in notices(register, later, stored_screening(register, later)))
    if how == "void":
        void_scan(register, first.name, "wrong plate", ON)
    else:
        add_plate(register, Plate("B13"))
        move_scan(register, first.name, "B13", "this was B13", ON)
    (told,) = [t for t in notices(register, later, stored_screening(register, later)) if "does not count" in t]
    assert first.name in told
    assert compared_with(register, first.name, "B12") == (later.name,), "by its old name it is still found"


# what people found


def test_a_crack_found_after_a_silent_scan_is_on_its_first_screen_without_a_rescreen(register):
    entry = silent(register, "2026-03-14")
    assert standing(register, entry.name) == stored_screening(register, entry), (
        "nothing came in: exactly what is stored"
    )
    found = outcome("crack in strut 2, 60 mm")
    add_outcome(register, entry.name, found)
    said = standing(register, entry.name)
    assert said.headline == CONFIRMED
    assert all(told in said.summary for told in (found.found, found.method, found.by_whom, str(found.on)))
    assert said.next_steps[0].startswith("Workshop: Put no finish"), "not: keep this scan"
    assert not any("Ask the owner" in step for step in said.next_steps), "it was examined"
    assert any("crack in strut 2" in told for told in notices(register, find_scan(register, entry.name), said))


def test_it_is_in_every_later_scan_of_the_plate_and_never_vanishes(register):
    first = silent(register, "2026-03-14")
    add_outcome(register, first.name, outcome("crack in strut 2"))
    add_outcome(register, first.name, outcome(PART + "hook at the tail"))
    for day in ("2026-07-01", "2026-08-01", "2026-09-01"):
        later = silent(register, day)
        assert standing(register, later.name).headline == CONFIRMED
    assert open_findings(register, "B12")[0].scan == first.name


def test_a_page_of_an_earlier_scan_says_what_was_found_later(register):
    first, later = silent(register, "2026-03-14"), silent(register, "2026-04-01")
    add_outcome(register, later.name, outcome("crack in strut 2"))
    assert standing(register, first.name).headline == NOTHING, "at that time"
    assert any(
        later.name in t and "crack in strut 2" in t for t in notices(register, first, stored_screening(register, first))
    )


@each("found", [CLEAN + "struts 1 to 4", "Nothing found.", "nothing", PART + "hook at the tail"])
def test_what_is_no_flaw_confirms_none(register, found):
    entry = silent(register, "2026-03-14") if not list_scans(register, "B12") else newest_scan(register, "B12")
    add_outcome(register, entry.name, outcome(found))
    assert standing(register, entry.name).headline == NOTHING
    assert open_findings(register, "B12") == ()


@each("found", ["hairline at bolt 7", "nothing but a crack", "no idea", "none of the struts is whole"])
def test_any_other_words_count_as_a_flaw(found):
    assert outcome(found).flaw


# what the eye saw

SUSPECT = (Finding("rust-line", "seen", "bass corner"),)


def of_state(state):
    alone = replace(built.screening(("ff" * 32,)), indications=())
    return replace(alone, scan=replace(alone.scan, state=state))


@pytest.mark.parametrize("state", [None, *STATES])
def test_a_line_of_rust_stops_the_work_where_the_plate_may_carry_strings(state):
    plain = conclude(of_state(state), Settings())
    seen = "a line of rust (bass corner)"
    said = conclude(of_state(state), Settings(), eye=(seen,))
    if may_tap(state):
        assert said == plain, "out of the piano the taps decide; the first screen has it among the notices"
        return
    assert said.headline == (EYE_NO_ANSWER if state in IN_PIANO else EYE)
    assert said.disposition == plain.disposition and seen in said.summary
    assert "stop" in said.next_steps[0].lower() and any("magnetic particles" in s for s in said.next_steps)


def test_what_is_noted_later_counts_without_a_rescreen(register):
    entry = silent(register, "2026-03-14", checklist=(), conditions=STRUNG)
    result = conclude(replace(stored_screening(register, entry), scan=of_state("strung").scan), Settings())
    assert as_it_stands(register, entry, result) == result
    entry = edit_scan(register, entry.name, lambda e: replace(e, checklist=SUSPECT))
    assert as_it_stands(register, entry, result).headline == EYE_NO_ANSWER
    (seen,) = [t for t in notices(register, entry, result) if SUSPECT[0].note in t]
    assert CHECKLIST[SUSPECT[0].item] in seen


@each("item", ["repair", "missing-screws", "loose-nose-bolts", "pitch-not-held"])
def test_what_is_no_sign_of_a_crack_stops_nothing(register, item):
    day = f"2026-03-{10 + len(list_scans(register, 'B12'))}"
    entry = silent(register, day, checklist=(Finding(item, "seen"),), conditions=STRUNG)
    result = conclude(replace(stored_screening(register, entry), scan=of_state("strung").scan), Settings())
    assert as_it_stands(register, entry, result) == result


# an import, its recordings heard already


@pytest.fixture
def imported(register, tmp_path, monkeypatch):
    """Imports a recording of that content, in which `found` says whether something was found."""

    def bring(content: bytes, *, found: bool, state=None, **changes):
        path = tmp_path / "S1_1.wav"
        path.write_bytes(content)
        heard = built.screening((hashlib.sha256(content).hexdigest(),))
        heard = replace(heard, scan=replace(heard.scan, state=state or heard.scan.state))
        heard = heard if found else conclude(replace(heard, indications=()), Settings())
        monkeypatch.setattr(keep, "check", lambda *_: SimpleNamespace(screening=heard, unreadable=()))
        return keep.import_scan(register, "B12", [str(path)], built.new_scan(**changes), Request())

    return bring


def test_a_scan_with_a_finding_is_stored_but_made_a_baseline_only_with_a_reason(imported):
    first = imported(b"c", found=False, baseline=True, baseline_although="not needed").entry
    assert (first.baseline, first.baseline_although) == (True, None)
    held = [imported(content, found=content == b"a", baseline=True).entry for content in (b"a", b"d")]
    assert not any(e.baseline for e in held), "the second may hold what was found before it"
    kept = imported(b"b", found=True, baseline=True, baseline_although=(why := "it is new")).entry
    assert (kept.baseline, kept.baseline_although) == (True, why)


def test_after_one_crossed_out_the_next_of_the_day_has_a_name_of_its_own(register, imported):
    base = silent(register, "2026-01-01", baseline=True)
    first = imported(b"a", found=False).entry
    void_scan(register, first.name, "wrong plate", ON)
    kept = imported(b"b", found=False)
    assert kept.screening.comparison.later == kept.entry.name == f"{first.name}-2"
    assert kept.screening.comparison.baselines == (base.name,)


def test_what_the_eye_saw_counts_at_the_import(imported):
    kept = imported(b"a", found=False, state="strung", checklist=SUSPECT)
    assert kept.screening.headline == EYE_NO_ANSWER and kept.entry.current.headline == EYE_NO_ANSWER


# the baseline


def test_the_reason_is_kept_and_told_with_later_scans(register, stored):
    flawed, why = stored(), "it rang so when it was new"
    set_baseline(register, "B12", [flawed.name], why)
    assert find_scan(register, flawed.name).baseline_although == why
    later = with_comparison(register, "2026-06-01", [flawed.name])
    assert any(why in t for t in notices(register, later, stored_screening(register, later)))
