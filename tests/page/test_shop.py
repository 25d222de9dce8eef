"""What else the shop knows: patterns and sets of other shops, what examinations found, every scan read anew, earlier readings; and what a comparison is told."""

import datetime as dt
import hashlib
import json
import re
import threading
import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from tapscan.page.guard import FORM_BYTES
from tapscan.page.screens import keeping, scan_mend
from tapscan.register.entries import Outcome, Plate
from tapscan.register.plates import add_plate, edit_plate
from tapscan.register.scans import add_outcome, add_screening, find_scan
from tapscan.screening.disposition import NOTHING
from tapscan.settings import Settings
from tapscan.workflow.defaults import change_defaults, read_defaults
from tapscan.workflow.evidence import evidence_of, evidence_rows, too_few
from tapscan.workflow.import_scan import Kept
from tapscan.workflow.own_layouts import keep_layout
from tapscan.workflow.pattern import standing_of
from tapscan.workflow.rescreen_all import Rescreened
from tests.every import each
from tests.page.test_recordings import until
from tests.register import built
from tests.register.conftest import put
from tests.register.recording_child import LAYOUT
from tests.snapshots import same_as_before

STRUNG = replace(built.CONDITIONS, state="strung")


def main_of(text: str) -> str:
    """Words of the page, without its tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", text.split("<main", 1)[1].split("</main>", maxsplit=1)[0]).split())


def counted(site, client, address: str, **fields: str) -> str:
    """What the page shows once it was counted."""
    at = site.post(client, address, **fields).headers["location"]
    for _ in range(600):
        answer = client.get(at, follow_redirects=False)
        if answer.status_code == 303:
            return main_of(client.get(answer.headers["location"]).text)
        time.sleep(0.05)
    raise AssertionError("it was not counted")


def headline(document: Path) -> str:
    """Of a report."""
    return " ".join(re.findall(r"<h1[^>]*>(.*?)</h1>", document.read_text(encoding="utf-8"), re.S))


@pytest.fixture
def examined(site):
    """A plate with a scan, an outcome, and two screenings of the scan."""
    name = put(site.register).name
    again = replace(built.screening((hashlib.sha256(b"taps").hexdigest(),)), headline=NOTHING)
    add_screening(site.register, name, built.made(again), None)
    add_outcome(site.register, name, Outcome("crack in strut 2", "penetrant", "A. Ulm", built.DAY))
    return name


def test_a_set_goes_out_and_comes_into_another_shop(site, examined):
    add_outcome(site.register, put(site.register, b"two").name, Outcome("nothing", "penetrant", "A. Ulm", built.DAY))
    with site.client() as client:
        made = site.post(client, "/pattern/set", name="parlour grand", called="ours", owner="")
        assert made.status_code == 200 and "attachment" in made.headers["content-disposition"]
        told = json.loads(made.content)
        assert told["name"] == "ours" and "B12" not in made.text
        token = {"x-token": site.door.token}
        assert client.put("/pattern/set?name=x.json", content=made.content).status_code == 403
        assert client.put("/pattern/set?name=x.json", content=b"{}", headers=token).status_code in (400, 409)
        large = b" " * FORM_BYTES + made.content
        taken = client.put("/pattern/set?name=x.json", content=large, headers=token)
        assert taken.json() == {"kept": "ours"}
        page = client.get("/patterns").text
        assert "ours: 1 plate" in page
        own = main_of(client.get("/pattern?name=parlour grand").text)
        same_as_before("page-pattern", own, part="with a set of another shop")
        assert client.get("/pattern", params={"name": "none such"}).status_code == 404


def test_the_pattern_page_tells_what_is_not_used(site, examined):
    with site.client() as client:
        shown = counted(site, client, "/pattern", name="parlour grand")
        names = counted(site, client, "/patterns")
    today = f"As of {dt.date.today()}"
    assert all(today in told for told in (names, shown))
    for part, told in (("all patterns, counted", names), ("one pattern, counted", shown)):
        same_as_before("page-pattern", re.sub(rf"{today} \d\d:\d\d", "As of NOW", told), part=part)
    lots = standing_of(site.register, "parlour grand", Settings())
    assert [name for lot in lots for name, _ in lot.left_out] == [examined] and examined in shown


def test_what_examinations_found_in_the_terminals_words(site, examined):
    with site.client() as client:
        assert "1 of 1" not in client.get("/evidence").text and "As of" not in client.get("/evidence").text
        shown = counted(site, client, "/evidence")
        assert f"As of {dt.date.today()}" in shown
    found = evidence_of(site.register)
    assert too_few(found) and too_few(found) in shown
    assert all(f"{what} {hits} {wrong}" in shown for what, hits, wrong, _ in evidence_rows(found))


def test_an_earlier_reading_and_its_report(site, examined):
    with site.client(follow_redirects=True) as client:
        now = client.get("/scan", params={"name": examined}).text
        assert NOTHING in now and "reading=1" in now
        assert client.get("/scan", params={"name": examined, "reading": "first"}).status_code == 400, (
            "never another reading"
        )
        was = client.get("/scan", params={"name": examined, "reading": "1"}).text
        assert "An earlier reading" in was and "<h1>Something to look at</h1>" in was
        assert client.get("/scan", params={"name": examined, "reading": "9"}).status_code == 400
        assert "An earlier reading" not in client.get("/scan", params={"name": examined, "reading": "2"}).text
        site.post(client, "/document", name=examined, kind="full", reading="1")
        documents = site.app.state.documents.name
        assert until(lambda: list(Path(documents).glob("**/*.html")), 60)
    (document,) = Path(documents).glob("**/*.html")
    assert "Something to look at" in headline(document)


def test_every_scan_is_read_anew_and_what_changed_is_told(site, examined, monkeypatch):
    gone = "its recording is gone"
    rows = [Rescreened(examined, "relevant indication", "inconclusive"), Rescreened("B12/2020-01-01", "unknown", None, gone)]  # fmt: skip
    asked = []
    monkeypatch.setattr(keeping, "rescreen_all", lambda _, left, *__: asked.extend(left) or iter(rows))
    with site.client(follow_redirects=True) as client:
        site.post(client, "/register/anew", pattern="", since="")
        assert until(lambda: getattr(site.app.state, "anew", None))
        shown = main_of(client.get("/register").text)
        assert [e.name for e in asked] == [examined]
        assert "another answer than before: 1." in shown and f"{gone}; nothing was changed" in shown
        assert site.post(client, "/register/anew", pattern="none such").status_code == 400
        none = site.post(client, "/register/anew", since="2026-03-15").text
        assert len(asked) == 1, "no scan is left of those asked for"
        same_as_before("page-register-anew", main_of(none), {str(site.register.folder): "FOLDER"})


def test_two_wishes_to_read_anew_are_two_works(site, examined, monkeypatch):
    """The second is not taken for the first, and finds what the first has left."""
    other = put(site.register, b"late", date=dt.date(2026, 5, 2)).name
    asked, waits = [], threading.Event()
    monkeypatch.setattr(
        keeping,
        "rescreen_all",
        lambda _, left, *__: iter(
            [
                Rescreened(e.name, "inconclusive", "inconclusive")
                for e in asked.append(left) or (waits.wait(20) and left)
            ]
        ),
    )
    with site.client() as client:
        for since in ("2026-05-01", ""):
            site.post(client, "/register/anew", since=since)
        waits.set()
        assert until(lambda: len(asked) == 2)
    assert [[e.name for e in left] for left in asked] == [[other], [examined, other]]


def test_around_one_job_or_across_seasons(site):
    add_plate(site.register, Plate("G7"))
    put(site.register, b"s1", plate="G7", baseline=True, conditions=STRUNG)
    put(site.register, b"s2", plate="G7", conditions=STRUNG)
    with site.client() as client:
        shown = {job: client.get("/compare", params={"plate": "G7", "job": job}).text for job in ("", "one", "seasons")}
    assert ["By their dates" in main_of(text) for text in shown.values()] == [True, False, False]
    assert all(f'value="{job}" selected' in shown[job] for job in ("one", "seasons"))


def test_beside_several_scans_of_ones_choice(site):
    names = [put(site.register, bytes([i])).name for i in range(3)]
    with site.client() as client:
        shown = client.get("/compare", params={"plate": "B12", "scan": names[2], "against": names[:2]}).text
    assert f"beside {names[0]}, {names[1]}" in main_of(shown) and shown.count("checked") == 2
    assert 'name="job"' not in shown, "a bare plate has no job between its scans"


@each("address", ["/bar", "/pattern", "/patterns", "/pattern/set", "/evidence", "/register/anew"])
def test_no_change_without_its_token(site, address):
    with site.client() as client:
        assert client.post(address, data={"name": "x"}).status_code == 403


def test_taps_at_each_place_that_were_told_wrongly(site, examined):
    with site.client() as client:
        assert site.post(client, "/scan/anew", name=examined, per_station="0").status_code == 400
    assert find_scan(site.register, examined).current.number == 2


def test_exchanged_places_are_given_back_from_the_page(site, examined, monkeypatch):
    asked = []

    def noted(register, name, _settings, _workers, changes):
        asked.append(changes)
        return Kept(find_scan(register, name), None)

    monkeypatch.setattr(scan_mend, "rescreen", noted)
    with site.client() as client:
        assert 'name="assign"' in client.get("/scan/mend", params={"name": examined}).text
        assert site.post(client, "/scan/anew", name=examined, assign="S3").status_code == 400
        site.post(client, "/scan/anew", name=examined, assign="S3=S4, S4=S3")
        assert until(lambda: asked)
    assert asked == [{"assign": (("S3", "S4"), ("S4", "S3"))}]


def test_a_layout_of_ones_own_stays_the_default_when_the_settings_are_kept(site, tmp_path):
    folder, elsewhere = site.register.folder, tmp_path / "elsewhere.toml"
    keep_layout(folder, "own", LAYOUT)
    elsewhere.write_text(LAYOUT, encoding="utf-8")
    with site.client() as client:
        for path in (folder / "layouts" / "own.toml", elsewhere):
            change_defaults(folder, [f"layout={path}"])
            (chosen,) = re.findall(r'<option value="([^"]+)" selected', client.get("/settings").text)
            assert site.post(client, "/settings", layout=chosen, hammer="brass").status_code == 303
            assert (read_defaults(folder).layout, read_defaults(folder).hammer) == (str(path), "brass")
        assert site.post(client, "/settings", layout="/etc/passwd").status_code == 409


def test_a_plate_leads_to_its_pattern_where_it_has_one(site):
    with site.client() as client:
        assert "/pattern?" in client.get("/plate?name=B12").text
        edit_plate(site.register, "B12", pattern=None)
        assert 'href="/pattern' not in client.get("/plate?name=B12").text
