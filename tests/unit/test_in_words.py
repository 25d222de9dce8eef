"""A share of the belief tells where a crack would lie, and must not be read as how likely there is one."""

import re
from dataclasses import replace

from tapscan.records import LikelyPlace, Whereabouts
from tapscan.screening.in_words import places_sentence
from tests.every import each

FIRST = LikelyPlace("strut 2", "strut", "keyboard end", 0.5, 0.5, 0.88, 0.11)
OTHER = replace(FIRST, member="strut 1", share=0.08, share_sd=0.08)


@each("share", [0.88, 0.4, 0.2])
@each("told_from", ["drops", "weight"])
def test_shares_are_counts_of_a_hundred_and_no_percentage(share, told_from):
    """Readers took "88 %" for "88 % cracked"."""
    crack = Whereabouts((replace(FIRST, share=share), OTHER), "drops")
    told = places_sentence(replace(crack, told_from=told_from), crack)
    assert "%" not in told and told.startswith("If it is a ")
    assert f"of 100 cracks that sound like this some {100 * share:.0f} ± 11 would lie there" in told
    assert "8 ± 8 at strut 1, keyboard end" in told
    assert re.search(r"How likely a crack is at all, these figures do not say", told)
