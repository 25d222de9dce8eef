"""What the studies of bench share: work is done once, seeds differ, rates are drawn, castings are the unit."""

import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from bench import processor_time, speed, study
from tests.every import each


def squared(unit: int) -> dict[str, int]:
    return {"is": unit * unit, "at": time.time_ns()}


def fails(unit: int) -> int:
    raise ValueError(f"unit {unit}")


def place(folder: Path, unit: int) -> Path:
    return folder / f"{unit}.json.gz"


def test_each_unit_is_worked_out_once_and_written_whole(tmp_path):
    path_of, until = partial(place, tmp_path), time.time() + 60
    assert study.make([1, 2, 2], squared, path_of, until, 2) == 2
    first = study.read(path_of(2))
    assert study.make([1, 2, 3], squared, path_of, until, 1) == 1
    assert study.read(path_of(2)) == first and study.read(path_of(3))["is"] == 9
    assert sorted(p.name for p in tmp_path.iterdir()) == ["1.json.gz", "2.json.gz", "3.json.gz"]
    assert study.read(path_of(4)) is None


def test_nothing_is_begun_when_the_time_is_over(tmp_path):
    assert study.make([1, 2], squared, partial(place, tmp_path), time.time() - 1, 1) == 0
    assert not list(tmp_path.iterdir())


def test_a_table_names_the_version_that_made_the_first_unit(tmp_path, monkeypatch):
    """Not the one that prints it; where units are there and none was noted, none is made up."""
    new, old = tmp_path / "new", tmp_path / "old"
    new.mkdir()
    first = study.kept_head(new, "seeds")
    monkeypatch.setattr(study, "commit", lambda: "another")
    assert study.kept_head(new, "seeds") == first and "another" not in first
    old.mkdir()
    study.make([1], squared, partial(place, old), time.time() + 60, 1)
    unknown = study.kept_head(old, "seeds")
    assert "nobody noted" in unknown and not {"another", "seeds"} & set(unknown.split())


def test_an_error_of_a_job_is_not_swallowed(tmp_path):
    with pytest.raises(ValueError, match="unit 5"):
        study.make([5], fails, partial(place, tmp_path), time.time() + 60, 1)
    assert study.read(place(tmp_path, 5)) is None


def test_seeds_part_studies_and_units():
    assert len({study.seed_of(s, u) for s in ("a", "ab") for u in ("b", "bc", "c")}) == 6
    assert study.seed_of("a", "bc") != study.seed_of("ab", "c")


def test_a_third_of_the_scans_at_44_or_48_khz_and_some_at_96():
    drawn = np.array([study.rate_of("s", str(i), 8000, "drawn") for i in range(3000)])
    usual = np.mean((drawn == 44_100) | (drawn == 48_000))
    assert usual == pytest.approx(1 / 3, abs=0.026)  # three standard deviations
    assert np.mean(drawn == 96_000) == pytest.approx(0.05, abs=0.012)
    assert {study.rate_of("s", str(i), 8000, "old") for i in range(50)} == {8000}


def test_castings_drawn_again_tell_less_than_their_pairs():
    """Ten castings of ten pairs that all go one way are ten results, not a hundred."""
    hits, tries = [10] * 5 + [0] * 5, [10] * 10
    low, high = study.over_castings(hits, tries, np.random.default_rng(1))
    pairs = study.clopper_pearson(50, 100)
    assert low < pairs[0] - 0.05 and high > pairs[1] + 0.05
    assert study.over_castings([3], [10], np.random.default_rng(1)) is None


def test_nothing_tried_tells_nothing():
    assert study.clopper_pearson(0, 0) == (0.0, 1.0)


@each(("costs", "verdict"), [((1.0, 1.5, 2.5, 4.5), "at most linear"), ((1.0, 1.3, 2.5, 7.3), "MORE THAN LINEAR")])
def test_growth_is_told_by_what_each_doubling_adds(costs, verdict):
    """What a start costs is in all of them and counts for nothing; beside the power stands what it is without each casting."""
    (power,) = {processor_time._power([start + s for s in costs]) for start in (0.0, 1.0)}
    assert processor_time._told("places", (8, 15, 30, 60), [costs, costs], "s").endswith(f"{verdict}")
    assert (power <= 1) == (verdict == "at most linear")


def test_harminv_is_held_against_the_dearer_of_two_runs():
    """On a machine that slows down meanwhile the ratio is not flattered."""
    assert "100.0 times" in speed.beside(400.0, 3.0, 4.0)[0] and speed.beside(400.0, 3.0, 4.0)[2].endswith(": reached")
    assert speed.beside(399.0, 4.0, 3.0)[2].endswith("NOT REACHED")
