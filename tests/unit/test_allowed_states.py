"""What may be struck in which state: the stations a recording should hold, and the warning when one was struck all the same."""

import re

import pytest
from msgspec.structs import replace

from tapscan.layouts import read_layout
from tapscan.layouts.assignment import expected, left_out, split, struck_barred, wanted
from tapscan.layouts.take import Take, mismatch
from tapscan.places import Layout, Station
from tapscan.records import Recording, Scan, Strike
from tapscan.screening.limitations import limitations
from tapscan.settings import Settings
from tapscan.workflow.check import Request, TappedFile, assigned
from tests.every import each
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
    assert expected(None, "strung", [1.0], 1) is None and wanted(None, "strung") is None
    assert left_out(None, "strung", ["A"]) == [] == struck_barred(None, "strung", ["A"])
    bare = Layout("m", "k", "", (Station("A", "rim", 0.1, 0.1, states=("stripped",)),))
    assert expected(bare, "strung", [1.0], 1) == ["A"]


def test_what_is_missing_is_told_of_those_that_may_be_struck():
    assert wanted(GRAND, "strung") == STRUNG
    (line,) = left_out(GRAND, "strung", ["S1", "S4"])
    assert re.findall(r"S\d", line) == ["S2", "S3", "S5"]
    same_as_before("shortfalls", line, part="places that may not be tapped")
    assert left_out(GRAND, "stripped", []) == []


SET = {"per_station": 3, "layout": GRAND, "order": ("soft", "hard", "hard")}


def told(state, stations, taps=3):
    """Sentences on one file a tap."""
    files = [TappedFile(f"{s}_{k}.wav", (1.0,)) for s in stations for k in range(taps)]
    return assigned(files, Request(state=state, **SET))[1]


@each("state", ["as-found", "in-piano-unstrung", "strung"])
def test_a_tap_where_none_may_be_is_told_first_and_counts_as_extra(state):
    never = [s.name for s in GRAND.stations if state not in s.states][:2]
    allowed = [s.name for s in GRAND.allowed(state)]
    if not never:
        assert state == "in-piano-unstrung" and not struck_barred(GRAND, state, EVERY)
        return
    first, *rest = told(state, [*allowed[:2], *never])
    same_as_before("shortfalls", first, part=f"tapped where none may be, {state}")
    assert any(f"expected {3 * len(allowed)}, found 6" in line for line in rest)
    assert not any("not in the layout" in line for line in rest)
    (others,) = [line for line in rest if line.startswith("not to be tapped")]
    assert not set(never) & set(re.findall(r"S\d+", others))
    assert not any("must not be tapped" in line for line in told(state, allowed) + told("stripped", EVERY))


def test_a_place_where_none_may_be_is_no_part_of_what_is_asked_for():
    s = replace(scan("strung", ["S1", "S2", "S3", "S6"]), part_of=len(STRUNG))
    said = " ".join(limitations(s, Settings()))
    assert "2 of 4 places" in said and "tap all" not in said
    whole = replace(scan("strung", [*STRUNG, "S2"]), part_of=len(STRUNG))
    assert "of 4 places" not in " ".join(limitations(whole, Settings()))
    bare = replace(scan("stripped", EVERY[:3]), part_of=8)
    assert "tap all 8" in " ".join(limitations(bare, Settings()))


def test_in_the_piano_a_take_that_does_not_fit_is_mended_without_a_tap():
    at = tuple(3.0 * k for k in range(13))
    said = {state: mismatch(Take(13, None, 3, at), GRAND, state, lambda: ()) for state in ("strung", "stripped")}
    assert "record it again" in said["stripped"] and "record it again" not in said["strung"]
    assert "--skip" in said["strung"]


def scan(state, stations):
    strikes = tuple(Strike(f"T{k}", "F1", s, None, float(k), 1.0, 0.4, -30.0, 45.0) for k, s in enumerate(stations))
    return Scan((Recording("F1", "a.wav", "00" * 32, 48000, 1, 0, 9.0),), strikes, (), state, GRAND.name, (), GRAND)


def warned(s: Scan) -> list[str]:
    return [w for w in limitations(s, Settings()) if "says not to tap" in w]


def test_a_station_struck_in_a_state_that_rules_it_out_is_told_first():
    s = scan("strung", ["S1", "S4", "S5"])
    same_as_before("shortfalls", warned(s)[0], part="tapped where none may be, in the report")
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
