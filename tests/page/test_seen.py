"""What a person saw, as it is entered and shown; what an older scan says of a later one; whose step it is."""

import datetime as dt
import hashlib
import html

from msgspec.structs import replace

from tapscan.register.entries import IN_IRON, Finding
from tapscan.register.files import keep_bytes
from tapscan.register.scans import edit_scan, find_scan, store_scan
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.report.first_screen import EYE_FIRST
from tapscan.screening.next_steps import STOP
from tapscan.screening.short_steps import SHORT
from tapscan.settings import Settings
from tapscan.workflow.at_a_glance import KINDS
from tapscan.workflow.baseline import FIRST, TELLS
from tapscan.workflow.conclude import conclude
from tapscan.workflow.eye import eye_of
from tapscan.workflow.eye_list import NAMED, asked_of, places_of
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.report import steps
from tapscan.workflow.standing import later
from tests.cli.commands import flat, run
from tests.page.test_shop import main_of
from tests.register import built
from tests.register.conftest import put
from tests.register.test_mending import silent

SAID = "2 cm, upper edge"


def entered(site, client, name, **fields):
    return site.post(client, "/scan/eye", name=name, **fields)


def test_a_line_in_the_iron_is_entered_at_a_place_that_the_scan_named(site):
    name = put(site.register, checklist=()).name
    groups = places_of(stored_screening(site.register, find_scan(site.register, name)))
    place = dict(groups)[NAMED][0]
    with site.client() as client:
        form = client.get(f"/scan/eye?name={name}").text
        assert form.index("eye-iron-line") < form.index("eye-rust-line") and "eye-pitch-not-held" not in form
        assert html.escape(place) in form.partition(NAMED)[2].partition("</optgroup>")[0]
        told = {f"eye-{IN_IRON}": "seen", f"place-{IN_IRON}": place, f"note-{IN_IRON}": SAID}
        assert entered(site, client, name, **told).status_code == 303
        for address in (f"/scan?name={name}", "/plate?name=B12"):
            shown = html.unescape(client.get(address).text)
            assert shown.index(f"({place}: {SAID})") < shown.index(
                "What to do next" if "scan?" in address else "<h2>Scans"
            )
    entry = find_scan(site.register, name)
    assert entry.checklist == (Finding(IN_IRON, "seen", f"{place}: {SAID}"),)
    assert (asked_of(entry, groups)[0].place, asked_of(entry, groups)[0].note) == (place, SAID), "as it was entered"


def test_a_line_that_was_seen_is_taken_from_the_list_with_a_reason_alone(site):
    name = put(site.register, checklist=(Finding(IN_IRON, "seen", SAID),)).name
    with site.client() as client:
        away = entered(site, client, name, **{f"eye-{IN_IRON}": "not seen"})
        assert away.status_code == 400 and find_scan(site.register, name).seen
        assert 'name="mistake"' in client.get("/scan/eye", params={"name": name}).text
        told = {f"eye-{IN_IRON}": "not seen", "mistake": "another plate was meant"}
        assert entered(site, client, name, **told).status_code == 303
        said = client.get("/scan", params={"name": name}).text
    assert "another plate was meant" in said and SAID in said and not find_scan(site.register, name).seen


def test_what_is_told_but_not_answered_is_asked_about(site):
    name = put(site.register, checklist=()).name
    with site.client() as client:
        for told in ({f"note-{IN_IRON}": SAID, f"eye-{IN_IRON}": "not looked at"}, {"place-rust-line": "rim"}):
            answer = entered(site, client, name, **told)
            assert answer.status_code == 400 and "whether it was seen" in answer.text and 'role="alert"' in answer.text
            assert SAID not in told.values() or f'value="{SAID}"' in answer.text, "what was typed is still there"
    assert find_scan(site.register, name).checklist == ()


