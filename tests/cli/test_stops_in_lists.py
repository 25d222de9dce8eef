"""Lists of plates and visits say to stop as the page does, and who takes a plate out of the list is told what is open."""

import datetime as dt

import pytest

from tapscan.places import CHECKLIST
from tapscan.register.database import make_register
from tapscan.register.entries import Outcome, Plate
from tapscan.register.plates import add_plate, find_plate
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_outcome, keep_visit
from tapscan.screening.next_steps import STOP
from tapscan.screening.short_steps import DECIDED, SHORT
from tests.cli.commands import run

DAY = dt.date(2026, 10, 1)
LINE = Look("rim", "note", ("iron-line",), "2 cm")


@pytest.fixture
def register(tmp_path, monkeypatch):
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    made = make_register(tmp_path / "register")
    for name in ("A", "B", "C"):
        add_plate(made, Plate(name))
    keep_visit(made, Visit("A", DAY, state="strung", looks=(LINE,)))
    flawed = keep_visit(made, Visit("B", DAY, state="strung", looks=(LINE,)))
    add_look_outcome(made, flawed, "rim", Outcome("crack, 20 mm", "penetrant", "A. Ulm", DAY))
    return made


def test_a_list_of_plates_says_to_stop(register):
    told = run("plate", "list").out
    assert (
        f"Next for A: {SHORT[STOP]}" in told and DECIDED in told.partition("Next for B")[2] and "Next for C" not in told
    )
    first, second = run("visit", "list").out.splitlines()
    assert "is open" in first and "flaw" in second


def test_who_retires_a_plate_is_told_what_is_open(register):
    for name, words in (("A", CHECKLIST["iron-line"]), ("B", "crack, 20 mm"), ("C", None)):
        lines = run("plate", "retire", name, "--why", "sold").out.splitlines()
        assert find_plate(register, name).retired_why == "sold"
        assert len(lines) == 1 + bool(words) and (words is None or words in lines[1])
