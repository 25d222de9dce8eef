"""Ways to put something right: taps that are left out, a scan that may be another plate's, content for other programs."""

import datetime as dt
import hashlib
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from msgspec.structs import replace

from tapscan.page.screens.draft import _ticked
from tapscan.records import Doubt, Fingerprint
from tapscan.register.corrections import void_scan
from tapscan.register.entries import Plate
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate
from tapscan.register.scans import edit_scan, find_scan, store_scan
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import keep_visit
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow import moved
from tapscan.workflow.conclude import conclude
from tapscan.workflow.draft import find_draft
from tapscan.workflow.import_scan import Kept
from tapscan.workflow.keep_draft import typed_of
from tapscan.workflow.typed_scan import new_scan
from tests.every import each
from tests.page.test_recordings import until
from tests.register import built
from tests.register.conftest import put

BESIDE = Fingerprint(0.1, 0.1, 0.8, 0.0)


def works(site, answer):
    """The work that this answer leads to, once it is over."""
    work = site.app.state.works.find(answer.headers["location"].rpartition("=")[2])
    assert until(lambda: work.over, 60)
    return work


def test_each_kind_for_other_programs_has_a_name_of_its_own(site):
    with site.client() as client:
        shown = client.get("/register").text
        forms = re.findall(r'name="target" required value="([^"]+)".*?name="kind" value="(\w+)"', shown, re.DOTALL)
        offered = {kind: Path(name) for name, kind in forms if kind in ("csv", "json")}
        assert offered["json"].suffix == ".json" and not offered["csv"].suffix
        for kind, name in offered.items():
            assert not works(site, site.post(client, "/register/export", target=str(name), kind=kind)).problem
            assert name.is_dir() == (kind == "csv")
        wrong = works(site, site.post(client, "/register/export", target=str(offered["csv"]), kind="json"))
        assert str(offered["csv"]) in str(wrong.problem)


def doubtful(register, doubt: Doubt) -> str:
    alone = replace(built.screening((hashlib.sha256(b"x").hexdigest(),)), indications=(), doubts=(doubt,))
    new = built.new_scan(date=dt.date(2026, 4, 1), checklist=())
    files = [keep_bytes(register.folder, b"x", "S1_1.wav")]
    return store_scan(register, "B12", new, built.made(conclude(alone, Settings())), files).name


def led_to(client, shown: str, words: str):
    """The page that the link with these words leads to, and the part of it."""
    address = urlsplit(re.search(rf'href="([^"]+)">{words}<', shown)[1].replace("&amp;", "&"))
    return client.get(address.path, params=parse_qs(address.query)).text, address.fragment


def test_a_scan_like_another_plates_leads_to_that_plate_and_is_read_anew_there(site, monkeypatch):
    add_plate(site.register, Plate("K11"))
    name = doubtful(site.register, Doubt("which plate", "B12/2026-01-01", "Doubt.", BESIDE, (), "K11/2026-02-01"))
    read = []

    def noted(register, name, _settings, _workers):
        read.append(name)
        return Kept(find_scan(register, name), None)

    monkeypatch.setattr(moved, "rescreen", noted)
    with site.client() as client:
        shown = client.get("/scan", params={"name": name}).text
        assert shown.index("<h1>") < shown.index('id="doubt"') < shown.index('class="summary"')
        mend, part = led_to(client, shown, "It is another plate's")
        assert 'value="K11"' in mend.partition(f'id="{part}"')[2].partition("</section>")[0]
        works(site, site.post(client, "/scan/move", name=name, plate="K11", why="wrong label"))
        form = client.get("/scan/mend", params={"name": "K11/2026-04-01"}).text.partition('id="day"')[2]
        assert 'value="2026-04-01"' in form and 'name="plate" value="K11"' in form
        on = {"name": "K11/2026-04-01", "plate": "K11", "why": "the clock", "day": "2026-03-30"}
        works(site, site.post(client, "/scan/move", **on))
        on = {"name": "K11/2026-03-30", "plate": "K11", "why": "the clock", "day": "2099-03-30"}
        assert site.post(client, "/scan/move", **on).status_code == 400
    assert read == ["K11/2026-04-01", "K11/2026-03-30"]


