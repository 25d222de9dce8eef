"""Where a newcomer stumbled: ways back that led elsewhere, warnings that stayed, fields that were jumped over."""

import datetime as dt
import os
import re
from pathlib import Path

from tapscan.page.screens import draft as screen
from tapscan.page.screens.documents import OWN_POLICY
from tapscan.places import IN_PIANO, STATES
from tapscan.register.entries import Outcome
from tapscan.register.scans import add_outcome
from tapscan.workflow.at_a_glance import lines
from tapscan.workflow.baseline import TELLS, advice
from tapscan.workflow.defaults import change_defaults
from tapscan.workflow.draft import find_draft
from tapscan.workflow.keep_draft import typed_of
from tapscan.workflow.last_register import remember
from tapscan.workflow.own_layouts import keep_layout
from tapscan.workflow.register import is_register
from tests.every import each
from tests.page.test_recordings import until
from tests.page.test_shop import main_of
from tests.register import built
from tests.register.conftest import put
from tests.register.recording_child import LAYOUT
from tests.register.test_bar import plate_file
from tests.register.test_mending import silent
from tests.snapshots import same_as_before
from tests.sounds import encoded, taps_at

COMPARE = re.compile(r'href="/compare\?')
ALL_SAID = {"date": "2026-03-20", "state": "stripped", "iron_c": "20"}


def test_what_cannot_be_compared_yet_invites_another_recording(site):
    baseline = put(site.register, baseline=True).name
    with site.client() as client:
        for_the_plate, for_the_scan = client.get("/plate?name=B12").text, client.get(f"/scan?name={baseline}").text
        assert not COMPARE.search(for_the_plate) and not COMPARE.search(for_the_scan)
        by_itself = f"compared with the baseline: the scan of {built.DAY}"
        assert by_itself in for_the_plate and for_the_plate.count('action="/draft/new"') == 1, "one button begins"
        later = put(site.register, b"two").name
        for_the_plate, for_the_scan = client.get("/plate?name=B12").text, client.get(f"/scan?name={later}").text
    assert COMPARE.search(for_the_plate) and COMPARE.search(for_the_scan)
    assert by_itself in for_the_plate and for_the_plate.count('action="/draft/new"') == 1, "one button begins"


def test_a_comparison_that_cannot_be_made_leads_back_to_its_plate(site):
    put(site.register, baseline=True)
    with site.client() as client:
        told = client.get("/compare?plate=B12")
        assert told.status_code == 400 and 'href="/plate?name=B12"' in told.text and "To B12" in main_of(told.text)
        assert client.get("/compare?plate=none").status_code == 404


@each(("method", "typed"), [("GET", False), ("POST", True)])
def test_of_what_was_typed_speaks_only_who_was_sent_something(site, method, typed):
    with site.client() as client:
        told = client.request(method, "/plate/edit?name=none", data={"token": site.door.token, "was": "none"})
    assert told.status_code in (400, 404) and ("What you had typed" in told.text) == typed


def dropped(site, client, tmp_path, **typed: str) -> str:
    """Where it leads, once the recordings were listened to."""
    keep_layout(site.register.folder, "three", LAYOUT)
    begun = site.post(client, "/draft/new", plate="B12").headers["location"]
    sound = Path(plate_file(tmp_path, "t1.wav", 1)).read_bytes()
    client.put(f"{begun.replace('?', '/file?')}&name=t1.wav", content=sound, headers={"x-token": site.door.token})
    draft = find_draft(site.register, begun.rpartition("=")[2])
    told = {"layout": "three", "order": "soft,hard", **typed}
    answer = site.post(client, "/draft", id=draft.id, seen=draft.version, act=f"listen:{screen.DROPPED}", **told)
    work = site.app.state.works.find(answer.headers["location"].rpartition("=")[2])
    assert until(lambda: work.over, 60) and not work.problem
    return work.leads_to


def test_after_the_drop_come_the_fields_that_stand_empty(site, tmp_path):
    with site.client() as client:
        led = dropped(site, client, tmp_path)
        assert led.endswith("#how")
        shown = client.get(led).text
        assert 'id="how"' in shown and "Fill in here" in shown
        led = dropped(site, client, tmp_path, **ALL_SAID)
        assert led.endswith("#taps") and "Fill in here" not in client.get(led).text


