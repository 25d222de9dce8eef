"""Where a room may be in the sound and cannot be told from the plate, less is concluded. That it is needed is counted in bench/few_places.py."""

import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.disposition import dispose
from tapscan.screening.limitations import limitations
from tapscan.screening.next_steps import KEEP, KEEP_UNTOLD
from tapscan.screening.rules import force_dependence, prominent_ringing
from tapscan.screening.untold_room import limitation
from tapscan.settings import Settings
from tapscan.signal.plate.tones import prominence_limit_db, tone_to_noise_limit_db
from tests.compared import BASE, crack, named
from tests.compared import scan as compared_scan
from tests.rule_scans import mode, scan, shift
from tests.snapshots import same_as_before

S = Settings()
HZ = 900.0


def test_hard_taps_are_not_held_against_soft_ones():
    modes = [mode(f"M{i}", 100.0 + 20 * i) for i in range(40)]
    shifts = tuple(shift(m.id, 3000.0 * (i < 18)) for i, m in enumerate(modes))
    given = {"force_shifts": shifts, "force_shifts_reason": None, "force_step_db": 20.0}
    assert [i.rule for i in force_dependence.run(scan(modes, **given), S)] == ["force-dependence"]
    assert isinstance(force_dependence.run(scan(modes, room_left_in=True, **given), S), RuleNotRun)


@pytest.mark.parametrize(
    ("over_db", "told", "called"),
    [
        (3.0, {"t60_s": 0.8}, False),
        (S.untold_room.over_db + 0.1, {"t60_s": 0.8}, True),
        (3.0, {"t60_s": S.untold_room.lasting_s + 0.1}, False),  # loses as iron does
        (3.0, {"t60_s": 20.0}, True),
    ],
)
@pytest.mark.parametrize("by", ["tone_to_noise_db", "prominence_ratio_db"])
def test_a_tone_must_stand_out_by_more_or_outlast_room_and_iron(over_db, told, called, by):
    limit = {"tone_to_noise_db": tone_to_noise_limit_db, "prominence_ratio_db": prominence_limit_db}[by](HZ)
    tone = mode("M1", HZ, prominent=True, stations_prominent=12, **{by: limit + over_db}, **told)
    assert len(prominent_ringing.run(scan([tone]), S)) == 1
    found = prominent_ringing.run(scan([tone], room_left_in=True), S)
    assert [bool(found), {c.limit for i in found for c in i.conditions} >= {S.untold_room.over_db}] == [
        called,
        called and over_db > 6,
    ]


@pytest.mark.parametrize("spoilt", ["later", "earlier"])
def test_nothing_is_compared(spoilt):
    later, base = named(compared_scan(crack()), "2026-06-01"), list(BASE)
    assert compare_scans(later, base, S).indications
    if spoilt == "later":
        later = replace(later, scan=replace(later.scan, room_left_in=True))
    else:
        base[1] = replace(base[1], scan=replace(base[1].scan, room_left_in=True))
    told = compare_scans(later, base, S)
    assert told.rules_not_run and not (told.indications or told.lost or told.gained or told.pairs)


def test_the_page_says_so_and_sends_nobody_to_tap_in_the_piano():
    bare = scan([mode("M1", HZ)], room_left_in=True)
    held = replace(bare, state="strung")
    for part, one in (("bare", bare), ("in the piano", held)):
        assert limitation(one) in limitations(one, S)
        same_as_before("untold-room", str(limitation(one)), part=part)
    assert limitations(bare, S)[-1] != limitations(replace(bare, room_left_in=False), S)[-1]  # not kept to compare with
    for silent in (replace(bare, room_left_in=False), replace(bare, room_left_in=None), replace(bare, modes=())):
        assert limitation(silent) is None


@pytest.mark.parametrize(("state", "kept"), [("stripped", True), ("strung", False), (None, True)])
@pytest.mark.parametrize("untold", [True, False, None])
def test_whoever_keeps_such_a_scan_is_told_that_no_other_is_compared_with_it(state, kept, untold):
    silent = replace(scan([mode("M1", HZ)], room_left_in=untold), state=state)
    steps = dispose(silent, (), (), S).steps
    assert [KEEP_UNTOLD in steps, KEEP in steps] == [kept and untold is True, kept and untold is not True]
