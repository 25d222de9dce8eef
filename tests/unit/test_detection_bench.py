"""What the detection benches count: pairs of scans of one casting, curves over sizes, and the table in short."""

import re
from collections import Counter
from importlib import resources

import numpy as np
import pytest
from msgspec.structs import replace

from bench.detection_counts import Judged, followed, held_again, judged, judged_of
from bench.detection_pairs import Told, pair_table, pairs
from bench.detection_scans import Plate, luck_of, taps_of
from bench.detection_store import (
    SEEDS,
    Row,
    before,
    denser,
    earlier_visits,
    first_visits,
    kind_of,
    layout_of,
    make,
    read,
    tables_of,
)
from bench.detection_tables import by_shape
from bench.rules_page import in_short
from bench.size_curves import DOCS, RESULTS, Trial, curve_of, page, rows
from bench.table_folder import with_places
from tapscan.demo.plates import load_table
from tapscan.screening.regions import positions_of
from tests.rule_scans import late, scan
from tests.snapshots import same_as_before

TABLES = {name: load_table(name) for name in ("parlour-grand", "small-grand")}


def test_an_earlier_visit_is_the_same_casting_heard_the_same_way_with_other_pads():
    cracked = Plate(TABLES["parlour-grand"], "depth 50 %, strut 2 at 0.60", 7, breathing=True)
    earlier, *more = before(cracked)
    assert [m.visit for m in more] == [2, 3]
    assert len({luck_of(e)[1].state for e in (earlier, *more)}) == 3
    assert (earlier.label, earlier.breathing, earlier.seed, earlier.visit) == ("sound", False, 7, 1)
    now, then = luck_of(cracked)[1], luck_of(earlier)[1]
    assert (now.setting, now.room_seed) == (then.setting, then.room_seed)
    assert now.state.supports != then.state.supports and now.state.temperature_c != then.state.temperature_c
    assert earlier.name != before(Plate(cracked.table, "sound", 8))[0].name


def test_earlier_visits_serve_all_plates_of_one_casting():
    plates = [Plate(TABLES["parlour-grand"], label, 9) for label in ("sound", "severed, strut 1 at 0.57")]
    assert [(p.label, p.visit) for p in earlier_visits(plates)] == [("sound", n) for n in (1, 2, 3)]


def test_a_plate_that_rattles_is_tapped_again_with_the_part_held_and_that_scan_counts_where_a_buzz_was_heard():
    plate, other = (Plate(TABLES["parlour-grand"], "sound", seed) for seed in (9, 10))
    buzz = scan([], late_sounds=tuple(late(i) for i in range(12)), late_sounds_reason=None)
    told = {plate.name: judged(plate, Row("sound", "parlour-grand", buzz, rattles=True))}
    assert told[plate.name].buzzes
    assert followed([plate], told) == {}, "not finished: not counted"
    (again,) = held_again([plate, other], told)
    assert again.held and again.name.endswith("held")
    told[again.name] = judged(again, Row("sound", "parlour-grand", scan([], parts_held=True), rattles=True))
    assert [p.name for p in followed([plate, other], told).values()] == [again.name]
    unheard = {**told, plate.name: judged(plate, Row("sound", "parlour-grand", scan([]), rattles=True))}
    assert followed([plate], unheard) == {plate.name: plate}


def test_scans_are_read_and_judged_by_whoever_has_time_and_one_that_is_missing_is_not_counted(tmp_path):
    table = with_places(TABLES["parlour-grand"], 8)
    sound = Plate(table, "sound", 9)
    severed = replace(sound, label="severed, strut 7 at 0.57")
    wanted = [sound, severed, *before(sound)[:2]]
    make(wanted, tmp_path, float("inf"), 1)
    rows = read(wanted, tmp_path)
    told = judged_of([*wanted, *before(sound)[2:]], tmp_path, 1)
    assert told == {p.name: judged(p, rows[p.name]) for p in wanted}
    beside = pairs([sound, severed], tmp_path, 1)
    assert [t.kind for t in beside[1]] == ["sound", "severed strut"]
    assert beside[3] == [], "of three earlier scans one is missing"


