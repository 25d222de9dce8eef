"""The study of two scans of a plate in its piano: which scans it makes, and whose figures it writes."""

import json

import pytest

from bench import in_piano, reach_file
from bench.in_piano import FLAWED_EVERY, SEASON_FLAWED, SEASON_PLAIN, SEASON_WIDE, season_units, units_of
from bench.in_piano_scans import AGAIN


def test_of_every_visit_two_scans_are_made_and_none_twice():
    units = season_units(["a", "b"], FLAWED_EVERY + 1, "luck")
    assert len(units) == len(set(units)) == 2 * (6 * len(SEASON_PLAIN) + 2 * len(SEASON_FLAWED + SEASON_WIDE))
    roles = {role for _, role in units}
    assert {role.removesuffix(AGAIN) for role in roles} == {role for role in roles if not role.endswith(AGAIN)}
    assert {f"{role}{AGAIN}" for role in roles if not role.endswith(AGAIN)} <= roles
    flawed_first = [unit.number for unit, _ in units[: 2 * 2 * len(SEASON_PLAIN + SEASON_FLAWED)]]
    assert set(flawed_first) == {0, FLAWED_EVERY}
    assert set(units) <= set(units_of(["a", "b"], FLAWED_EVERY + 1, "luck")), "the whole study makes them, too"


def test_rows_stand_in_order():
    corner, same = "season 5 % twice, corner 60 mm", "season 5 % twice, same"
    rows = [
        "single, same",
        "job, same",
        "job twice, same",
        "season 5 %, same",
        "season 5 %, severed",
        "season 20 %, same",
        same,
        corner,
        "season 20 % twice, same",
    ]
    assert sorted(reversed(rows), key=in_piano._order) == rows
    assert (in_piano.AIMS[corner], in_piano.AIMS[same]) == ((0.85, 1.0), (0.0, 0.02))


@pytest.mark.parametrize("seasons", [True, False])
def test_of_seasons_alone_the_other_figures_stay(seasons, tmp_path, monkeypatch):
    figures, page = tmp_path / "reach.json", tmp_path / "page.md"
    kept = {"places_tapped": 8, "job": {"same": {"spoke": 1}}, "season 5 %": {"same": {"spoke": 2}}, "written": "then"}
    figures.write_text(json.dumps({"piano": kept, "single": {"as": "it was"}}))
    page.write_text("\n".join(m for marks in (in_piano.MARKS, in_piano.SEASON_MARKS) for m in marks))
    monkeypatch.setattr(reach_file, "FILE", figures)
    monkeypatch.setattr(in_piano, "PAGE", page)
    counts = {(8, "season 5 %, same"): [False, True], (8, "season 5 % twice, same"): [False] * 3}
    in_piano._publish(counts, "the table\n", seasons)
    written = json.loads(figures.read_text())
    assert written["single"] == {"as": "it was"} and written["piano"]["season 5 % twice"]["same"]["of"] == 3
    assert written["piano"]["season 5 %"]["same"]["spoke"] == (2 if seasons else 1)
    assert ("job" in written["piano"]) is seasons and written["piano"]["written"] != "then"
    assert page.read_text().index("the table") > page.read_text().index(
        (in_piano.SEASON_MARKS if seasons else in_piano.MARKS)[0]
    )
