"""A sensor is a kind: what another kind, place or mass does to the comparison, and what words no longer do."""

from msgspec.structs import replace

from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.condition_changes import UNKNOWN_SENSOR, changed_conditions, sensor_changed
from tapscan.sensors import Sensor
from tapscan.settings.repeatability import Repeatability
from tests.compared import BASE, SETTINGS, STRIPPED, crack, named, scan
from tests.every import each
from tests.snapshots import same_as_before

PICKUP = Sensor("contact", "wax", 5.0, "treble strut")
CHANGES = {
    "kind": (replace(PICKUP, kind="microphone"), True),
    "mass": (replace(PICKUP, mass_g=12.0), True),
    "place": (replace(PICKUP, place="bass corner"), True),
    "a hair in mass": (replace(PICKUP, mass_g=5.5), False),
    "note": (replace(PICKUP, note="microphone on a stand"), False),
    "capitals and blanks": (replace(PICKUP, place="  Treble  STRUT "), False),
    "mass not told": (replace(PICKUP, mass_g=None), False),
    "place not told": (replace(PICKUP, place=None), False),
    "kind not told": (replace(PICKUP, kind=None), False),
}


@each("name", CHANGES)
def test_kind_mass_and_place_decide_and_words_do_not(name):
    other, changed = CHANGES[name]
    for a, b in ((PICKUP, other), (other, PICKUP)):
        assert (sensor_changed(a, b, SETTINGS) is not None) is changed


def compared(now: Sensor, before: Sensor = PICKUP, size: float = 2e-2):
    base = [replace(b, conditions=replace(STRIPPED, sensor=before)) for b in BASE]
    return compare_scans(named(scan(crack(size), seed=50), "2026-05-01", replace(STRIPPED, sensor=now)), base, SETTINGS)


def test_frequencies_are_not_judged_by_another_sensor_however_far_they_fell():
    same = compared(PICKUP)
    assert [i.id for i in same.indications] == ["C1"] and same.statistic is not None and any(p.fell for p in same.pairs)
    for name in ("kind", "mass", "place"):
        other, _ = CHANGES[name]
        found = compared(other)
        assert found.indications == () and found.statistic is None and found.explanation is None, name
        assert not any(p.fell or p.judged for p in found.pairs), name
        assert [r.rule for r in found.rules_not_run] == ["change-since-baseline"], name
        assert found.reason == found.rules_not_run[0].reason in found.unlike, name


def test_the_damping_is_still_judged_where_a_pickup_only_moved():
    import numpy as np

    damped = np.where(np.arange(60) % 4 == 0, 2.0, 1.0)
    base = [replace(b, conditions=replace(STRIPPED, sensor=PICKUP)) for b in BASE]

    def later(sensor):
        conditions = replace(STRIPPED, sensor=sensor)
        return compare_scans(named(scan(crack(), loss=damped, seed=51), "2026-05-01", conditions), base, SETTINGS)

    assert [i.id for i in later(PICKUP).indications] == ["C1", "C2"]
    assert [i.id for i in later(replace(PICKUP, place="bass corner")).indications] == ["C2"]
    assert later(replace(PICKUP, kind="microphone")).indications == ()


def test_a_microphone_that_stood_elsewhere_concludes_nothing():
    here, there = Sensor("microphone", place="10 cm over S3"), Sensor("microphone", place="10 cm over S7")
    told = changed_conditions(replace(STRIPPED, sensor=there), [replace(STRIPPED, sensor=here)], 10, SETTINGS)
    assert told.refused and told.frequency_refused and told.loss_refused


def test_an_unknown_kind_is_said_and_counts_as_a_microphone():
    unknown = replace(PICKUP, kind=None)
    found = compared(unknown, unknown)
    assert found.by_likelihood_ratio, "the road of the microphone"
    assert UNKNOWN_SENSOR in found.unlike
    same_as_before("comparison", UNKNOWN_SENSOR, part="a sensor of an unknown kind")
    assert not compared(PICKUP).by_likelihood_ratio and UNKNOWN_SENSOR not in compared(PICKUP).unlike


def test_what_repeats_is_reckoned_by_rayleigh():
    """m / 2M: 5 g on 104 kg is 24 millionths (Rayleigh's principle, by hand); twice the mass, twice that."""
    heavy = replace(PICKUP, mass_g=20.0)
    (said,) = changed_conditions(
        replace(STRIPPED, sensor=heavy), [replace(STRIPPED, sensor=heavy)], 10, SETTINGS
    ).sentences
    assert "20 g" in said and "by 24 millionths" in said and "within 10 mm" in said
    ten = SETTINGS.but(Repeatability, sensor_mass_g=10.0)
    (said,) = changed_conditions(replace(STRIPPED, sensor=heavy), [replace(STRIPPED, sensor=heavy)], 10, ten).sentences
    assert "by 48 millionths" in said


def test_capitals_and_blanks_do_not_matter_in_supports_and_fittings():
    before = replace(STRIPPED, supports="Four felt pads", fittings=("Hitch pins", "nose bolts"))
    now = replace(STRIPPED, supports=" four  FELT pads ", fittings=("NOSE bolts", "hitch  pins"))
    assert changed_conditions(now, [before], 10, SETTINGS).sentences == ()
    told = changed_conditions(replace(now, fittings=("nose bolts",)), [before], 10, SETTINGS)
    assert told.refused and "Hitch pins" in told.refused
