"""The first screen answers what a buyer asks: what, where, how sure, compared with what, what weakens it, what people found, who does what."""

import re
from html import unescape

import pytest
from msgspec.structs import replace

from bench.first_screens import SCREENS, key, words_of
from tapscan.records import LikelyPlace
from tapscan.report import error_rates
from tapscan.report.about import About
from tapscan.report.error_rates import CRACKS, how_sure, measured
from tapscan.report.extras import Extras
from tapscan.report.first_screen import DONE_BY, IN_FULL, NOBODY, TESTED, _first_look, steps
from tapscan.report.page import render_page
from tapscan.report.rule_words import rule_title
from tapscan.report.shop import Shop
from tapscan.screening.next_steps import CRACK_TEST, EYES, QUALIFIED, STEPS
from tapscan.screening.plain_words import not_decided
from tapscan.screening.rules import change_since_baseline
from tests.report.sheets import indication, screening
from tests.report.test_comparison_section import comparison
from tests.report.test_error_rates import SHIPPED
from tests.snapshots import same_as_before

ALARMS = re.compile(r"there (was|were) (\d+) false (alarms?) in (\d+)")
ABOUT = About("B12", "B12/2026-09-02", "2.9.2026")


def rows(page: str) -> dict[str, str]:
    """Question and answer."""
    asked, _, _ = page[page.index('class="asked"') :].partition("</dl>")
    return {name: re.sub(r"<br>", " ", told) for name, told in re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", asked)}


def answer(page: str, begins: str) -> str:
    """To the one question that begins so."""
    (told,) = [told for name, told in rows(page).items() if name.startswith(begins)]
    return told


@pytest.mark.parametrize("summary", [False, True])
def test_every_question_of_a_buyer_is_answered_before_the_steps_and_the_figures(summary):
    s = screening(lead="Plain words.", limitations=("First. More.", "Second.", "Third."))
    page = render_page(s, ABOUT, Extras(summary=summary))
    asked = rows(page)
    assert len(asked) == 6 and all(asked.values())
    limits = answer(page, "What limits")
    assert limits.startswith("First. Second. 1 more") and "Third" not in limits
    assert (unescape(limits).endswith(f"{TESTED}."), limits.endswith(f"{IN_FULL}.")) == (not summary, summary)
    same_as_before(
        "report",
        unescape("\n".join(f"{q}: {a}" for q, a in asked.items())),
        part="first screen: what a buyer asks, in the " + ("page for a buyer" if summary else "report"),
    )
    assert ('id="tested"' in page) is not summary
    assert answer(page, "Seen and found").lower() == NOBODY
    order = [page.index(mark) for mark in ("<h1>", "Plain words.", 'class="asked"', "What to do next", "In figures")]
    assert order == sorted(order)


def test_what_people_found_later_stands_there():
    told = replace(ABOUT, since=("An examination found: crack in strut 2.",))
    assert answer(render_page(screening(), told), "Seen and found") == told.since[0]


def test_days_of_the_scans_compared_with_stand_as_the_shop_writes_them():
    made = comparison(baselines=("B12/2026-03-02",), rules_not_run=())
    told = answer(render_page(screening(comparison=made), ABOUT, Extras(Shop(dates="day.month.year"))), "Compared with")
    assert re.findall(r"[\d.-]{6,}", told) == ["02.03.2026"]
    same_as_before("report", unescape(told), part="first screen: compared with the plate's own scan")
    twice = comparison(baselines=("B12/2026-03-02", "B12/2026-03-02-2", "B12/2026-04-01"), rules_not_run=())
    told = answer(render_page(screening(comparison=twice), ABOUT), "Compared with")
    assert told.count("2026-03-02") == 1 and "2026-03-02 (2 scans)" in told and "2026-04-01" in told


def test_a_qualified_person_is_told_by_trade_where_a_step_asks_for_one():
    asks = screening(next_steps=(CRACK_TEST.line,))
    assert QUALIFIED in render_page(asks) and QUALIFIED in render_page(asks, ABOUT, Extras(summary=True))
    assert QUALIFIED not in render_page(replace(asks, next_steps=(EYES.line,)))
    assert QUALIFIED in render_page(replace(asks, next_steps=(EYES.line,), lead=f"Nothing. {not_decided(None)}"))


def test_steps_are_parted_by_who_does_them():
    told = steps([s.line for s in STEPS])
    assert [title for title, _ in told] == list(DONE_BY.values())
    assert sum(len(lines) for _, lines in told) == len(STEPS)
    assert steps(["Look."]) == [("", ["Look."])]


@pytest.mark.parametrize(("scans", "part"), [(1, "beside"), (2, "beside"), (3, "comparison")])
def test_how_sure_is_what_was_counted_with_so_many_earlier_scans(scans, part):
    made = comparison(baselines=tuple(f"B12/2026-03-0{n}" for n in range(1, scans + 1)))
    found = indication(rule="change-since-baseline", id="C1")
    told = how_sure(screening(indications=(found,), comparison=made, limits_sha256=SHIPPED))
    plain = measured()["beside"]["any_relevant"]["sound"] if part == "beside" else measured()["comparison"]["unchanged"]
    one = plain["spoke"] == 1
    said = ("was" if one else "were", str(plain["spoke"]), "alarm" if one else "alarms", str(plain["of"]))
    assert ALARMS.findall(told) == [said] and "no proof" in told
    below = error_rates.error_rates("change-since-baseline", SHIPPED, scans)
    counts = [re.findall(r"\d+ (?:in|of) \d+", text) for text in (told, below)]
    assert counts[0] == counts[1], "further down the same report told another pair"


def test_several_false_alarms_were(monkeypatch):
    more = {"any_relevant": {kind: {"spoke": 3, "of": 204} for kind in ("sound", *CRACKS)}}
    monkeypatch.setattr(error_rates, "measured", lambda: {**measured(), "beside": more})
    made = comparison(baselines=("B12/2026-03-01",))
    found = indication(rule="change-since-baseline", id="C1")
    told = how_sure(screening(indications=(found,), comparison=made, limits_sha256=SHIPPED))
    assert ALARMS.findall(told) == [("were", "3", "alarms", "204")]


def test_where_nothing_was_found_it_is_told_what_is_missed_and_no_false_alarms():
    made = comparison(baselines=("B12/2026-03-01",), rules_not_run=())
    s = screening(indications=(), disposition="no relevant indication", comparison=made, limits_sha256=SHIPPED)
    assert "cracks were noticed" in how_sure(s) and "alarm" not in how_sure(s)


def test_in_the_piano_and_without_an_answer_nothing_is_sure():
    s = screening(indications=(), disposition="inconclusive")
    assert "no answer" in how_sure(s)
    assert "not known" in how_sure(replace(s, scan=replace(s.scan, state="strung")))


def test_the_key_for_readers_names_every_screen_and_every_question():
    assert set(key()) == set(SCREENS)
    assert all(set(told) == {"what", "where", "how_sure", "next", "who", "never"} for told in key().values())
    assert "One tone stands out." in words_of(render_page(screening(), ABOUT))


def test_where_a_change_was_placed_the_part_stands_before_the_places_tapped_near_it():
    """A reader was sent to the middle of a strut of which the other end was meant."""
    weighs = {"title": rule_title(change_since_baseline.NAME), "has_places": True, "where": "S5 (strut 2, middle)"}
    placed = replace(comparison(), places=(LikelyPlace("strut 2", "strut", "keyboard end", 0.5, 0.5, 0.9, 0.1),))
    told = _first_look(placed, weighs)
    assert told.startswith(f"most likely {placed.places[0].member}, {placed.places[0].where}") and told.endswith(
        weighs["where"]
    )
    same_as_before("report", told, part="first screen: where a change was placed")
    assert _first_look(placed, {**weighs, "title": "another"}) == weighs["where"]
    assert _first_look(replace(comparison(), places=()), weighs) == weighs["where"]
