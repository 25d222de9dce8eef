"""What people found afterwards, against what was said before."""

import pytest

from tapscan.screening.evidence import ENOUGH, Examined, evidence, rate
from tests.every import each

BUZZ, STRING = "buzz", "string"


def plates(count, *, flawed, relevant=(), not_run=(), state="stripped", sensor="contact"):
    return [Examined(f"P{k}/2026-01-01", flawed, relevant, not_run, state, sensor) for k in range(count)]


@each(
    ("hits", "of", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 30, 0.0, 1 - 0.025 ** (1 / 30))],
)
def test_the_interval_is_the_exact_one(hits, of, low, high):
    """Newcombe 1998, Statistics in Medicine 17, table of the Clopper-Pearson interval (from memory); the last in closed form."""
    found = rate(hits, of)
    assert (found.low, found.high) == (pytest.approx(low, abs=2e-4), pytest.approx(high, abs=2e-4))
    assert found.share == hits / of


def test_below_thirty_plates_there_is_no_rate_and_a_reason():
    found = rate(3, ENOUGH - 1)
    assert (found.hits, found.share, found.low, found.high) == (3, None, None, None) and found.reason
    assert rate(3, ENOUGH).reason is None


def test_hits_misses_and_false_calls_by_rule_state_and_sensor():
    examined = [
        *plates(3, flawed=True, relevant=(BUZZ,)),
        *plates(2, flawed=True),
        *plates(1, flawed=False, relevant=(BUZZ,), sensor="microphone"),
        *plates(4, flawed=False, not_run=(BUZZ,), state="finished"),
    ]
    rows = {(r.what, r.name): r for r in evidence(examined)}
    whole, buzz = rows[("all rules", "together")], rows[("rule", BUZZ)]
    assert (whole.found.hits, whole.found.of, whole.false.hits, whole.false.of) == (3, 5, 1, 5)
    assert (buzz.found.hits, buzz.found.of, buzz.false.hits, buzz.false.of, buzz.not_run) == (3, 5, 1, 1, 4)
    assert (rows[("state", "finished")].false.hits, rows[("state", "finished")].false.of) == (0, 4)
    assert (rows[("sensor", "microphone")].false.hits, rows[("sensor", "microphone")].false.of) == (1, 1)


def test_nothing_examined_is_one_row_of_nothing():
    (row,) = evidence([])
    assert (row.found.of, row.false.of, row.found.share) == (0, 0, None)
