"""Whether a take is what the layout asks for: wrong layouts and aborted takes are noticed, right takes are left alone. Pauses are drawn at random."""

import inspect
import json
import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.cli.layout import print_sheet as layout_command
from tapscan.faults import FAULTS
from tapscan.layouts import Layout, known_layouts, read_layout
from tapscan.layouts.take import (
    BETWEEN_PLACES_S,
    BETWEEN_TAPS_S,
    OFFERS,
    ORDER,
    Take,
    fitting,
    groups_of,
    mismatch,
    places_of,
    read_as_one,
)
from tapscan.report.layout_sheet import render_sheet
from tapscan.screening.disposition import PART_ONLY
from tapscan.screening.limitations import limitations
from tapscan.settings import Settings
from tapscan.wording import spelled
from tapscan.workflow.record import USUAL_ORDER
from tests.cli.commands import run
from tests.cli.test_bad_input import RATE, in_crowd
from tests.every import each
from tests.rule_scans import mode, scan
from tests.snapshots import same_as_before, without_figures
from tests.sounds import wav_bytes, written

HEARD = re.compile(r"heard (\d+) groups of (\d+);")


@cache
def layouts() -> list[Layout]:
    return [read_layout(name) for name in known_layouts()]


def named(name: str) -> Layout:
    return next(one for one in layouts() if one.name == name)


def take(counts: Sequence[int], seed: int, between_s: float = 3.0, pause_s: float = 10.0) -> list[float]:
    """Onsets: so many taps at each place, pauses evenly within 30 % of what the sheet asks for."""
    rng = np.random.default_rng(seed)
    times = [1.0]
    for place, count in enumerate(counts):
        for tap in range(count):
            if place or tap:
                times.append(times[-1] + (between_s if tap else pause_s) * rng.uniform(0.7, 1.3))
    return times


def told(counts: Sequence[int], seed: int, layout: str, per: int | None) -> str | None:
    onsets = take(counts, seed)
    return judged(onsets, layout, per)


def judged(onsets: Sequence[float], layout: str, per: int | None) -> str | None:
    heard = Take(len(onsets), groups_of(onsets), per, tuple(onsets))
    return mismatch(heard, named(layout), "stripped", layouts)


def uneven(places: int, per: int, seed: int) -> list[float]:
    """Pauses normal about 3 s and 10 s, standard deviation 30 %: the longest between taps exceeds the shortest between places."""
    rng = np.random.default_rng(seed)
    mean = np.where(np.arange(1, places * per) % per == 0, 10.0, 3.0)
    return list(np.cumsum([1.0, *(mean * np.maximum(0.2, 1 + 0.3 * rng.standard_normal(len(mean))))]))


@pytest.mark.parametrize("places", [8, 20, 24, 36])
def test_uneven_pauses_ask_in_vain_at_most_once_in_two_hundred(places):
    right = next((one.name for one in layouts() if places_of(one, "stripped") == places), None)
    wrong = next(one.name for one in layouts() if places_of(one, "stripped") != places)
    takes = [(uneven(places, 3 + seed % 2, seed), 3 + seed % 2) for seed in range(400)]
    assert sum(judged(onsets, wrong, per) is not None for onsets, per in takes) >= 0.99 * len(takes)
    assert right is None or sum(judged(onsets, right, per) is not None for onsets, per in takes) <= 0.005 * len(takes)


def test_a_count_that_is_right_by_chance_hides_no_groups_that_the_pauses_show():
    """Eight places of three taps are no four places of six, and 24 of three no 36 of two."""
    seen = 0
    for seed in range(200):
        for places, layout, announced, state in ((8, "grand-short", 6, "strung"), (24, "grand-dense", 2, "stripped")):
            onsets = uneven(places, 3, seed)
            assert len(onsets) == announced * places_of(named(layout), state)
            by_pauses = Take(len(onsets), groups_of(onsets), announced)
            heard = replace(by_pauses, onsets=tuple(onsets))
            told = [mismatch(one, named(layout), state, layouts) for one in (by_pauses, heard)]
            assert told[0] == told[1], (seed, layout)
            seen += told[0] is not None
    assert seen > 200


def test_right_takes_are_left_alone_and_wrong_layouts_are_noticed():
    """Asked in vain at most 0.5 %, noticed at least 99 % (the project's own aim), over 8, 20, 24 and 36 places and 3 or 4 taps."""
    asked, noticed, takes = 0, 0, 0
    for seed in range(250):
        for layout in layouts():
            places, per = places_of(layout, "stripped"), 3 + seed % 2
            if seed % len(layouts()) != layouts().index(layout):
                continue
            asked += told([per] * places, seed, layout.name, per) is not None
            wrong = next(one for one in layouts() if places_of(one, "stripped") != places)
            noticed += told([per] * places, seed, wrong.name, per) is not None
            takes += 1
    assert takes == 250
    assert asked <= 0.005 * takes
    assert noticed >= 0.99 * takes


