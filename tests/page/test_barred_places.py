"""Places that must not be struck in the state of the plate: no row and no mark on the page that asks for a tap there, and named where they were struck."""

import re

from tapscan.layouts import read_layout
from tapscan.layouts.tap_corrections import AssignedTap
from tapscan.page.draft_parts import places_of
from tapscan.places import IN_PIANO
from tapscan.records import ScanConditions
from tapscan.register.entries import NewScan
from tapscan.report.drawing.tap_map import NEVER
from tapscan.workflow.draft import begin_draft, change, find_draft
from tapscan.workflow.keep_draft import Look
from tapscan.workflow.record import begin_recording
from tapscan.workflow.typed_recording import at_rest
from tests.cli.test_plate_screen import shown as terminal
from tests.every import each
from tests.page.test_newcomer import dropped
from tests.register.test_left_alone import NOW

LONG = read_layout("upright-long")
BARRED = [s.name for s in LONG.stations if "strung" not in s.states]


def draft_in(register, state):
    draft = begin_draft(register, "B12")
    return change(draft, draft.version, {"typed": {"state": state}})


@each("state", ["", "stripped", *IN_PIANO])
def test_a_row_stands_for_what_may_be_struck_and_for_what_was(state, site):
    never = [s.name for s in LONG.stations if state and state not in s.states]
    at = ["S1", "S3", *never[:2]]
    taps = tuple(AssignedTap(f"T{k}", "a.wav", float(k), s, "soft") for k, s in enumerate(at, 1))
    found = places_of(Look(taps, (), (), LONG), draft_in(site.register, state))
    assert len(found.rows) == len(LONG.stations) - len(never) + len(never[:2])
    assert [r.station for r in found.rows if r.barred] == never[:2] and len(found.every) == len(LONG.stations)
    drawn = re.findall(r"<title>([^<]*)</title>", str(found.map))
    assert sum(told.endswith(f": {NEVER}") for told in drawn) == len(never[2:])
    assert sum(told.endswith(f"1 tap, {NEVER}") for told in drawn) == len(never[:2])


def test_the_page_names_a_tap_where_none_may_be_before_the_rest(site, tmp_path):
    with site.client() as client:
        typed = {"state": "strung", "layout": "upright-long", "order": "soft,hard"}
        draft = find_draft(site.register, re.findall(r"id=(\w+)", dropped(site, client, tmp_path, **typed))[0])
        site.post(client, "/draft", id=draft.id, seen=draft.version, act="move", tap="T1", station="S2", **typed)
        page = client.get(f"/draft?id={draft.id}").text
    table = page.partition('<table class="list taps">')[2].partition("</table>")[0]
    rows = re.findall(r'<tr data-station="(S\d+)"', table)
    assert set(rows) == {s.name for s in LONG.allowed("strung")} | {"S2"}
    (marked,) = [row for row in table.split("<tr ")[1:] if "do not tap there" in row]
    assert marked.startswith('data-station="S2" class="odd"')
    assert "S2 must not" in page.partition('<ul class="remarks">')[2].partition("</li>")[0]
    assert page.count("(not to be tapped)") == len(BARRED), "a tap may be given there by hand: it may be so"


def test_who_records_is_shown_no_place_that_must_not_be_struck(site):
    begun = begin_recording(
        site.register, "B12", NewScan(NOW.date, ScanConditions(state="strung")), "upright-long", ("soft",)
    )
    assert at_rest(begun).barred == set(BARRED)
    with site.client() as client:
        drawn = client.get("/record", params={"id": begun.id}).text
    assert drawn.count(NEVER) >= len(BARRED) and drawn.count(": to come") == 8 - 1
    screens = [
        "\n".join(terminal(layout="upright-long", station="S1", taken=frozenset(), barred=b)) for b in ((), BARRED)
    ]
    every, less = (s.count("○") for s in screens)
    assert every > less == 8 - 1 + 1, "seven to come, and the legend"
