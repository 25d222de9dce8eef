"""The way round the plate: what is wanted, after taps, undone taps, skipped and repeated stations."""

from hypothesis import given
from hypothesis import strategies as st

from tapscan.workflow.guide import Guide

ORDER = ("soft", "hard", "hard")


def guide(*taken) -> Guide:
    return Guide.resumed(("S1", "S2", "S3"), ORDER, taken)


def test_soft_and_hard_in_the_declared_order_then_the_next_station():
    g = guide()
    seen = []
    while g.station:
        seen.append((g.station, g.force))
        g.accept()
    assert seen == [(s, f) for s in ("S1", "S2", "S3") for f in ORDER]
    assert g.done == 3
    assert g.accept() is False


def test_undo_goes_back_to_the_station_of_the_strike():
    g = guide()
    for _ in range(4):
        g.accept()
    assert (g.station, g.force) == ("S2", "hard")
    assert [g.undo(), g.undo()] == [3, 2]
    assert (g.station, g.force) == ("S1", "hard")
    assert guide().undo() is None


def test_a_skipped_station_is_left_and_not_come_back_to():
    g = guide()
    g.accept()
    g.skip()
    assert g.station == "S2"
    for _ in range(6):
        g.accept()
    assert g.station is None
    assert g.missing("S1") == ["hard", "hard"]
    g.back()
    assert g.station == "S3"
    g.at = 0
    assert g.force == "hard"


def test_back_and_repeat_take_a_station_anew():
    g = guide()
    for _ in range(4):
        g.accept()
    g.back()
    assert g.station == "S1"
    assert g.force is None
    assert g.repeat() == [0, 1, 2]
    assert (g.station, g.force) == ("S1", "soft")
    assert g.taken == [("S2", "soft")]


def test_resumed_at_the_first_station_that_lacks_a_tap():
    g = guide(("S1", "soft"), ("S1", "hard"), ("S1", "hard"), ("S3", "soft"), ("S2", "soft"))
    assert (g.station, g.force) == ("S2", "hard")
    assert g.count("S2", "soft") == (1, 1)
    assert g.count("S2", "hard") == (0, 2)


@given(st.lists(st.sampled_from(["accept", "undo", "skip", "back", "repeat"]), max_size=60))
def test_no_order_of_keys_leads_astray(keys):
    g = guide()
    for key in keys:
        getattr(g, key)()
        assert all(g.taken.count((s, "hard")) <= 2 and g.taken.count((s, "soft")) <= 1 for s in g.stations)
        assert (g.station is None) == (g.at == 3)
        assert g.done <= 3
