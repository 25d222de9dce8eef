"""What is to be read anew, and what may be a baseline."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import IN_PIANO
from tapscan.register.corrections import move_scan, void_scan
from tapscan.register.entries import Plate
from tapscan.register.outdated import outdated
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome, edit_scan, find_scan, set_baseline
from tapscan.screening.rules import ringing_on
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow.baseline import choose_baseline
from tapscan.workflow.import_scan import _beside_baseline
from tapscan.workflow.rescreen_all import waiting
from tapscan.workflow.standing import against_baseline
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.register.test_played_scans import play
from tests.register.test_silence import NAMED, anew, each, read, tapped


def test_what_no_longer_fits_is_read_anew_with_the_rest(register):
    first = tapped(register, "2026-01-01")
    fits = {"beside": (first.name,)}
    kept = [tapped(register, f"2026-0{k}-01", **fits) for k in (2, 3)]
    assert outdated(register) == outdated(register, "B12") == set()
    edit_scan(register, kept[0].name, lambda e: replace(e, conditions=replace(e.conditions, state=IN_PIANO[0])))
    assert outdated(register) == {kept[0].id}
    heard = tapped(register, "2026-04-01", room_left_in=False, room_reason="a pickup hears none", **fits)
    assert outdated(register, "B12") == {kept[0].id}
    microphone = Sensor("microphone")
    edit_scan(register, heard.name, lambda e: replace(e, conditions=replace(e.conditions, sensor=microphone)))
    assert outdated(register, "B12") == {kept[0].id, heard.id}
    void_scan(register, heard.name, "a lorry", dt.date(2026, 5, 1))
    void_scan(register, first.name, "a lorry", dt.date(2026, 5, 1))
    assert outdated(register) == {k.id for k in kept}
    assert {e.id for e in waiting(register, Settings())} >= outdated(register)
    add_plate(register, Plate("C7"))
    moved = move_scan(register, kept[1].name, "C7", "it was C7", dt.date(2026, 5, 1))
    anew(register, moved, beside=())
    assert outdated(register) == {kept[0].id}
    moved = move_scan(register, moved.name, "B12", "no", dt.date(2026, 5, 2))
    assert outdated(register) == {k.id for k in kept}


def test_a_plate_with_something_open_gets_no_baseline_without_a_reason(register):
    early = tapped(register, "2026-01-01")
    tapped(register, "2026-03-01", changed=True, beside=(early.name,))
    later = tapped(register, "2026-04-01", beside=(early.name,))
    with pytest.raises(BadRequest, match=r"2026-03-01.*--although"):
        choose_baseline(register, "B12", [later.name], None)
    assert choose_baseline(register, "B12", [early.name], None)[0].baseline, "it is from before that"
    (kept,) = choose_baseline(register, "B12", [later.name], "it is the hook")
    assert kept.baseline_although
    set_baseline(register, "B12", [])


def test_what_speaks_against_a_baseline(register):
    early, found = tapped(register, "2026-01-01"), tapped(register, "2026-03-01", changed=True, beside=("B12/x",))
    assert found.current.headline.startswith("Something") and against_baseline(register, found)
    later = tapped(register, "2026-04-01")
    assert found.name in against_baseline(register, later)[0] and against_baseline(register, early) == []
    add_outcome(register, early.name, replace(NAMED, found="crack in strut 2"))
    assert "crack in strut 2" in against_baseline(register, find_scan(register, early.name))[0]


def test_what_notes_showed_is_no_matter_of_a_baseline_of_taps(register):
    play(register, "2026-01-01", ringing_on.NAME, checklist=())
    entry = tapped(register, "2026-02-01")
    assert open_findings(register, "B12") and against_baseline(register, entry) == []


@each("earlier", [True, False])
def test_a_scan_is_held_against_no_baseline_from_after_it(register, earlier):
    file = "ab" * 32
    day = "2026-01-01" if earlier else "2026-05-01"
    set_baseline(register, "B12", [tapped(register, day).name])
    new = built.new_scan(date=dt.date(2026, 3, 1))
    alone = read(file, "B12/2026-03-01", changed=False, beside=())
    told = _beside_baseline(register, "B12", new, alone, Settings(), "B12/2026-03-01")
    assert (told.comparison is not None) is earlier
