"""The first sentence: without a figure, one for every rule that can find something and for every headline, and never the same for two findings."""

import re

import pytest
from msgspec.structs import replace

from tapscan.screening import disposition
from tapscan.screening.conclude import concluded
from tapscan.screening.plain_words import BEFORE, FINDING, HEADLINES, in_plain_words, plain_of, since
from tapscan.screening.rules import RULES
from tapscan.settings import Settings
from tests.every import each
from tests.report.sheets import indication, screening
from tests.report.test_comparison_section import comparison
from tests.snapshots import same_as_before

FIGURE = re.compile(r"\d|%|\bHz\b|\bdB\b")
FINDS = [r for r in RULES if r.name not in ("string", "room-hum-handling")]  # these two only explain
PLAIN = [(r.name, begins, plain) for r in FINDS for begins, plain in r.plain]


@each(
    ("state", "what"),
    [
        ("stripped", "finish and strings"),
        ("finished", "strings"),
        ("fitted-out", "strings"),
        (None, "finish and strings"),
    ],
)
def test_on_a_plate_with_its_finish_on_only_the_strings_are_still_to_come(state, what):
    bare = screening(indications=(), headline=disposition.NOTHING)
    for made in (None, replace(comparison(), good_news="80 tones compared.")):
        told = in_plain_words(replace(bare, scan=replace(bare.scan, state=state), comparison=made))
        assert f"Whether {what} may be put on is for a qualified person" in told.means


def test_every_rule_that_finds_something_has_its_own_words():
    assert [r.name for r in FINDS if not r.plain] == []
    headlines = [plain.headline for _, _, plain in PLAIN]
    assert len(set(headlines)) == len(headlines) and all(headlines)


@each(("rule", "begins", "plain"), PLAIN)
def test_plain_words_hold_no_figure_and_no_verdict(rule, begins, plain):
    for text in (plain.headline, plain.first.replace("{since}", ""), plain.means):
        assert not FIGURE.search(text)
    assert "cannot tell" in plain.means


@each("headline", [v for k, v in vars(disposition).items() if k.isupper() and isinstance(v, str) and v in HEADLINES])
def test_words_of_a_headline_hold_no_figure(headline):
    plain = HEADLINES[headline]
    assert plain.first and plain.means and not FIGURE.search(plain.first + plain.means)


@pytest.mark.parametrize("rule", ["long-decay", "dead-place", "force-dependence"])
def test_a_finding_is_in_the_headline_and_leads(rule):
    found = indication(rule=rule, id="D2" if rule == "long-decay" else "E1")
    told = concluded(screening(indications=(found,)), Settings())
    plain = plain_of(found)
    assert told.headline == f"{disposition.LOOK}: {plain.headline}"
    assert told.lead == f"{plain.first} {plain.means}"
    assert told.summary.startswith(found.sentence)


def test_what_was_compared_is_named_by_its_month():
    made = comparison(baselines=("B12/2026-03-02", "B12/2026-03-20-2"))
    assert since(made) == "March 2026" and since(None) == BEFORE
    several = since(comparison(baselines=("B12/2026-03-02", "B12/2025-04-01")))
    assert several.index("April 2025") < several.index("March 2026")
    found = indication(rule="change-since-baseline", id="C1", status="new")
    told = in_plain_words(replace(screening(indications=(found,)), headline=disposition.LOOK, comparison=made))
    assert "in March 2026" in told.first
    same_as_before("plain-words", f"{several}\n{told.first}\n{told.means}", part="what was compared")


def test_a_rule_that_is_no_more_still_gets_a_sentence():
    assert plain_of(indication(rule="a-rule-of-yesterday")) == FINDING
