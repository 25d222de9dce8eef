"""Where a crack would lie, said without a share: a share was read as how likely there is one, as a percentage and as a count of a hundred."""

import re

from msgspec.structs import replace

from tapscan.places import Layout, Station
from tapscan.records import LikelyPlace, Whereabouts
from tapscan.report.drawing.plate_map import marks
from tapscan.screening.in_words import WORTH_NAMING, common_told, places_sentence, tones_told
from tapscan.screening.location.nearest import nearest_stations
from tapscan.screening.rules.change_since_baseline import NAME
from tests.every import each
from tests.report.sheets import indication, screening
from tests.report.test_comparison_section import comparison
from tests.snapshots import same_as_before

FIRST = LikelyPlace("strut 2", "strut", "keyboard end", 0.5, 0.5, 0.88, 0.11)
OTHER = replace(FIRST, member="strut 1", share=0.08, share_sd=0.08, x=0.1)


@each("share", [0.88, 0.4, 0.2])
@each("told_from", ["drops", "weight"])
def test_no_share_stands_in_the_sentence(share, told_from):
    """Readers took "88 %", and later "88 of 100 cracks", for "88 % cracked"."""
    crack = Whereabouts((replace(FIRST, share=share), replace(OTHER, share=0.2)), "drops")
    told = places_sentence(replace(crack, told_from=told_from), crack)
    assert told.startswith("If it is a ") and told.index("strut 2") < told.index("strut 1")
    same_as_before("places", told, part=f"share {share}, told from {told_from}")
    assert re.search(r"How likely a crack is at all, this test does not say", told)
    assert not re.search(r"%|±|\d\d", told)


@each(("share", "named"), [(WORTH_NAMING - 0.01, False), (WORTH_NAMING, True)])
def test_what_the_sentence_names_the_map_marks_and_nothing_else(share, named):
    """A reader was told of strut 1 and found it on the map among the places to which nothing points."""
    layout = Layout("two", "grand", "", (Station("S3", "strut 1", 0.1, 0.5), Station("S4", "strut 2", 0.5, 0.5)))
    found = Whereabouts((FIRST, replace(OTHER, share=share)), "drops")
    marked = nearest_stations(found, layout)
    assert ("strut 1" in places_sentence(found)) is named is ("S3" in marked)
    s = screening(indications=(indication(rule=NAME, stations=marked),))
    shown = marks(replace(s, scan=replace(s.scan, map=layout)))
    assert {name for name, mark in shown.items() if mark.kind == "look"} == set(marked)


def test_tones_compared_are_those_that_could_be_judged():
    """71 were compared, and 112 found in both, under the same word."""
    pairs = comparison().pairs
    judged = tuple(replace(p, judged=k == 0) for k, p in enumerate((*pairs, *pairs)))
    c = comparison(pairs=judged)
    assert tones_told(c).startswith("1 compared") and f"of {len(judged)} heard in both" in tones_told(c)
    assert tones_told(c, 112).startswith("1 compared") and f"of 112 heard, {len(judged)} of them in both" in tones_told(
        c, 112
    )


def test_what_was_taken_out_is_not_denied_where_warmth_cannot_be_told():
    why = "too few"
    told = common_told(comparison(common=None, common_reason=why))
    assert "taken out" in told and f"cannot be told: {why}" in told and "No common" not in told
