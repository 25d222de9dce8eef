"""A person's word about taps: skip and assign, and what a mistake is answered with."""

import pytest

from tapscan.errors import BadRequest, WrongUsage
from tapscan.layouts import read_layout
from tapscan.layouts.tap_corrections import (
    by_tap,
    mended,
    numbers_kept,
    read_assign,
    read_assigns,
    read_skip,
    tap_names,
)
from tapscan.workflow.check import Request, TappedFile, assigned, check
from tests.snapshots import same_as_before
from tests.sounds import taps_at, wav_bytes, written

NAMES, FILES = ["T1", "T2", "T3"], ["in/S1_1.wav", "in/S1_2.wav", "in/odd=name.wav"]


def test_numbers_stay_what_was_shown():
    assert numbers_kept(4, [2]) == [1, 3, 4]
    with pytest.raises(BadRequest, match="--skip 5: there is no such tap; 4 were found"):
        numbers_kept(4, [5])


@pytest.mark.parametrize(
    ("assign", "expected"),
    [
        (("T2", "S9"), ["S1", "S9", "odd"]),
        (("S1_2.wav", "S9"), ["S1", "S9", "odd"]),
        (("in/S1_2.wav", "S9"), ["S1", "S9", "odd"]),
        (("odd=name.wav", "S2"), ["S1", "S1", "S2"]),
        (("S1", "S9"), ["S9", "S9", "odd"]),
    ],
)
def test_a_tap_or_a_recording_goes_where_it_is_sent(assign, expected):
    told, notes = mended(NAMES, FILES, ["S1", "S1", "odd"], [assign])
    assert told == expected
    assert notes == [f"{assign[0]} was given to {assign[1]} by hand"]


def test_the_last_word_counts():
    assert mended(NAMES, FILES, ["a", "a", "a"], [("T1", "S1"), ("T1", "S2")])[0][0] == "S2"


@pytest.mark.parametrize(
    ("place", "said"), [("s5", "no place s5 in grand-short; S5 perhaps[?]"), ("NOSUCH", "its places are S1, S2")]
)
def test_a_place_that_the_layout_lacks_is_refused(place, said):
    with pytest.raises(WrongUsage, match=said):
        mended(NAMES, FILES, ["S1", "S1", "odd"], [("T1", place)], read_layout("grand-short"))
    stands = mended(NAMES, FILES, ["S1", "S1", "odd"], [("T1", "odd"), ("odd", "S1")], read_layout("grand-short"))
    assert stands[0] == ["odd", "S1", "S1"], "a place of a file's name that the layout lacks stands already"


def test_one_tap_goes_to_one_place():
    assert read_assigns(["T1=S2", "T2=S2", "T1=S2"]) == (("T1", "S2"), ("T2", "S2"), ("T1", "S2"))
    with pytest.raises(WrongUsage, match="T1=S5: T1 is given to S2 too"):
        read_assigns(["T1=S2", "T1=S5"])


def test_exchanged_places_change_over_and_a_second_exchange_starts_from_where_the_taps_stand():
    there_and_back = [("S1", "odd"), ("odd", "S1")]
    assert mended(NAMES, FILES, ["S1", "S1", "odd"], there_and_back)[0] == ["odd", "odd", "S1"]
    now = dict(zip(NAMES, ["odd", "odd", "S1"], strict=True))
    assert by_tap([*there_and_back, ("T2", "S5")], now) == [("T3", "odd"), ("T1", "S1"), ("T2", "S1"), ("T2", "S5")]


def test_an_unknown_recording_lists_those_there_are():
    with pytest.raises(BadRequest, match=r"no tap or recording of that name; there are S1_1.wav, S1_2.wav"):
        mended(NAMES, FILES, ["a", "a", "a"], [("S7.wav", "S7")])


def test_words_on_the_command_line():
    assert read_assign("a=b.wav = S5") == ("a=b.wav", "S5")
    assert read_skip("7, T12,t3") == [7, 12, 3]
    assert read_skip("2, T10-t13") == [2, 10, 11, 12, 13]
    assert tap_names([13, 2, 3, 10, 11, 12, 20]).split(", ") == ["T2", "T3", "T10 to T13", "T20"]
    for text in ("S5", "=S5", "x.wav="):
        with pytest.raises(BadRequest, match="write FILE=STATION"):
            read_assign(text)
    for text in ("", "seven", "7;8", "-3", "²"):
        with pytest.raises(BadRequest, match="numbers of the taps"):
            read_skip(text)


def talked_in() -> TappedFile:
    """Three taps at each of eight places, and talk before the first and after the last."""
    taps = [10.0 + 20.0 * place + 3.0 * tap for place in range(8) for tap in range(3)]
    return TappedFile("take.wav", (1.0, *taps, 200.0), (True, *[False] * len(taps), True))


@pytest.mark.parametrize("assign", [(), (("S1", "S2"), ("S2", "S1")), (("T2", "S2"),)])
def test_talk_stays_left_out_when_other_taps_are_given_elsewhere(assign):
    request = Request(layout=read_layout("grand-short"), order=("soft", "hard", "hard"), assign=assign)
    taps, _ = assigned([talked_in()], request)
    assert [t.name for t in taps] == [f"T{n}" for n in range(2, 26)]
    to = dict(assign)
    split = [f"S{n}" for n in range(1, 9) for _ in range(3)]
    assert [t.station for t in taps] == [to.get(t.name, to.get(s, s)) for t, s in zip(taps, split, strict=True)]


def test_what_a_person_gives_a_place_is_no_talk():
    request = Request(
        layout=read_layout("grand-short"), per_station=3, assign=(("T1", "S1"), ("T26", "S8")), as_split=True
    )
    assert len(assigned([talked_in()], request)[0]) == 26


def test_a_stray_tap_left_out_mends_the_split(tmp_path):
    sound = taps_at([0.5, 2.0, 6.0, 7.5, 11.0, 12.5, 16.0], 18, 16000)
    path = str(written(tmp_path / "take.wav", wav_bytes(sound, 16000)))
    shown = []
    no = lambda taps, notes: shown.append((taps, notes)) or False  # noqa: E731
    assert check([path], Request(per_station=2), agree=no).screening is None
    check([path], Request(per_station=2, skip=(7,), assign=(("T6", "P9"),), called={path: "mine.wav"}), agree=no)
    (before, _), (after, notes) = shown
    assert len(before) == 7
    assert [(t.name, t.station) for t in after] == [
        ("T1", "P1"), ("T2", "P1"), ("T3", "P2"), ("T4", "P2"), ("T5", "P3"), ("T6", "P9"),
    ]  # fmt: skip
    assert {t.recording for t in after} == {"mine.wav"}
    assert after[2].onset_s == pytest.approx(6.0, abs=0.01)
    assert "T7" in notes[0] and any("T6" in note and "P9" in note for note in notes)
    same_as_before("tap-corrections", "\n".join(notes))
