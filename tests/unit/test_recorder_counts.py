"""The short form of bench/recording.py: every good tap once, spoilt ones refused for the right reason, talk and steps never taken."""

from bench.recording import counted, heard, made


def test_no_tap_is_lost_none_taken_twice_and_nothing_else_taken():
    played = made(120, seed=5)
    count = counted(played, heard(played))
    assert (count.good, count.once, count.twice, count.lost, count.false) == (120, 120, 0, 0, 0)
    assert count.spoilt >= 5
    assert count.wrong == ()