@each("odd", [{4: 2}, {4: 4}, {0: 2, 7: 4}])
def test_a_tap_too_many_or_too_few_at_a_place_does_not_move_the_others(odd):
    counts = [odd.get(i, 3) for i in range(8)]
    assert groups_of(take(counts, 1)) == tuple(counts)
    assert told(counts, 1, "grand-short", 3) is None


def test_it_says_what_was_heard_and_what_fits():
    said = told([3] * 8, 2, "grand-long", 3)
    assert said is not None
    assert HEARD.findall(said) == [("8", "3")]
    same_as_before("take-mismatch", said, part="another number of places")
    assert f"grand-long has {places_of(read_layout('grand-long'), 'stripped')} places" in said
    assert "grand-short" in said and "--partial" in said
    assert {f.name for f in fitting(layouts(), "stripped", 8)} >= {"grand-short"}


def test_the_odd_place_is_named():
    counts = [3] * 10
    counts[4] = 2
    assert "place 5 has 2" in (told(counts, 3, "grand-long", 3) or "")


def test_another_number_of_taps_than_was_announced_is_noticed_with_the_option_that_fits():
    for heard, announced in ((3, 4), (4, 3), (2, 3)):
        said = told([heard] * 8, 5, "grand-short", announced)
        assert said is not None and HEARD.findall(said) == [("8", str(heard))] and f"--per-station {heard}" in said
    same_as_before("take-mismatch", without_figures(said), part="another number of taps a place")
    assert told([3, 3, 4, 3, 2, 3, 3, 3], 5, "grand-short", 3) is None
    assert told([3] * 8, 5, "grand-short", None) is None


@each("offers", [frozenset(), frozenset({"partial"}), OFFERS])
def test_only_options_are_named_that_whoever_asks_has(offers):
    layout, even = named("grand-short"), [float(i) for i in range(23)]
    wrong = [Take(len(t), groups_of(t), 3, tuple(t)) for t in (take([3] * 5, 1), take([2] * 8, 1), even)]
    said = [mismatch(one, layout, "stripped", layouts, offers) or "" for one in wrong]
    named_options = {word for text in said for word in re.findall("--([a-z-]+)", text)}
    assert named_options - {"layout", "per-station", "order"} == offers
    assert all(said)


def test_one_long_break_is_no_place_of_its_own():
    onsets = take([3] * 8, 4)
    late = [t + (120.0 if i >= 12 else 0.0) for i, t in enumerate(onsets)]
    assert groups_of(late) == (3,) * 8


def test_places_that_may_not_be_struck_are_no_places_that_the_layout_lacks():
    layout, onsets = named("upright-long"), take([3] * 9, 2)
    said = mismatch(Take(27, groups_of(onsets), 3, tuple(onsets)), layout, "strung", layouts) or ""
    places, may = len(layout.stations), places_of(layout, "strung")
    assert may < places and f"has {places} places" in said and f"{may} may be tapped" in said


def test_a_gap_many_times_the_usual_pause_is_told_where_the_take_does_not_fit():
    onsets = take([3] * 16, 6)
    for away_s in (0.0, 47.0):
        two = [t + (away_s if i >= 24 else 0.0) for i, t in enumerate(onsets)]
        said = mismatch(Take(48, groups_of(two), 3, tuple(two)), named("grand-short"), "stripped", layouts) or ""
        assert ("times the usual pause" in said) == bool(away_s)
        assert not away_s or f"no tap for {two[24] - two[23]:.0f} s after {two[23]:.0f} s" in said
    same_as_before("take-mismatch", without_figures(said), part="two plates in one take")


def test_without_pauses_only_the_count_is_judged():
    even = [float(i) for i in range(24)]
    layout = read_layout("grand-short")
    assert groups_of(even) is None
    assert mismatch(Take(24, None, 3), layout, "stripped", layouts) is None
    said = mismatch(Take(23, None, 3), layout, "stripped", layouts)
    assert said is not None and "23 taps" in said and not HEARD.search(said)
    same_as_before("take-mismatch", said, part="no clear pauses")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory) -> Path:
    """Five places of three taps, in one file."""
    onsets = [0.5 + 6.0 * place + 1.5 * tap for place in range(5) for tap in range(3)]
    return written(tmp_path_factory.mktemp("take") / "take.wav", wav_bytes(in_crowd(onsets, 31), RATE))


def test_check_stops_at_a_wrong_layout_with_one_line(recorded):
    done = run("check", recorded, "--layout", "grand-short", "--per-station", 3, "--state", "stripped")
    assert (done.status, done.out) == (1, "")
    (line,) = done.err.strip().splitlines()
    assert HEARD.findall(line) == [("5", "3")] and "grand-short has 8 places" in line


def test_import_stores_nothing_of_a_wrong_layout(recorded, tmp_path, monkeypatch):
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    assert run("plate", "add", "B12").status == 0
    words = ("scan", "import", "B12", recorded, "--layout", "grand-short", "--per-station", 3, "--state", "stripped")
    done = run(*words, "--yes")
    assert done.status == 1 and HEARD.findall(done.err) == [("5", "3")]
    assert "2026" not in run("scan", "list").out
    done = run(*words, "--yes", "--partial")
    assert done.status == 0, done.err
    assert PART_ONLY in done.out and "5 of 8 places" in done.out


