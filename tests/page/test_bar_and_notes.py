"""Reference bar and played notes in real clicks: the same scan and the same sentences as by the terminal. All sounds are simulated."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.notes import Unit, made
from tapscan.page.screens import bars as screen
from tapscan.register.bars import find_bar, note_bar
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.signal.notes.strings import key_name
from tapscan.workflow import typed_recording
from tapscan.workflow.bar import BAR_TURNS
from tapscan.workflow.bars import bar_rows
from tapscan.workflow.own_layouts import keep_layout
from tapscan.workflow.record import guide_of
from tests.cli.commands import run
from tests.page.test_hands import NARROW, WIDE, faults
from tests.register.recording_child import LAYOUT
from tests.register.test_bar import bar_file, plate_file

STORED_S = 240_000


def looked_at(page) -> None:
    """axe-core finds no serious fault, and nothing overflows."""
    told = []
    for size in (NARROW, WIDE):
        page.set_viewport_size(size)
        told += faults(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert not told, "\n".join(told)


@pytest.fixture
def takes(tmp_path):
    (tmp_path / "three.toml").write_text(LAYOUT)
    return [bar_file(tmp_path, "b1.wav"), plate_file(tmp_path, "t1.wav", 1), bar_file(tmp_path, "b2.wav", seed=2)]


def test_a_reference_bar_dropped_in_with_the_plate(site, browser_page, takes):
    """One by its own field, one that came among the plate's, and back and forth; both are heard as the bar."""
    keep_layout(site.register.folder, "three", LAYOUT)
    first, plate, last = takes
    page = browser_page
    page.goto(f"{site.address}/plate?name=B12")
    page.click("text=New scan from files")
    page.select_option("#f-layout", "three")
    page.fill("#f-order", "soft,hard")
    page.select_option("#f-state", "stripped")
    page.set_input_files("#choose", [plate, last])
    page.wait_for_selector(".taps", timeout=60_000)
    page.click("summary:has-text('reference bar')")
    page.select_option("#f-of", label="b2.wav")
    page.click("text=It is of the bar, after")
    page.wait_for_selector("text=These recordings have not been searched for taps yet")
    page.set_input_files("[data-part=bar-first]", first)
    row, after = "tr:has-text('b2.wav')", "tr:has-text('b2.wav') >> text=after the plate"
    page.wait_for_selector("tr:has-text('b1.wav') >> text=before the plate")
    page.click("[aria-label='b2.wav is of the plate']")
    page.wait_for_selector(row)
    assert page.locator(after).count() == 0
    page.select_option("#f-of", label="b2.wav")
    page.click("text=It is of the bar, after")
    page.wait_for_selector(after)
    looked_at(page)
    page.click("#listen")
    page.wait_for_selector(".taps", timeout=60_000)
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=STORED_S)
    (entry,) = list_scans(site.register, "B12")
    assert [f.name for f in (*entry.bar.first, *entry.bar.last)] == ["b1.wav", "b2.wav"]
    assert [f.name for f in entry.files] == ["t1.wav"]
    assert load_screening(site.register, entry.current.id).scan.bar.drift is not None
    _the_bars_page(site, page)


def _the_bars_page(site, page) -> None:
    page.goto(f"{site.address}/bars")
    page.click("a.name")
    notes = "flat steel, on two pads"
    page.fill("#f-notes", notes)
    page.click("text=Keep it")
    page.wait_for_selector("text=Noted for reference bar")
    assert find_bar(site.register, "reference bar").notes == notes
    shown = page.inner_text("main")
    cells = [cell for row in bar_rows(site.register, "reference bar") for cell in row]
    assert len(cells) == 14 and all(cell in shown for cell in cells)
    told = run("bar", "show", "reference bar", "--register", str(site.register.folder)).out
    assert all(cell.split()[0] in told for cell in cells)
    looked_at(page)


