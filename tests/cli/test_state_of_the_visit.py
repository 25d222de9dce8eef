"""A scan whose state nobody typed takes that of the same day's visit, and says so; another state, or `unknown`, stays as typed."""

import datetime as dt
from pathlib import Path

import pytest

from tapscan.cli.facts import Typed
from tapscan.cli.visited import as_visited
from tapscan.register.database import open_register
from tapscan.register.scans import list_scans
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import keep_visit
from tapscan.workflow.typed_scan import as_before, first_typed, of_its_visit
from tests.cli.commands import run
from tests.every import each
from tests.onsite.take import RATE_HZ, take

DAY = dt.date(2026, 11, 27)


@pytest.fixture
def taps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    import soundfile

    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    assert run("plate", "add", "U7").status == 0
    soundfile.write(tmp_path / "t.wav", take(), RATE_HZ, subtype="PCM_24")
    keep_visit(open_register(tmp_path / "register"), Visit("U7", DAY, state="strung"))
    return tmp_path


def test_the_state_of_that_days_visit_is_taken_and_told(taps):
    """Without it the take would not be what the layout asks for."""
    named = ("--layout", "upright-short", "--order", "soft,hard,hard", "--sensor", "microphone", "--date", DAY)
    told = run("scan", "import", "u7", taps / "t.wav", *named, "--yes")
    assert told.status == 0 and "visit of 2026-11-27" in told.err
    assert list_scans(open_register(taps / "register"))[-1].conditions.state == "strung"


@each(
    ("typed", "on", "state"),
    [
        (None, DAY, "strung"),
        ("unknown", DAY, "unknown"),
        ("primed", DAY, "primed"),
        (None, DAY - dt.timedelta(1), None),
    ],
)
def test_what_was_typed_stays_and_another_days_visit_says_nothing(typed, on, state, taps):
    assert as_visited(open_register(taps / "register"), "u7", on, Typed(state=typed)).state == state


def test_the_form_of_a_new_scan_begins_with_todays_and_tells_of_another_days(taps):
    register, today = open_register(taps / "register"), dt.date.today()
    assert first_typed(register, "U7")["state"] == ""
    assert "visit of 2026-11-27" in as_before(register, "U7", {"date": str(DAY), "state": ""})["state"]
    assert "state" not in as_before(register, "U7", {"date": str(DAY), "state": "stripped"})
    assert "state" not in as_before(register, "U7", {"date": "nonsense", "state": ""})
    keep_visit(register, Visit("U7", today, state="in-piano-unstrung"))
    typed = first_typed(register, "U7")
    assert typed["state"] == "in-piano-unstrung" and "change it" in as_before(register, "U7", typed)["state"]


def test_the_state_of_another_days_visit_is_filled_in_once_and_goes_with_its_day(taps):
    register = open_register(taps / "register")
    keep_visit(register, Visit("U7", DAY.replace(day=20), state="in-piano-unstrung"))

    def filled(on, state, taken):
        told, now = of_its_visit(register, "U7", {"date": str(on), "state": state}, taken)
        return told["state"], now

    first = str(DAY)
    assert filled(DAY, "", None) == ("strung", first)
    assert filled(DAY, "", first) == ("", first), "a person has emptied it"
    assert filled(DAY, "stripped", None) == ("stripped", None)
    assert filled(DAY.replace(day=20), "strung", first) == ("in-piano-unstrung", "2026-11-20")
    assert filled(DAY.replace(day=21), "strung", first) == ("", None)
    assert filled(DAY.replace(day=21), "stripped", first) == ("stripped", None)
    assert filled("nonsense", "strung", first) == ("strung", first)