def test_held_parts_do_not_rattle_and_nothing_else_changes():
    plate = next(
        p
        for p in (Plate(TABLES["parlour-grand"], "sound", seed) for seed in range(60))
        if luck_of(p)[1].rattle_place >= 0 and luck_of(p)[1].setting.room_m is None
    )
    rattled, held = (taps_of(p, ["S1", "S2"]) for p in (plate, replace(plate, held=True)))
    assert rattled[1] == held[1]
    assert [t.force for t in rattled[0]] == [t.force for t in held[0]]
    assert not np.allclose(rattled[0][0].samples, held[0][0].samples, atol=1e-6)


def test_more_places_are_for_sound_chilled_and_breathing_plates_and_bear_other_names():
    table = TABLES["parlour-grand"]
    spots = [*table.meta["stations"], {**table.meta["stations"][0], "name": "S21"}]
    denser_table = replace(table, meta={**table.meta, "stations": spots})
    crack = "depth 50 %, strut 2 at 0.60"
    plates = [Plate(table, x, 9) for x in ("sound", "severed, strut 1 at 0.57", "chilled region")]
    plates += [Plate(table, crack, 9, breathing=True), Plate(table, crack, 9, rubbing=True)]
    more = denser(plates, {"parlour-grand": denser_table})
    assert [p.label for p in more] == ["sound", "chilled region", crack]
    assert more[2].breathing
    assert [p.name.rpartition("|")[2] for p in more] == ["21 places"] * 3


def test_the_layout_of_a_table_keeps_its_shape():
    table = TABLES["parlour-grand"]
    layout, spots = layout_of(table), table.meta["stations"]
    places = positions_of(layout, table.station_names)
    metres = np.array([[s["x_m"], s["y_m"]] for s in spots])
    assert np.allclose(places / places[0], metres / metres[0])


def _screened_table(name):
    places = [f"strut 1 at 0.{n}" for n in range(20, 34)]
    labels = ["sound", *(f"{flaw}, {p}" for p in places for flaw in ("severed", "depth 50 %"))]
    labels += [f"chilled {shape} {n}" for shape in ("region", "patch") for n in range(1, 15)]
    table = TABLES["parlour-grand"]
    return replace(table, name=name, meta={**table.meta, "cases": [{"label": x} for x in labels]})


def test_every_flaw_comes_at_forty_two_places_once_each():
    tables = {n: _screened_table(n) for n in ("concert-grand", "parlour-grand", "upright-full")}
    plates = list(first_visits(tables, SEEDS))
    flawed = Counter(kind_of(p) for p in plates)
    assert flawed.pop("sound") == 210
    assert set(flawed.values()) == {42} and len(flawed) == 5
    assert len({(kind_of(p), p.table.name, p.label) for p in plates if p.label != "sound"}) == 5 * 42
    shapes = Counter((p.loss_scatter, p.label.split()[1]) for p in plates if p.label.startswith("chilled"))
    assert set(shapes.values()) == {21} and len(shapes) == 4


def test_chilled_ends_and_patches_are_counted_apart():
    kind = "chilled region, losses scatter 10 %"
    rows = [
        Judged(kind, "a", f"chilled {shape} 1", False, frozenset(found), frozenset(), False, False)
        for shape, found in (("region", {"long-decay"}), ("patch", ()), ("patch", {"dead-place"}))
    ]
    regions = {("a", "chilled region 1"): "ends", ("a", "chilled patch 1"): "other patches"}
    (line,) = by_shape(rows, regions)
    assert kind in line and re.findall(r"\d of \d", line) == ["1 of 1", "0 of 0", "1 of 2"]
    same_as_before("bench-tables", line, part="chilled regions by shape")


def test_a_place_is_never_used_twice_nor_a_table_of_few_places():
    with pytest.raises(ValueError, match="only 14 of"):
        list(first_visits({"concert-grand": _screened_table("concert-grand")}, SEEDS + 5))
    with pytest.raises(ValueError, match="no tables of more than 20 places"):
        tables_of(resources.files("tapscan.demo") / "tables")
    with pytest.raises(ValueError, match="20 places, not 36"):
        with_places(TABLES["parlour-grand"], 36)


