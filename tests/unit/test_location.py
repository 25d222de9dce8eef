"""Where a change lies: told from signed patterns on a rough model; what cannot be told is said."""

import time

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.demo.plates import State, draw_iron, load_table, plate_modes
from tapscan.demo.shop import PLATES, layout_text
from tapscan.layouts import layout_from_text, read_layout
from tapscan.model.rough import outline_hash, rough_model
from tapscan.places import Layout, Station
from tapscan.plain_values import plain, revived
from tapscan.records import (
    LikelyPlace,
    ModalAmplitude,
    Mode,
    Scan,
    ScanConditions,
    ScanForComparison,
    Strike,
    Whereabouts,
)
from tapscan.report.error_rates import EARLIER, place_rates
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.constants import constants
from tapscan.screening.in_words import places_sentence
from tapscan.screening.location.belief import beliefs
from tapscan.screening.location.expansion import expanded
from tapscan.screening.location.fitted import Fitted
from tapscan.screening.location.nearest import nearest_stations
from tapscan.screening.location.told_by_others import Patterns
from tapscan.screening.location.whereabouts import located
from tapscan.screening.rules import RULE_LIMITS
from tapscan.sensors import Sensor
from tapscan.settings import Settings, limits_by_part
from tests.every import each

TABLE = load_table("small-grand")
LAYOUT = layout_from_text(layout_text(next(p for p in PLATES if p.pattern == "small-grand")), "demo")
IRON = draw_iron(TABLE, np.random.default_rng(1), mean_loss_factor=0.004)
NAMES = TABLE.station_names
CONTACT = ScanConditions(state="stripped", sensor=Sensor("contact"), iron_c=20.0, fittings=())
SETTINGS = Settings()


def scan(label="sound", seed=0, state=None, layout=LAYOUT, places=20, signs=True):
    """The simulated plate's own modes as a scan, frequencies scattered by 10 ppm; no sound."""
    plate, rng = plate_modes(TABLE, label, IRON, state or State()), np.random.default_rng(seed)
    kept = np.nonzero((plate.frequency_hz > 60) & (plate.frequency_hz < 1300))[0]
    stations = [NAMES[round(k)] for k in np.linspace(0, len(NAMES) - 1, places)]
    modes = []
    for number, i in enumerate(kept, 1):
        at = {s: float(plate.station[i, 0, NAMES.index(s)]) for s in stations}
        turn = np.sign(max(at.values(), key=abs))
        strong = tuple(
            ModalAmplitude(s, float(20 * np.log10(abs(v) + 1e-9)), int(np.sign(v) * turn) if signs else None)
            for s, v in at.items()
        )
        f = float(plate.frequency_hz[i] * np.exp(1e-5 * rng.standard_normal()))
        eta = float(plate.loss_factor[i] * np.exp(0.01 * rng.standard_normal()))
        told = (np.pi * f * eta, 0.01 * np.pi * f * eta, 2.2 / (f * eta), 1 / eta, eta)
        modes.append(Mode(f"M{number}", f, 1e-5 * f, *told, *(None,) * 4, 0, 0, None, None, "plate", strong))
    strikes = tuple(Strike("T", "F", s, None, 0.0, 2.0, 0.5, -20.0, 50.0) for s in stations)
    return Scan((), strikes, tuple(modes), layout=layout.name if layout else None, map=layout)


def compared(label="sound", state=None, **how):
    before = [ScanForComparison(f"A1/2026-01-0{k}", f"2026-01-0{k}", CONTACT, scan(seed=k, **how)) for k in (1, 2, 3)]
    return compare_scans(
        ScanForComparison("A1/2026-02-01", "2026-02-01", CONTACT, scan(label, 9, state, **how)), before, SETTINGS
    )


STRUTS = [c["label"] for c in TABLE.meta["cases"] if c["kind"] in ("width", "depth")]


@pytest.fixture(scope="module")
def cracked():
    return compared(STRUTS[0])


@each("label", STRUTS)
def test_the_strut_that_cracked_is_named_first(label):
    found = compared(label)
    member = label.split(", ")[1].split(" at ")[0]
    assert found.places[0].member == member and found.places[0].share > 0.5
    assert found.places_reason is None
    assert sum(p.share for p in found.places) <= 1 + 1e-9 and all(p.share_sd >= 0 for p in found.places)


def test_the_place_lies_on_that_strut_and_beside_the_crack(cracked):
    case = next(c for c in TABLE.meta["cases"] if c["label"] == STRUTS[0])
    edge = TABLE.arrays["outline"]
    low, size = edge.min(axis=0), np.ptp(edge, axis=0)
    x, y = (np.array(case["place_m"]) - low) / size
    first = cracked.places[0]
    assert np.hypot((first.x - x) * size[0], (first.y - (1 - y)) * size[1]) < 0.25


