"""What may be struck in which state: the stations a recording should hold, and the warning when one was struck all the same."""

import re
from dataclasses import replace

import pytest

from tapscan.layouts import read_layout
from tapscan.layouts.assignment import expected, left_out, split, wanted
from tapscan.places import Layout, Station
from tapscan.records import Recording, Scan, Strike
from tapscan.screening.limitations import limitations
from tapscan.settings import Settings
from tests.snapshots import same_as_before

GRAND = read_layout("grand-short")
EVERY = [f"S{k}" for k in range(1, 9)]
STRUNG = ["S1", "S6", "S7", "S8"]


def onsets(groups: int, taps: int = 4) -> list[float]:
    """Three seconds between taps, eight between stations."""
    return [k * (3.0 * taps + 5.0) + 3.0 * i for k in range(groups) for i in range(taps)]


@pytest.mark.parametrize(
    ("state", "groups", "stations"),
    [
        ("strung", 4, STRUNG),  # as the sheet says
        ("strung", 8, EVERY),  # struck all the same: told, not pressed into the wrong places
        ("stripped", 8, EVERY),
        (None, 8, EVERY),
        (None, 4, EVERY),
    ],
)
@pytest.mark.parametrize("per_station", [4, None])
def test_one_recording_holds_the_stations_that_may_be_struck(state, groups, stations, per_station):
    assert expected(GRAND, state, onsets(groups), per_station) == stations


def test_taps_of_a_strung_plate_go_to_the_stations_that_were_tapped():
    at = onsets(4)
    told, how = split(at, expected(GRAND, "strung", at, 4), 4)
    assert told == [s for s in STRUNG for _ in range(4)] and how == "split at the pauses"


def test_without_a_layout_or_without_a_station_allowed():
    assert expected(None, "strung", [1.0], 1) is None and wanted(None, "strung", ["A"]) is None
    assert left_out(None, "strung", ["A"]) == []
    bare = Layout("m", "k", "", (Station("A", "rim", 0.1, 0.1, states=("stripped",)),))
    assert expected(bare, "strung", [1.0], 1) == ["A"]


def test_what_is_missing_is_told_of_those_that_may_be_struck():
    assert wanted(GRAND, "strung", ["S1", "S6"]) == STRUNG
    assert wanted(GRAND, "strung", ["S1", "S4"]) == ["S1", "S4", "S6", "S7", "S8"]
    (line,) = left_out(GRAND, "strung", ["S1", "S4"])
    assert re.findall(r"S\d", line) == ["S2", "S3", "S5"]
    same_as_before("shortfalls", line, part="places that may not be struck")
    assert left_out(GRAND, "stripped", []) == []


def scan(state, stations):
    strikes = tuple(Strike(f"T{k}", "F1", s, None, float(k), 1.0, 0.4, -30.0, 45.0) for k, s in enumerate(stations))
    return Scan((Recording("F1", "a.wav", "00" * 32, 48000, 1, 0, 9.0),), strikes, (), state, GRAND.name, (), GRAND)


def warned(s: Scan) -> list[str]:
    return [w for w in limitations(s, Settings()) if "says not to strike" in w]


def test_a_station_struck_in_a_state_that_rules_it_out_is_told_first():
    s = scan("strung", ["S1", "S4", "S5"])
    assert warned(s) == [
        "The layout grand-short says not to strike S4 and S5 in this state (strung), but they were struck. Near pins, "
        "agraffes and strings a blow can break a string, and the strings ring along in what was heard: leave them out, "
        "or test the plate bare."
    ]
    assert limitations(s, Settings())[0] == warned(s)[0]


@pytest.mark.parametrize(
    "s",
    [
        scan("strung", STRUNG),
        scan("stripped", EVERY),
        scan(None, EVERY),
        replace(scan("strung", EVERY), map=None),
        scan("strung", ["elsewhere"]),
    ],
)
def test_nothing_is_told_where_nothing_is_known_to_be_wrong(s):
    assert warned(s) == []
