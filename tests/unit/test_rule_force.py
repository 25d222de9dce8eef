"""Force dependence: called when enough modes move, whichever way; never by what all share, by a few, or without its input."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.screening.disposition import dispose
from tapscan.screening.limitations import limitations
from tapscan.screening.rules import force_dependence, run_rules
from tapscan.screening.rules.force_dependence import ForceLimits
from tapscan.settings import Settings
from tapscan.workflow.told_wrongly import said_anew
from tests.report.sheets import screening
from tests.rule_scans import late, mode, scan, shift
from tests.snapshots import same_as_before

S = Settings()
MODES = [mode(f"M{i}", 100.0 + 20 * i) for i in range(40)]
QUIET = np.random.default_rng(1).normal(0, 15, 40)


def taps(moved: int, ppm: float, common: float = 0.0, **more):
    """40 modes; the first `moved` differ by ppm between hard and soft, all by `common`."""
    shifts = tuple(shift(m.id, QUIET[i] + common + (ppm if i < moved else 0.0)) for i, m in enumerate(MODES))
    return scan(MODES, **{"force_shifts": shifts, "force_shifts_reason": None, "force_step_db": 20.0, **more})


def told(given):
    return force_dependence.run(given, S)


@pytest.mark.parametrize("ppm", [3000.0, -3000.0])
def test_moved_modes_are_called_whichever_way_they_move(ppm):
    (found,) = told(taps(18, ppm))
    assert found.interpretation == "relevant"
    assert set(found.modes) == {f"M{i}" for i in range(18)}
    assert f"{'up' if ppm > 0 else 'down'} by 0.30 %" in found.sentence
    assert "18 of 40 modes" in found.sentence


def test_either_way_of_fitting_may_show_it_but_each_by_itself():
    still = tuple(shift(m.id, QUIET[i]) for i, m in enumerate(MODES))
    moving = tuple(shift(m.id, QUIET[i] + (3000.0 if i < 18 else 0.0), begun="soft taps") for i, m in enumerate(MODES))
    assert told(taps(0, 0.0, force_shifts=still + moving)) != []
    ways = ("all taps", "soft taps")
    half = tuple(shift(m.id, 3000.0 if i < 15 else 0.0, begun=way) for way in ways for i, m in enumerate(MODES))
    assert told(taps(0, 0.0, force_shifts=half)) == []


def test_what_all_modes_share_is_no_change():
    assert told(taps(0, 0.0, common=3000.0)) == []


def test_a_few_modes_that_err_are_no_change():
    assert told(taps(round(S.of(ForceLimits).rank) - 1, 30000.0)) == []
    assert told(taps(round(S.of(ForceLimits).rank), 30000.0)) != []


def test_changes_as_sound_plates_show_are_not_called():
    assert told(taps(18, 300.0)) == []  # the study's largest for a sound plate


def test_an_uncertain_change_is_not_called():
    vague = taps(18, 3000.0)
    assert (
        told(replace(vague, force_shifts=tuple(replace(s, frequency_sd_ppm=2000.0) for s in vague.force_shifts))) == []
    )


def test_modes_of_mains_and_room_do_not_count():
    hum = [replace(m, origin="hum") if i < 18 else m for i, m in enumerate(MODES)]
    outcome = told(replace(taps(18, 3000.0), modes=tuple(hum)))
    assert isinstance(outcome, RuleNotRun) and "only 22 modes" in outcome.reason
    fewer = [replace(m, origin="hum") if i < 8 else m for i, m in enumerate(MODES)]
    assert told(replace(taps(18, 3000.0), modes=tuple(fewer))) == [], "ten of those that moved are left"


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"force_shifts": (), "force_shifts_reason": "needs soft and hard taps"}, "soft and hard"),
        ({"force_step_db": 3.0}, "hardly louder"),
        ({"force_step_db": None}, "unknown"),
        ({"force_shifts": tuple(shift(f"M{i}", 3000.0) for i in range(12))}, "only 12 modes"),
        ({"late_sounds": tuple(late(i) for i in range(12)), "late_sounds_reason": None}, "buzzed"),
    ],
)
def test_without_its_input_it_does_not_run(more, match):
    outcome = told(taps(18, 3000.0, **more))
    assert isinstance(outcome, RuleNotRun)
    assert match in outcome.reason


def test_exchanged_forces_are_told_first_and_with_the_order_that_would_be_right():
    """Clearly softer, not hardly louder: the order was typed the wrong way round."""
    exchanged, alike = taps(0, 0.0, force_step_db=-20.0), taps(0, 0.0, force_step_db=-S.of(ForceLimits).step_db + 0.1)
    outcome = told(exchanged)
    assert isinstance(outcome, RuleNotRun) and "seem exchanged" in outcome.reason
    first = limitations(exchanged, S)[0]
    assert dispose(exchanged, (), (), S).summary.startswith(first[: first.index(".") + 1])
    assert not any("exchanged" in said for said in (*limitations(alike, S), dispose(alike, (), (), S).summary))
    anew = [said_anew(screening(scan=s, limitations=limitations(s, S))) for s in (exchanged, alike)]
    assert anew == [[("order", "hard,soft")], []]
    same_as_before("shortfalls", first, part="soft and hard exchanged")


def test_a_buzz_no_longer_hides_it_once_parts_were_held():
    buzz = {"late_sounds": tuple(late(i) for i in range(12)), "late_sounds_reason": None, "parts_held": True}
    assert isinstance(told(taps(18, 3000.0, **buzz)), list)


def test_the_place_named_is_where_the_moved_modes_are_strong():
    at = {f"S{i}": (0.0 if i == 7 else -30.0) for i in range(1, 13)}
    strong = [mode(m.id, m.frequency_hz, db=at) if i < 18 else m for i, m in enumerate(MODES)]
    (found,) = told(replace(taps(18, 3000.0), modes=tuple(strong)))
    assert found.stations == ("S7",)


def test_places_are_named_by_share_the_strongest_first():
    """Each mode counts as one over all places: a single loud mode does not outvote fourteen."""
    quiet = {f"S{i}": {7: 0.0, 3: -1.5}.get(i, -30.0) for i in range(1, 13)}
    loud = {f"S{i}": 60.0 if i == 2 else 0.0 for i in range(1, 13)}
    strong = [mode(m.id, m.frequency_hz, db=loud if i == 0 else quiet) if i < 18 else m for i, m in enumerate(MODES)]
    (found,) = told(replace(taps(18, 3000.0), modes=tuple(strong)))
    assert found.stations == ("S7", "S3")


def test_it_does_not_run_in_the_piano():
    found, not_run = run_rules(taps(18, 3000.0, state="strung"), S)
    assert "force-dependence" in {r.rule for r in not_run}
    assert "force-dependence" not in {i.rule for i in found}


def test_it_leads_to_something_to_look_at():
    given = taps(18, 3000.0)
    assert dispose(given, told(given), [], Settings()).disposition == "relevant indication"


def test_each_way_of_fitting_needs_modes_enough_by_itself():
    """Twenty modes in the one way and twenty others in the other are no forty; the rule had then been passed in silence."""
    halves = tuple(shift(m.id, QUIET[i], begun="all taps" if i < 20 else "soft taps") for i, m in enumerate(MODES))
    outcome = told(taps(0, 0.0, force_shifts=halves))
    assert isinstance(outcome, RuleNotRun) and "only 20 modes" in outcome.reason