def test_indication_marks_a_station_on_that_strut_and_says_the_share(cracked):
    told = cracked.indications[0]
    where = {s.name: s.where for s in LAYOUT.stations}
    assert told.stations and cracked.places[0].member in where[told.stations[0]]
    (crack,) = [found for found in cracked.located if found.told_from == "drops"]
    assert cracked.places[0].member in told.sentence and places_sentence(crack) in told.sentence


def test_json_has_the_places(cracked):
    first = plain(cracked)["places"][0]
    assert {"member", "where", "x", "y", "share", "share_sd"} <= set(first)
    assert revived(type(cracked), plain(cracked)).places == cracked.places


@each("label", [c["label"] for c in TABLE.meta["cases"] if c["kind"] == "depth"])
def test_a_closed_crack_that_rubs_is_placed_by_the_losses(label):
    found = next(w for w in compared("sound", State(rubbing=label)).located if w.told_from == "losses")
    assert label.split(", ")[1].split(" at ")[0] in [p.member for p in found.places[:3]]


@each("clamp", range(3))
def test_a_weight_is_placed_by_what_it_slows(clamp):
    """Told whether or not a weight is the likelier cause: that is for added_mass to say."""
    before, later = scan(seed=1), scan("sound", 2, State(masses_kg=((clamp, 0.3),)))
    drops = np.array([np.log(a.frequency_hz / b.frequency_hz) for a, b in zip(before.modes, later.modes, strict=False)])
    found = located(drops, [m.id for m in before.modes[: len(drops)]], before, "weight", SETTINGS)
    spot, edge = TABLE.meta["clamps"][clamp], TABLE.arrays["outline"]
    x, y = (np.array([spot["x_m"], spot["y_m"]]) - edge.min(axis=0)) / np.ptp(edge, axis=0)
    far = [np.hypot((p.x - x) * 1.4, (p.y - (1 - y)) * 1.3) for p in found.places[:3]]
    assert min(far) < 0.35


MIRRORED = replace(LAYOUT, stations=tuple(replace(s, x=1 - s.x) for s in LAYOUT.stations))
TWO_PAIRS = {3: 14, 14: 3, 1: 17, 17: 1}  # exchanged in the drawing
MIXED_UP = replace(
    LAYOUT,
    stations=tuple(
        replace(s, x=LAYOUT.stations[TWO_PAIRS.get(k, k)].x, y=LAYOUT.stations[TWO_PAIRS.get(k, k)].y)
        for k, s in enumerate(LAYOUT.stations)
    ),
)
OTHER_KIND = replace(LAYOUT, outline=read_layout("upright-three-quarter-long").outline)


@each(
    ("how", "word"),
    [
        ({"places": 8}, "are needed"),
        ({"signs": False}, "rescreen"),
        ({"layout": None}, "outline"),
        ({"layout": replace(LAYOUT, outline=None)}, "outline"),
        ({"layout": OTHER_KIND}, "does not fit"),
        ({"layout": MIRRORED}, "does not fit"),
        ({"layout": MIXED_UP}, "does not fit"),
    ],
)
def test_what_cannot_be_told_is_said(how, word):
    found = compared(STRUTS[0], **how)
    assert found.indications and not found.places
    assert word in (found.places_reason or "") and "cannot be told" in found.indications[0].sentence


def test_at_twelve_places_a_cracked_strut_is_still_among_the_first():
    found = compared(STRUTS[0], places=12)
    assert found.located[0].places_used == 12
    assert STRUTS[0].split(", ")[1].split(" at ")[0] in [p.member for p in found.places[:3]]


def test_nothing_changed_nothing_placed():
    found = compared()
    assert not found.places and not found.located and found.places_reason


def test_a_model_mode_far_below_a_measured_one_leaves_all_known():
    """Its weight is zero to the last bit."""
    rng = np.random.default_rng(0)
    far = Fitted(
        np.array([2.0, 1250.0]), rng.standard_normal((20, 2)), rng.standard_normal((3, 5, 2)), np.ones((9, 2)), 1.0
    )
    found = expanded(Patterns(np.array([1300.0]), rng.standard_normal((1, 20))), far, SETTINGS)
    assert np.isfinite(found.squares).all() and np.isfinite(found.fit).all()