def test_the_warning_on_the_state_goes_when_it_is_chosen(site, browser_page, tmp_path):
    put(site.register, baseline=True)
    with site.client() as client:
        browser_page.goto(site.address + dropped(site, client, tmp_path))
    warning = "[data-until=state]"
    assert browser_page.is_visible(warning)
    browser_page.select_option("#f-state", "stripped")
    assert not browser_page.is_visible(warning)
    browser_page.select_option("#f-state", "")
    assert browser_page.is_visible(warning)


def test_what_stands_as_at_the_last_scan_says_so(site):
    last = put(site.register, baseline=True)
    said = f"As on {last.date.isoformat()}"
    with site.client(follow_redirects=True) as client:
        forms = [client.get("/record/new?plate=B12").text, site.post(client, "/draft/new", plate="B12").text]
    for shown in forms:
        assert said in shown.partition('id="h-sensor"')[2].partition("</small>")[0]
        assert said not in shown.partition('id="h-state"')[2].partition("</small>")[0], "it is asked for anew"


def hint_of_the_sensor(site, client, draft, name: str, content: bytes, **typed: str) -> str:
    """As it stands once this file has come in."""
    put_in = client.put(f"/draft/file?id={draft}&name={name}", content=content, headers={"x-token": site.door.token})
    site.post(client, "/draft", id=draft, seen=put_in.json()["version"], act="look", **typed)
    return client.get(f"/draft?id={draft}").text.partition('id="h-sensor"')[2].partition("</small>")[0]


def test_beside_the_shops_pickup_a_phones_take_is_asked_about(site):
    change_defaults(site.register.folder, ["sensor=contact"])
    taps = taps_at([0.5], 1, 16000)
    with site.client() as client:
        for what in ("taps", "played"):
            draft = site.post(client, "/draft/new", plate="B12").headers["location"].rpartition("=")[2]
            assert typed_of(find_draft(site.register, draft))["sensor"] == "contact", "before there is a file"
            pickup = {"sensor": "contact", "what": what}
            assert "compressed" not in hint_of_the_sensor(
                site, client, draft, "a.flac", encoded(taps, 16000, "flac"), **pickup
            )
            asks = hint_of_the_sensor(site, client, draft, "b.m4a", encoded(taps, 16000, "m4a"), **pickup)
            assert "b.m4a" in asks and "a.flac" not in asks and "compressed" in asks and "pickup" in asks
            told = hint_of_the_sensor(site, client, draft, "c.m4a", encoded(taps, 16000, "m4a"), sensor="microphone")
            assert "compressed" not in told, "somebody has said it"


def test_a_scan_of_older_files_is_not_stored_as_of_today_without_a_word(site, browser_page, tmp_path):
    """Recorded late, dropped in early the next day."""
    with site.client() as client:
        address = dropped(site, client, tmp_path, state="stripped")
    page, take = browser_page, tmp_path / "late.wav"
    take.write_bytes(b"")
    os.utime(take, (evening := dt.datetime(2026, 3, 2, 23, 50).timestamp(), evening))
    sent = []
    page.clock.set_fixed_time(dt.datetime(2026, 3, 3, 0, 10))
    page.route("**/draft", lambda route: (sent.append(route.request.post_data), route.fulfill(body="sent")))
    page.route("**/draft/file?*", lambda route: route.fulfill(json={"version": 2}))
    page.goto(site.address + address)
    page.set_input_files("#choose", take)
    page.wait_for_selector("text=sent")
    sent.clear()
    page.goto(site.address + address)
    page.click("#store")
    assert "2026-03-02" in page.inner_text("#f-date ~ [role=alert]") and sent == []
    page.click("#day-offer")
    page.click("#store")
    page.wait_for_selector("text=sent")
    assert len(sent) == 1 and "2026-03-02" in sent[0]


def test_a_plate_and_the_list_of_plates_say_the_same_of_one_baseline_scan(site):
    silent(site.register, "2026-03-14", baseline=True, checklist=())
    (line,) = lines(site.register)
    told = advice(1, state="stripped")
    assert line.next == f"{TELLS}." and told.startswith(TELLS)
    with site.client() as client:
        assert line.next in main_of(client.get("/").text) and told in main_of(client.get("/plate?name=B12").text)


def test_a_finding_that_an_examination_did_not_confirm_stands_first_on_both(site):
    found = put(site.register, baseline=True).name
    add_outcome(site.register, found, Outcome("nothing", "penetrant", "A. Ulm", built.DAY))
    (line,) = lines(site.register)
    assert line.first == line.next and "qualified person" in line.next
    with site.client() as client:
        assert all(line.next in main_of(client.get(path).text) for path in ("/", "/plate?name=B12"))


