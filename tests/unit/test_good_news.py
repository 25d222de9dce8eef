"""What a comparison without a finding says it found out."""

import numpy as np
from msgspec.structs import replace

from tapscan.screening.compare.change import Change
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.good_news import good_news
from tapscan.screening.conclude import concluded
from tapscan.screening.disposition import NOTHING
from tests.compared import BASE, SETTINGS, crack, named, scan
from tests.register import built
from tests.snapshots import same_as_before, without_figures


def test_a_comparison_without_a_finding_says_how_much_was_compared():
    c = compare_scans(named(scan(seed=3), "2026-06-01"), BASE, SETTINGS)
    judged = sum(bool(p.judged) for p in c.pairs)
    assert judged > 20 and not any(p.fell for p in c.pairs) and c.indications == ()
    assert c.good_news is not None and c.good_news.startswith(f"{judged} tones compared")
    assert "2026-01-01" in c.good_news
    assert "none fell" in c.good_news and c.summary.startswith(c.good_news)
    cracked = compare_scans(named(scan(crack(), seed=3), "2026-06-01"), BASE, SETTINGS)
    assert cracked.indications and cracked.good_news is None
    few = compare_scans(named(scan(seed=3, drop=range(4, 60)), "2026-06-01"), BASE, SETTINGS)
    assert few.rules_not_run and few.good_news is None


def test_good_news_counts_a_tone_that_fell_alone():
    change = Change(
        value=np.zeros(3), sd=np.ones(3), score=np.array([4.0, 0.0, 0.0]), judged=np.array([True, True, False]),
        named=np.array([True, False, True]), weight=np.zeros(3), statistic=1.0, limit=2.0, by_likelihood_ratio=False,
    )  # fmt: skip
    assert "2 tones" in good_news(change, "x", 3) and "1 of them fell" in good_news(change, "x", 3)
    assert "none fell" in good_news(replace(change, named=np.zeros(3, bool)), "x", 3)
    assert "none" not in good_news(replace(change, by_likelihood_ratio=True), "x", 3), "there no tone decides by itself"
    for nothing in (
        replace(change, statistic=None),
        replace(change, judged=np.zeros(3, bool)),
        replace(change, statistic=3.0),
    ):
        assert good_news(nothing, "x", 3) is None


def test_one_earlier_scan_is_not_taken_for_what_the_plate_varies_by():
    later = named(scan(seed=3), "2026-06-01")
    one, three = (compare_scans(later, BASE[:n], SETTINGS).good_news for n in (1, 3))
    assert "normal variation" in three and "normal variation" not in one
    assert "cannot be told" in one
    same_as_before("comparison", without_figures(f"{one}\n{three}"), part="good news beside one scan and beside three")


def test_the_good_news_opens_the_first_screen():
    c = compare_scans(named(scan(seed=3), "2026-06-01"), BASE, SETTINGS)
    alone = replace(built.screening(("ff" * 32,)), scan=scan(seed=3), indications=())
    said = concluded(replace(alone, comparison=c), SETTINGS)
    assert said.headline == NOTHING and c.good_news is not None and said.summary.startswith(c.good_news)
    flawed = concluded(replace(built.screening(("ff" * 32,)), scan=scan(seed=3), comparison=c), SETTINGS)
    assert flawed.disposition == "relevant indication" and c.good_news not in flawed.summary