def test_an_older_scans_page_leads_to_the_later_one(site):
    first = silent(site.register, "2026-03-14", checklist=()).name
    last = put(site.register, date=dt.date(2026, 5, 1), checklist=()).name
    (newer,) = later(site.register, find_scan(site.register, first))
    with site.client() as client:
        shown = html.unescape(client.get(f"/scan?name={first}").text)
        assert shown.index(newer.told) < shown.index("<h1>") and f"name={last.replace('/', '%2F')}" in shown
        assert newer.told not in html.unescape(client.get(f"/scan?name={last}").text)
    told = flat(run("scan", "show", first, "--register", site.register.folder).out)
    assert newer.told.replace(" ", "") in told.replace(" ", "")


def test_more_scans_are_asked_for_only_while_nothing_is_open(site):
    name = silent(site.register, "2026-03-14", baseline=True, checklist=()).name
    with site.client() as client:
        assert TELLS in client.get("/plate?name=B12").text
        edit_scan(site.register, name, _seen)
        shown = client.get("/plate?name=B12").text
        assert TELLS not in shown and FIRST in shown
    told = flat(run("plate", "show", "B12", "--register", site.register.folder).out)
    assert TELLS not in told and FIRST in told


def _seen(entry):
    return replace(entry, checklist=(Finding(IN_IRON, "seen"),))


def test_whose_step_it_is_reads_alike_everywhere(site):
    name = put(site.register, checklist=(Finding(IN_IRON, "seen"),)).name
    told = run("scan", "show", name, "--register", site.register.folder).out
    with site.client() as client:
        shown = html.unescape(main_of(client.get(f"/scan?name={name}").text))
    titles = [title for title, _ in steps(("Workshop: a", "Buyer: b"))]
    assert len(titles) == 2
    for title in titles:
        assert title in shown and title in told
    assert "Buyer:" not in shown and "Buyer:" not in told


def test_a_plate_that_the_eye_stops_is_never_to_be_tapped_on_any_page(site):
    """The eye saw something on a visit, and the taps of that day give no answer."""
    day = dt.date(2026, 3, 14)
    keep_visit(site.register, Visit("B12", day, state="strung", looks=(Look("struts", "note", (), SAID),)))
    played = replace(built.CONDITIONS, state="strung")
    scan = replace(built.screening((hashlib.sha256(b"x").hexdigest(),)).scan, state="strung", strikes=())
    with site.client() as client:
        for stored in (False, True):
            if stored:
                alone = replace(built.screening(()), scan=scan, indications=(), summary="")
                result = conclude(alone, Settings(), (), eye_of(site.register, "B12", day, ()))
                new = built.new_scan(date=day, conditions=played, checklist=())
                store_scan(
                    site.register, "B12", new, built.made(result), [keep_bytes(site.register.folder, b"x", "a.wav")]
                )
            plates, plate = (main_of(client.get(at).text) for at in ("/", "/plate?name=B12"))
            assert SHORT[STOP] in plates and f"{KINDS['repeat']} 0" in plates and f"{KINDS['look']} 1" in plates
            assert "Repeat the test" not in plates and "Scan it" not in plates
            assert SHORT[STOP] in plate and "Still open" in plate and STOP.text in html.unescape(plate)
            assert (
                "Record at the plate" not in plate
                and "New scan from files" not in plate
                and "Each new scan" not in plate
            )
            assert SAID in plate.partition(" Visits ")[2], "the visit's line"
        page = html.unescape(main_of(client.get("/scan?name=B12/2026-03-14").text))
        first = page.partition("What to do next")[0]
        assert SAID in first and EYE_FIRST.partition("; ")[2] in first
        assert page.index("found by people") < page.index("How sure") and STOP.text in page
    said = [
        flat(run(*words, "--register", site.register.folder).out)
        for words in (("scan", "list"), ("plate", "show", "B12"), ("history", "B12"))
    ]
    assert all(any(one in told for one in (SHORT[STOP], STOP.text)) for told in said)