def test_of_a_scan_that_does_not_count_nobody_is_asked_whose_it_is(site):
    name = doubtful(site.register, Doubt("which plate", "B12/2026-01-01", "Doubt.", BESIDE, (), "K11/2026-02-01"))
    void_scan(site.register, name, "wrong take", dt.date(2026, 5, 1))
    with site.client() as client:
        assert 'id="doubt"' not in client.get("/scan", params={"name": name}).text


def test_exchanged_places_are_given_back_as_they_were_noticed(site):
    back = (("S2", "S1"), ("S1", "S2"))
    doubt = Doubt("which places", "B12/2026-01-01", "Doubt.", BESIDE, ("S1", "S2"), give_back=back)
    name = doubtful(site.register, doubt)
    with site.client() as client:
        mend, part = led_to(client, client.get("/scan", params={"name": name}).text, "give them back")
    form = mend.partition(f'id="{part}"')[2]
    assert re.search(r'name="assign"[^>]*value="S2=S1, S1=S2"', form) and 'name="skip"' in form


@each(("sensor", "ticked"), [("microphone", False), ("", False), ("contact", True)])
def test_a_scan_in_the_piano_becomes_a_baseline_only_by_a_pickup(site, browser_page, sensor, ticked):
    browser_page.goto(f"{site.address}/plate?name=B12")
    browser_page.click('form[action="/draft/new"] button')
    assert browser_page.is_checked("[name=baseline]")
    browser_page.select_option("#f-state", "strung")
    browser_page.select_option("#f-sensor", sensor)
    assert browser_page.is_checked("[name=baseline]") == ticked
    browser_page.select_option("#f-state", "stripped")
    assert browser_page.is_checked("[name=baseline]")
    typed = {"state": "strung", "sensor": sensor, "baseline": "yes"}
    assert new_scan(typed, site.register, "B12").baseline == ticked
    assert new_scan({**typed, "state": "stripped"}, site.register, "B12").baseline
    shown = _ticked(typed)
    assert bool(shown["baseline"]) == ticked


def test_no_reason_makes_a_baseline_of_what_no_pickup_heard_in_the_piano(site):
    heard = replace(built.CONDITIONS, state="strung", sensor=Sensor("microphone"))
    name = put(site.register, conditions=heard).name
    with site.client() as client:
        form = (
            client.get("/scan/mend", params={"name": name}).text.partition("/scan/baseline")[2].partition("</form>")[0]
        )
        assert "pickup" in form and "<button" not in form and 'name="although"' not in form
        answer = site.post(client, "/scan/baseline", name=name, act="add", although="it is new")
    assert answer.status_code == 400 and "tapscan scan" not in answer.text
    assert not find_scan(site.register, name).baseline


def test_a_draft_for_another_days_visit_has_its_state_filled_in_and_stores_nothing_unseen(site):
    keep_visit(site.register, Visit("B12", dt.date(2026, 3, 14), state="strung"))
    with site.client() as client:
        number = site.post(client, "/draft/new", plate="B12").headers["location"].rpartition("=")[2]
        typed = {"date": "2026-03-14", "state": ""}

        def press(act: str, **more: str) -> str:
            seen = str(find_draft(site.register, number).version)
            return site.post(client, "/draft", id=number, act=act, seen=seen, **(typed | more)).headers["location"]

        assert press("store").endswith("#how"), "nothing is listened to, nothing stored"
        shown = client.get("/draft", params={"id": number}).text
        field = shown.partition('id="f-state"')[2].partition("</p>")[0]
        assert re.search(r'value="strung"[^>]* selected', field) and "visit of 2026-03-14" in field
        press("look")
        assert typed_of(find_draft(site.register, number))["state"] == "", "a person has emptied it"


def test_what_is_to_be_read_anew_can_be_from_its_own_page(site):
    name = put(site.register).name
    entry = find_scan(site.register, name)
    button = 'action="/scan/anew"'
    with site.client() as client:
        assert button not in client.get("/scan", params={"name": name}).text
        edit_scan(site.register, name, lambda e: replace(e, conditions=replace(e.conditions, state="strung")))
        assert button in client.get("/scan", params={"name": name}).text
        assert button not in client.get("/scan", params={"name": name, "reading": entry.current.number}).text
        void_scan(site.register, name, "a lorry", dt.date(2026, 6, 1))
        assert button not in client.get("/scan", params={"name": name}).text
