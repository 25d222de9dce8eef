"""The page of the rules: its figures are the bench's, of the limits that ship, and every rule is on it."""

from bench.detection import PAGE, RESULTS, interval, limits_sha256, page
from tapscan.report.words import RULES as TITLES
from tapscan.screening.rules import RULES

TEXT = PAGE.read_text(encoding="utf-8")


def test_the_page_shows_what_the_bench_wrote():
    assert page(TEXT, RESULTS.read_text(encoding="utf-8")) == TEXT, (
        "stale: python -m bench.detection WORK --tables FOLDER --minutes 0"
    )


def test_the_figures_are_of_the_limits_that_ship():
    assert f"limits {limits_sha256()}" in RESULTS.read_text(encoding="utf-8")


def test_every_rule_has_a_title():
    assert {rule.NAME for rule in RULES} <= set(TITLES)


def test_intervals_are_clopper_and_pearsons():
    """Newcombe 1998, table I, and the binomial: 81/263, 15/148, 0/20, 1/29."""
    for hits, count, low, high in ((81, 263, 25.3, 36.8), (15, 148, 5.8, 16.2), (0, 20, 0.0, 16.8), (1, 29, 0.1, 17.8)):
        assert interval(hits, count).split()[3:6:2] == [str(low), str(high)]