def test_a_part_that_shows_nothing_is_inconclusive_and_says_how_much_of_the_plate_it_is(recorded):
    words = ("check", recorded, "--layout", "grand-short", "--per-station", 3, "--state", "stripped", "--partial")
    done = run(*words, "--strict")
    assert done.status == 4
    assert f"{PART_ONLY}: " in done.out and "5 of 8 places" in done.out


def test_a_missing_tap_stands_on_the_first_screen(tmp_path):
    """Trial: "expected 24, found 11" stood under Numbers alone."""
    onsets = [0.5 + 6.0 * place + 1.5 * tap for place in range(8) for tap in range(3) if (place, tap) != (4, 2)]
    path = written(tmp_path / "take.wav", wav_bytes(in_crowd(onsets, 50), RATE))
    done = run("check", path, "--layout", "grand-short", "--per-station", 3, "--state", "stripped", "--json", "-")
    assert done.status == 0, done.err
    told = json.loads(done.out)
    (missing,) = [line for line in told["assignment"] if "S5" in line]
    assert re.findall(r"\d+", missing) == ["24", "23", "5"] and missing in told["summary"]
    assert told["disposition"] != "relevant indication"


ROOT = Path(__file__).parents[2]


def test_sheet_docs_and_recorder_ask_for_the_same_taps_and_pauses():
    """Trial: the sheet once asked for four taps and six seconds, README for three and ten."""
    order = ",".join(ORDER)
    sheet = render_sheet(read_layout("grand-short"), "stripped", ORDER, "grand-short")
    pages = {
        "sheet": sheet,
        "README": (ROOT / "README.md").read_text(encoding="utf-8"),
        "how to tap": (ROOT / "docs" / "how-to-tap.md").read_text(encoding="utf-8"),
    }
    for name, text in pages.items():
        assert f"{BETWEEN_TAPS_S} seconds" in text and f"{BETWEEN_PLACES_S} seconds" in text, name
        assert f"--order {order}" in text, name
    assert inspect.signature(layout_command).parameters["order"].default == order
    assert order == USUAL_ORDER
    assert "soft,soft,hard,hard" not in "".join(pages.values())


def test_the_sheet_of_a_bare_plate_does_not_open_with_strings():
    for state, strings in (("stripped", False), ("strung", True), (None, True)):
        text = render_sheet(read_layout("grand-short"), state, ORDER, "grand-short")
        assert ("With strings on" in text or "If it has strings" in text) is strings


def test_the_inspectors_card_asks_for_places_that_may_be_struck_and_for_no_more():
    """Trial: the card sent him to eight places, four of which the import then refused."""
    card = (ROOT / "docs" / "how-to-tap.md").read_text(encoding="utf-8").partition("a card for the inspector")[2]
    layout = read_layout("upright-long")
    typed = [command.split() for command in re.findall(r"(?:`|^ +)tapscan ([^`\n]+)", card, re.M)]
    (printed,), (imported,) = (
        [c for c in typed if c[:2] == words] for words in (["layout", "print"], ["scan", "import"])
    )
    assert printed[2:] == ["upright-long", "--state", "strung"]
    assert imported[imported.index("--layout") + 1] == "upright-long"
    assert f"{spelled(places_of(layout, 'strung'))} places" in card
    allowed = [s.name for s in read_layout("grand-short").allowed("strung")]
    every = scan([mode("M1", 300.0)])
    few = replace(every, strikes=tuple(s for s in every.strikes if s.station in allowed))
    told = {state: " ".join(limitations(replace(few, state=state), Settings())) for state in ("stripped", "strung")}
    assert all(f"Only {len(allowed)} places were tapped" in said for said in told.values())
    assert ["eight places" in told[state] for state in told] == [True, False], "on a strung plate no more may be tapped"


def test_the_recorders_refusals_stand_in_the_docs_as_it_words_them():
    card = (ROOT / "docs" / "how-to-tap.md").read_text(encoding="utf-8")
    for fault in FAULTS.values():
        if fault.code not in ("cut short", "hum"):
            assert fault.means[1:] in card and fault.remedy in card, fault.code


def test_a_long_take_without_a_layout_is_told_that_a_layout_says_where_each_tap_was():
    told = [read_as_one(take([2] * 20, 1)) or "", read_as_one([3.0 * i for i in range(12)]) or ""]
    same_as_before("shortfalls", "\n".join(told), part="a long take without a layout")
    assert read_as_one(take([3], 1)) is None


@pytest.mark.parametrize(("words", "told"), [((), 1), (("--per-station", 3), 0)])
def test_it_stands_first_among_the_limits_and_the_terminal_names_the_option(recorded, tmp_path, words, told):
    done = run("check", recorded, "--json", tmp_path / "a.json", *words)
    limits = json.loads((tmp_path / "a.json").read_text())["limitations"]
    assert ["read as one" in one["sentence"] for one in limits] == [bool(told), *[False] * (len(limits) - 1)]
    assert ("--layout NAME" in done.out) is bool(told)