def test_only_so_many_scans_of_a_bar_are_shown_and_that_is_said(site, monkeypatch):
    note_bar(site.register, "flat bar")
    rows = [(f"B12/{k}", which, "3 of 3", "5", "800", "60", "20") for k in range(9) for which in ("before", "after")]
    monkeypatch.setattr(screen, "bar_rows", lambda _, __, newest: rows[-2 * (newest or 99) :] if newest else rows)
    with site.client() as client:
        nine, all_nine = (client.get("/bar", params={"name": "flat bar", **more}).text for more in ({}, {"all": "1"}))
        del rows[:2]
        eight = client.get("/bar", params={"name": "flat bar"}).text
    assert ["newest scans only" in told for told in (nine, all_nine, eight)] == [True, False, False]
    assert [told.count("the plate</td>") for told in (nine, all_nine, eight)] == [16, 18, 16]


def test_which_of_two_bars_must_be_said(site):
    names = ("flat bar", "old bar")
    for name in names:
        note_bar(site.register, name)
    with site.client() as client:
        asked = client.get("/record/new", params={"plate": "B12"}).text
        assert f"Say which: {', '.join(names)}." in asked
        refused = site.post(client, "/record/new", plate="B12", bar="yes", layout="grand-short")
        assert refused.status_code == 409 and "Which bar" in refused.text and "--" not in refused.text.split("<main")[1]


def test_the_recorder_asks_for_the_bar_first_and_last(site, monkeypatch):
    monkeypatch.setattr(typed_recording, "open_briefly", lambda _: 16_000)
    told = {"layout": "grand-short", "order": "soft", "state": "stripped"}
    begun = typed_recording.begin_typed(site.register, "B12", {**told, "bar": "yes", "bar_name": "flat bar"})
    assert (guide_of(begun).stations[0], guide_of(begun).stations[-1]) == BAR_TURNS and begun.plan["bar"] == "flat bar"
    without = typed_recording.begin_typed(site.register, "B12", {**told, "bar_name": "flat bar"})
    assert not set(BAR_TURNS) & set(guide_of(without).stations)


def test_a_recording_is_of_nothing_but_the_plate_or_the_bar(site, tmp_path):
    sound = Path(plate_file(tmp_path, "t1.wav", 1)).read_bytes()
    with site.client() as client:
        at = site.post(client, "/draft/new", plate="B12").headers["location"].replace("/draft?", "/draft/file?")
        sent = {"content": sound, "headers": {"x-token": site.door.token}}
        assert client.put(f"{at}&name=a.wav&part=../x", **sent).status_code == 400
        assert client.put(f"{at}&name=a.wav&part=bar-last", **sent).status_code == 200


def test_notes_that_were_played(site, browser_page, tmp_path):
    samples, rate, notes, _, _ = made(Unit("page", "foreign", "grand 155", "contact", 0))
    soundfile.write(tmp_path / "notes.wav", np.clip(samples, -0.99, 0.99), rate, subtype="PCM_24")
    keys = [key_name(n.key) for n in notes]
    absent = next(k for k in ("C8", "B7", "A7") if k not in keys)
    page = browser_page
    page.goto(f"{site.address}/plate?name=B12")
    page.click("text=New scan from files")
    page.check("[name=what][value=played]")
    assert not page.is_visible("#f-layout") and not page.is_visible("[name=baseline]")
    page.select_option("#f-state", "strung")
    page.select_option("#f-sensor", "contact")
    page.fill("#f-keys", "H2")
    page.set_input_files("#choose", tmp_path / "notes.wav")
    page.wait_for_selector("[role=alert], .summary")
    assert "H2" in page.inner_text("main")
    page.goto(f"{site.address}/plate?name=B12")
    page.click("text=Go on with it")
    page.fill("#f-keys", ",".join([*keys, absent]))
    page.click("#listen-notes")
    page.wait_for_selector("#taps .remarks", timeout=60_000)
    assert absent in page.inner_text("#taps .remarks")
    looked_at(page)
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=STORED_S)
    (entry,) = list_scans(site.register, "B12")
    assert entry.played and not entry.baseline
    played = load_screening(site.register, entry.current.id).scan.played
    assert absent in played.missing and len(played.notes) > 0
    assert page.locator("#notes").count() == 1