def test_shares_follow_the_cosine_and_add_up():
    """Two parts, one of which would do just what is seen."""
    rng = np.random.default_rng(0)
    made = rng.random((3, 40))
    found = beliefs(2e-4 * made[1], made, np.ones(40), ["a", "b", "a"], SETTINGS)
    assert found[0].part == "b" and found[0].candidate == 1 and found[0].share > 0.9
    assert sum(b.share for b in found) == pytest.approx(1)
    even = beliefs(made[1], np.tile(made[1], (2, 1)), np.ones(40), ["a", "b"], SETTINGS)
    assert [b.share for b in even] == pytest.approx([0.5, 0.5])


def odds_of(change, made, fit=1.0):
    """Ln odds of the second part."""
    share = {b.part: b.share for b in beliefs(change, made, np.full(len(change), fit), ["a", "b"], SETTINGS)}
    return np.log(share["b"] / share["a"]), share


def test_some_doubt_is_left_and_a_good_likeness_is_believed_more():
    """Tones that no candidate would move shrink all cosines alike; the odds shrink by more."""
    apart = np.kron(np.eye(2), np.ones(20))
    assert odds_of(apart[1], apart)[1]["a"] == pytest.approx(SETTINGS.location.doubt / 2)
    near = np.ones((2, 40)) + np.array([[0.3], [0.0]]) * np.kron([1, -1], np.ones(20))
    clean = odds_of(near[1], near)[0]
    seen = np.concatenate([near[1], np.ones(40)])  # half of what changed is not of these candidates' making
    assert 0 < odds_of(seen, np.hstack([near, np.zeros((2, 40))]))[0] < 0.95 * np.sqrt(0.5) * clean
    assert 0 < odds_of(near[1], near, fit=0.2)[0] < 0.95 * clean


def test_many_candidates_in_a_part_are_no_evidence_for_it():
    """Nine like ones share the belief that one has."""
    made = np.ones((10, 40))
    found = beliefs(made[0], made, np.ones(40), ["a"] * 9 + ["b"], SETTINGS)
    assert [b.share for b in found] == pytest.approx([0.5, 0.5])


def test_a_model_is_made_in_seconds_kept_by_its_outline_and_read_in_less_than_one(tmp_path):
    outline = read_layout("upright-long").outline
    rough_model.cache_clear()
    begun = time.process_time()
    made = rough_model(outline, tmp_path)
    assert time.process_time() - begun < 10
    rough_model.cache_clear()
    begun = time.process_time()
    again = rough_model(outline, tmp_path)
    assert time.process_time() - begun < 1
    assert np.array_equal(made.bending, again.bending) and made.cuts == again.cuts
    assert [p.name for p in tmp_path.iterdir()] == [f"{outline_hash(outline)}.npz"]
    assert outline_hash(replace(outline, web_mm=12.0)) != outline_hash(outline)


def test_a_damaged_or_forbidden_folder_costs_time_only(tmp_path, monkeypatch):
    outline = read_layout("upright-long").outline
    known, made = rough_model(outline), []
    monkeypatch.setattr("tapscan.model.rough._made", lambda of: made.append(of) or known)
    (tmp_path / f"{outline_hash(outline)}.npz").write_bytes(b"no model")
    rough_model.cache_clear()
    assert rough_model(outline, tmp_path) is known and len(made) == 1
    rough_model.cache_clear()
    assert len(rough_model(outline, tmp_path).cuts) and len(made) == 1  # it is written over
    rough_model.cache_clear()
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert rough_model(outline, tmp_path / "file" / "below") is known and len(made) == 2


@each(("y", "marked"), [(0.45, ("S1",)), (0.53, ("S1", "S2")), (0.62, ("S2",))])
def test_a_place_between_two_stations_is_marked_at_both(y, marked):
    """Readers were told of a strut's end and shown its middle."""
    stations = tuple(Station(f"S{k}", "strut", 0.5, at) for k, at in enumerate((0.46, 0.62), 1))
    layout = Layout("two", "grand", "", stations)
    found = Whereabouts((LikelyPlace("strut 2", "strut", "keyboard end", 0.5, y, 0.9, 0.1),), "drops")
    assert nearest_stations(found, layout) == marked


def test_how_many_places_are_marked_withdraws_no_rate_of_the_parts_named():
    """The rates are of parts; with a number that only marks stations among its own they were told as an earlier version's."""
    assert "ABOUT_AS_NEAR" not in dict(constants("location")) and "ABOUT_AS_NEAR" not in dict(constants("comparison"))
    assert EARLIER not in place_rates(
        Whereabouts((LikelyPlace("strut 2", "strut", "", 0.5, 0.5, 0.9, 0.1),), "drops"),
        limits_by_part(Settings(), RULE_LIMITS),
    )