def test_scans_of_other_tables_are_not_taken_up(tmp_path):
    plate = Plate(TABLES["parlour-grand"], "sound", 1)
    other = replace(plate, table=_screened_table("parlour-grand"))
    make([plate], tmp_path, 0.0, 1)
    make([plate], tmp_path, 0.0, 1)
    with pytest.raises(ValueError, match="scans of other tables"):
        make([other], tmp_path, 0.0, 1)


def test_a_curve_finds_the_size_it_was_drawn_from():
    """logit p = 6 ln(size / 20): a50 = 20, a90 = 20 exp(ln 9 / 6) = 28.8 (worked by hand)."""
    rng = np.random.default_rng(3)
    sizes = [8.0, 14.0, 20.0, 28.0, 40.0]
    trials = [
        Trial("rim", s, f"place {i}", bool(rng.random() < 1 / (1 + (20 / s) ** 6))) for i in range(1200) for s in sizes
    ]
    curve = curve_of("rim", trials, rng)
    assert curve.pod is not None
    assert curve.pod.size_at(0.5) == pytest.approx(20, rel=0.06)
    assert curve.pod.size_at(0.9) == pytest.approx(28.8, rel=0.08)
    assert 1.0 < curve.a90_95 / curve.pod.size_at(0.9) < 1.06
    low, high = curve.band(np.array([20.0]))
    assert low[0] < 0.5 < high[0] and high[0] - low[0] < 0.08


def test_places_that_share_their_luck_widen_the_bound():
    """Eight castings at each of ten places, some places easy and some hard: fewer trials than they seem."""
    rng = np.random.default_rng(4)
    middle = np.exp(rng.normal(np.log(20), 0.5, 10))
    trials = [
        Trial("rim", s, f"{i}", bool(rng.random() < 1 / (1 + (middle[i] / s) ** 8)))
        for i in range(10)
        for _ in range(8)
        for s in (6.0, 12.0, 24.0, 48.0)
    ]
    curve = curve_of("rim", trials, rng)
    assert curve.pod is not None
    as_if_independent = curve.pod.a90_95()
    assert as_if_independent is not None and curve.a90_95 > 1.1 * as_if_independent


def test_no_curve_where_all_is_found_and_the_rows_say_so():
    curve = curve_of("bolt", [Trial("bolt", s, "p, bolt 1", True) for s in (10.0, 30.0)], np.random.default_rng(1))
    assert curve.pod is None
    assert rows(curve)[-1].strip().startswith("no curve")
    same_as_before("bench-tables", "\n".join(rows(curve)), part="all sizes found")


def test_the_page_shows_the_curves_that_the_bench_wrote():
    text = (DOCS / "comparison.md").read_text(encoding="utf-8")
    assert page(text, RESULTS.read_text(encoding="utf-8")) == text, "stale: python -m bench.size_curves"


def test_counts_by_sensor_add_up():
    told = [Told("sound", "a", True, False, False, False), Told("sound", "a", False, True, True, False)]
    lines = pair_table(told)
    assert "1 of    2" in lines[1] and "0 of    1" in lines[3] and "1 of    1" in lines[5]
    assert re.findall(r" \d", lines[5].partition("by the")[2]) == [" 1", " 0"]
    same_as_before("bench-tables", "\n".join(lines), part="pairs of scans by sensor")


def test_the_short_table_says_what_was_not_run():
    share = {"spoke": 1, "of": 50, "low": 0.0005, "high": 0.106}
    both, plain = {"severed strut": share, "sound": share}, {"sound": share}
    counts = {"any_relevant": both, "ended": both, "more_places_first": plain, "more_places_ended": plain}
    lines = in_short({**counts, "more_places_tapped": 36}, {"any_relevant": plain, "three": {}})
    cell = "1 of 50 (0.1 to 10.6 %)"
    figures = [[c == cell for c in line.strip("| ").split(" | ")[1:]] for line in lines[2:]]
    assert figures == [[True] * 5 + [False], [True] * 2 + [False] * 4]
    same_as_before("bench-tables", "\n".join(lines), part="in short")