@each("state", [None, *STATES])
@each(("marked", "asked"), [(1, "twice more"), (2, "once more"), (3, None)])
def test_scans_are_asked_for_until_the_baseline_has_three_and_in_its_piano_no_plate_is_lifted(marked, asked, state):
    told = advice(marked, state=state)
    if state not in IN_PIANO:
        assert asked in told if asked else "more" not in told
    elif marked < 3:
        assert TELLS not in told
    assert ("lift the plate" in told) == (marked < 3 and state not in IN_PIANO)
    assert ("never lifted" in told) == (marked < 3 and state in (None, *IN_PIANO))
    assert ("at the same visit" in told) == (marked == 1 and state in (None, *IN_PIANO))


def test_no_hint_of_a_form_for_a_scan_has_a_plate_lifted_in_its_piano(site):
    with site.client(follow_redirects=True) as client:
        for shown in (client.get("/record/new?plate=B12"), site.post(client, "/draft/new", plate="B12")):
            (hint,) = re.findall(r"<small>([^<]*lifted[^<]*)</small>", shown.text)
            assert "out of the piano" in hint and "never lifted" in hint


@each("address", ["/record/new?plate=B12", "draft"])
def test_the_tick_says_what_it_does(site, address):
    with site.client(follow_redirects=True) as client:
        page = (site.post(client, "/draft/new", plate="B12") if address == "draft" else client.get(address)).text
    assert "becomes none" not in main_of(page)
    tick = re.findall(r'<input type="checkbox" name="baseline".*?<span>(.*?)</label>', page, re.S)
    assert len(tick) == 1 and "is the baseline" in tick[0]
    same_as_before("page-scan-facts", re.sub("<.*?>", "\n", tick[0]), part="the tick for a baseline")


def test_a_report_leads_back_and_is_saved_without_the_pages_own_words(site):
    name = put(site.register).name
    with site.client() as client:
        begun = site.post(client, "/document", name=name, kind="summary").headers["location"]
        work = site.app.state.works.find(begun.rpartition("=")[2])
        assert until(lambda: work.over, 60) and not work.problem
        shown, saved = client.get(f"{work.leads_to}&back=/%5Celsewhere"), client.get(f"{work.leads_to}&save=1")
    ways = shown.text.partition('class="ways"')[2].partition("</p>")[0]
    assert f'href="/scan?name={name.replace("/", "%2F")}"' in ways and "save=" in ways and "elsewhere" not in ways
    assert 'class="ways"' not in saved.text and saved.headers["content-disposition"].startswith("attachment")
    assert shown.headers["content-security-policy"] == saved.headers["content-security-policy"] == OWN_POLICY


def test_the_button_that_stores_says_with_what_it_compares_and_a_baseline_scan_with_nothing(
    site, browser_page, tmp_path
):
    put(site.register, baseline=True)
    with site.client() as client:
        browser_page.goto(site.address + dropped(site, client, tmp_path, **ALL_SAID))
    compares = f"compare it with the scan of {built.DAY}"
    assert compares in browser_page.inner_text("#store")
    browser_page.check("[name=baseline]")
    assert compares not in browser_page.inner_text("#store")


def test_what_people_found_stands_once_on_a_scans_page_in_the_rows_of_the_report(site):
    name = put(site.register).name
    scratch = "a scratch beside strut 3"
    add_outcome(site.register, name, Outcome(scratch, "penetrant", "A. Ulm", built.DAY))
    with site.client() as client:
        shown = main_of(client.get(f"/scan?name={name}").text).partition("What to do next")[0]
    assert shown.count(scratch) == 1
    same_as_before("page-scan", shown, part="found by people")


def test_a_second_register_is_begun_on_the_page_after_one_question(site, tmp_path):
    """Else the button that begins one led nowhere."""
    remember(site.app.state.place)
    other = tmp_path / "another"
    site.app.state.place, site.app.state.folder, site.app.state.register = other, other, None
    with site.client() as client:
        assert 'name="begin"' in client.get("/plate/new").text
        assert site.post(client, "/plate/new", name="B1").status_code >= 400 and not is_register(other)
        assert site.post(client, "/plate/new", name="B1", begin="yes").status_code < 400 and is_register(other)
        assert 'name="begin"' not in client.get("/plate/new").text
