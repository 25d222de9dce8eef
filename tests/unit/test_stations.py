"""Which strike belongs to which station, and what is said when the count does not fit."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapscan.errors import BadRequest
from tapscan.layouts.assignment import forces, read_order, shortfalls, split, station_of_file
from tests.every import each
from tests.snapshots import same_as_before


@each(
    ("file", "station"),
    [
        ("S5_1_soft.wav", "S5"),
        ("S5.wav", "S5"),
        ("a folder/S12_x.flac", "S12"),
        ("strut 3_2.m4a", "strut 3"),
        ("S1.2_hard.wav", "S1.2"),
        ("_odd.wav", "_odd"),
    ],
)
def test_station_is_the_name_before_the_first_underscore(file, station):
    assert station_of_file(file) == station


def onsets(counts: list[int], gap: float = 1.0, pause: float = 4.0) -> list[float]:
    times, now = [], 0.5
    for count in counts:
        times += [now + gap * i for i in range(count)]
        now = times[-1] + pause
    return times


@given(st.lists(st.integers(1, 5), min_size=1, max_size=12))
def test_split_at_pauses(counts):
    names = [f"S{i}" for i in range(1, len(counts) + 1)]
    stations, how = split(onsets(counts), names, None)
    assert stations == [n for n, c in zip(names, counts, strict=True) for _ in range(c)]
    assert "pauses" in how


def test_without_pauses_the_count_decides_and_says_so():
    stations, how = split([float(i) for i in range(8)], ["A", "B"], 4)
    assert stations == list("AAAABBBB")
    assert "by count" in how


def test_where_the_pauses_are_clear_and_the_count_is_not_the_layouts_the_sentence_says_that():
    for counts, said in (([3] * 9, "9 groups"), ([3] * 7, "7 groups")):
        stations, how = split(onsets(counts), [f"S{i}" for i in range(1, 9)], 3, len(counts))
        assert stations[:21] == [f"S{i // 3 + 1}" for i in range(21)] and "no clear pauses" not in how
        assert said in how and "shifted" in how
    assert "no clear pauses" in split([float(i) for i in range(8)], ["A", "B"], 4)[1]


def test_without_pauses_and_count_nothing_is_guessed():
    stations, how = split([float(i) for i in range(6)], ["A", "B", "C"], None)
    assert stations == ["A"] * 6
    assert "no clear pauses" in how


def test_number_of_stations_from_the_count_alone():
    stations, _ = split(onsets([4, 4, 4]), None, 4)
    assert stations == [n for n in ("P1", "P2", "P3") for _ in range(4)]


def test_no_taps_at_all():
    stations, _ = split([], ["A", "B"], 4)
    assert stations == []


def test_what_is_missing_is_said_in_words():
    names = [f"S{i}" for i in range(1, 9)]
    stations = [n for n in names for _ in range(2 if n == "S5" else 3)]
    (line,) = shortfalls(stations, names, 3)
    assert re.findall(r"S?\d+", line) == ["24", "23", "S5"]
    same_as_before("shortfalls", line, part="one tap too few")


def test_missing_and_strange_stations():
    strange = shortfalls(["S1", "S1", "X"], ["S1", "S2"], None)
    missing = shortfalls(["S1", "S1"], ["S1", "S2"], 2)
    assert (len(strange), len(missing)) == (2, 1)
    same_as_before(
        "shortfalls", "\n".join([*strange, *missing]), part="a place that was not tapped, and one that is none"
    )
    assert shortfalls(["S1", "S1", "S2", "S2"], ["S1", "S2"], 2) == []


def test_order_of_forces():
    assert read_order("soft, Hard,HARD") == ("soft", "hard", "hard")
    assert forces(["A", "A", "B", "B", "B"], ("soft", "hard")) == ["soft", "hard", None, None, None]
    assert forces(["A"], None) == [None]


@each("text", ["soft,medium", "", "soft,,hard"])
def test_order_that_is_none(text):
    with pytest.raises(BadRequest, match=r"soft,soft,hard,hard"):
        read_order(text)


def test_split_keeps_the_order_of_time():
    rng = np.random.default_rng(1)
    times = list(np.cumsum(rng.uniform(0.8, 1.0, 24) + 4.0 * (np.arange(24) % 4 == 0)))
    stations, _ = split(times, None, 4)
    assert stations == [f"P{i // 4 + 1}" for i in range(24)]
