"""What the eye saw and may be a crack is not taken away by a later look: somebody says why, and what stood before stays on record."""

import csv
import datetime as dt
import json

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.register.entries import CLEAN, EYE_SUSPECTS, SEEN, Finding, Outcome
from tapscan.register.scans import edit_scan
from tapscan.register.visit_entries import MAY_BE_CRACK, Look, Visit
from tapscan.register.visits import add_look_outcome, find_visit, keep_visit
from tapscan.settings import Settings
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.history import history_of
from tapscan.workflow.notices import notices
from tapscan.workflow.standing import registered
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.visit import known_of
from tapscan.workflow.write_visit import found_of
from tests.every import each
from tests.register.test_mending import silent, standing

DAY = dt.date(2026, 10, 1)
WHY = "a hair on the lens"


def noted(*looks: Look) -> Visit:
    return Visit("B12", DAY, state="strung", looks=looks)


def line(*signs: str, note: str | None = "2 cm") -> Look:
    return Look("rim", "note", signs, note)


AWAY = [Look("rim", "nothing"), Look("rim", "hidden"), line("loose-nose-bolts"), Look("horn", "nothing")]


@each("after", AWAY)
@each("sign", MAY_BE_CRACK)
def test_a_later_look_takes_no_sign_away_and_names_the_road(sign, after, register):
    on = DAY + dt.timedelta(MAY_BE_CRACK.index(sign))
    kept = keep_visit(register, replace(noted(line(sign)), date=on))
    with pytest.raises(BadRequest, match=f"rim.*{on}.*tapscan visit outcome B12/{on} --region rim.*--mistake"):
        keep_visit(register, replace(noted(after), date=on))
    assert find_visit(register, kept.name) == kept and known_of(register, kept).stop


def test_one_of_two_signs_stays_too_and_so_does_a_note_without_a_kind(register):
    keep_visit(register, noted(line("iron-line", "rust-line"), Look("horn", "note", (), "odd")))
    for after in ((line("rust-line"), Look("horn", "note", (), "odd")), (line("iron-line", "rust-line"),)):
        with pytest.raises(BadRequest, match="mistake"):
            keep_visit(register, noted(*after))


def test_signs_are_added_notes_changed_and_what_is_no_crack_is_taken_away_freely(register):
    keep_visit(register, noted(line("iron-line", "loose-nose-bolts"), Look("horn", "note", ("missing-screws",))))
    kept = keep_visit(register, noted(line("iron-line", "rust-line", note="3 cm"), Look("horn", "nothing")))
    assert kept.taken_back == () and len(kept.suspects) == 1
    with pytest.raises(BadRequest, match="none is taken back"):
        keep_visit(register, kept, mistake=WHY)


def test_a_kind_told_later_is_free_and_what_stood_before_is_kept(register):
    keep_visit(register, noted(Look("horn", "note", (), "odd")))
    kept = keep_visit(register, noted(Look("horn", "note", ("other",), "felt")))
    (back,) = kept.taken_back
    assert kept.suspects == () and "odd" in back.what and "something else" in back.why


def test_with_a_reason_it_is_taken_back_and_told_in_history_exports_and_documents(register, tmp_path):
    keep_visit(register, noted(line("iron-line")))
    kept = keep_visit(register, noted(Look("rim", "nothing")), mistake=WHY)
    (back,) = kept.taken_back
    assert back.on == dt.date.today().isoformat() and back.why == WHY and "2 cm" in back.what
    assert keep_visit(register, noted(Look("rim", "nothing"))).taken_back == (back,), "kept again it stays on record"
    assert open_findings(register, "B12") == () and not known_of(register, kept).stop
    told = history_of(register, "B12", Settings()).taken_back
    later = known_of(register, keep_visit(register, Visit("B12", dt.date(2026, 11, 1))))
    texts = (*told, *(f.title + f.text for k in (known_of(register, kept), later) for f in found_of(k)))
    assert len(texts) == 3 and all("2026-10-01" in text and back.told in text.replace("Rim", "rim") for text in texts)
    export_csv(register, tmp_path / "csv")
    with (tmp_path / "csv" / "visits.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [WHY in r["taken_back"] for r in csv.DictReader(file)] == [True, False]
    export_json(register, tmp_path / "all.json")
    (plate,) = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["plates"]
    assert plate["visits"][0]["taken_back"][0]["why"] == WHY


@each("found", ["crack, 20 mm", CLEAN + "the rim", SEEN + "the lacquer"])
def test_where_an_examination_has_its_result_nothing_is_taken_back(found, register):
    visit = keep_visit(register, noted(line("iron-line")))
    add_look_outcome(register, visit, "rim", Outcome(found, "penetrant", "A. Ulm", DAY))
    with pytest.raises(BadRequest, match="stays as it was noted"):
        keep_visit(register, noted(Look("rim", "nothing")), mistake=WHY)
    assert find_visit(register, "B12").round[6].suspect


@each("answer", ["not seen", "not looked at"])
@each("item", EYE_SUSPECTS)
def test_so_it_is_with_the_list_of_a_scan(item, answer, register, tmp_path):
    day = f"2026-{EYE_SUSPECTS.index(item) + 1:02}-{len(answer):02}"
    entry = silent(register, day, checklist=(Finding(item, "seen", "2 cm"),))
    for after in ((), (Finding(item, answer),)):

        def change(e, after=after):
            return replace(e, checklist=after)

        with pytest.raises(BadRequest, match=rf"tapscan scan outcome B12/{day} --explains.*--mistake"):
            edit_scan(register, entry.name, change)
    assert edit_scan(register, entry.name, lambda e: replace(e, checklist=(Finding(item, "seen"),))).taken_back == ()
    kept = edit_scan(register, entry.name, change, WHY)
    (back,) = kept.taken_back
    assert back.why == WHY and registered(kept)["taken_back"] == (back,)
    assert any(back.told in said for said in notices(register, kept, standing(register, kept.name)))
    export_csv(register, tmp_path / day)
    with (tmp_path / day / "scans.csv").open(encoding="utf-8-sig", newline="") as file:
        assert all(WHY in r["taken_back"] for r in csv.DictReader(file))
