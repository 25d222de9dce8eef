"""What a new scan's form begins with, and what of it is kept."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.workflow.defaults import change_defaults
from tapscan.workflow.typed_scan import first_typed, new_scan
from tests.register import built
from tests.register.conftest import put

PADS = "felt pads"
OUT, INSIDE, UNTOLD = (replace(built.CONDITIONS, state=s, supports=PADS) for s in ("stripped", "strung", None))
IN_PIANO = ({"state": "strung"}, {"state": "as-found"}, {"state": "in-piano-unstrung"}, {"what": "played"})
ELSEWHERE = ({"state": "stripped"}, {"state": "fitted-out"}, {"state": ""})


def supports(register, **typed: str) -> str | None:
    """Of a scan whose form is sent as it began, but for this."""
    return new_scan({**first_typed(register, "B12"), **typed}, register, "B12").conditions.supports


@pytest.mark.parametrize("last", [OUT, UNTOLD])
def test_supports_of_the_last_scan_are_not_taken_into_the_piano(register, last):
    put(register, conditions=last)
    assert first_typed(register, "B12")["supports"] == PADS
    assert [supports(register, **typed) for typed in IN_PIANO] == [None] * len(IN_PIANO)
    assert [supports(register, **typed) for typed in ELSEWHERE] == [PADS] * len(ELSEWHERE)


def test_what_somebody_typed_instead_stays_in_the_piano(register):
    """Where the shop has words of its own, the form begins with these."""
    put(register, conditions=OUT)
    assert [supports(register, **t, supports="casters") for t in IN_PIANO] == ["casters"] * len(IN_PIANO)
    change_defaults(register.folder, ["supports=slings"])
    assert [supports(register, **t) for t in IN_PIANO] == [None] * len(IN_PIANO)
    assert [supports(register, **t, supports=PADS) for t in IN_PIANO] == [PADS] * len(IN_PIANO), "typed by hand"


def test_words_of_a_scan_in_the_piano_were_typed(register):
    put(register, b"one", conditions=OUT)
    put(register, b"two", conditions=INSIDE, date=built.DAY + dt.timedelta(days=1))
    assert [supports(register, **t) for t in (*IN_PIANO, *ELSEWHERE)] == [PADS] * (len(IN_PIANO) + len(ELSEWHERE))
