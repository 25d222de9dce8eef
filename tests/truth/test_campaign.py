"""How many plates prove a rate."""

import re

from bench.campaign import MARKS, PAGE, flawed_plates, for_the_page, sound_plates
from tests.every import each


@each(("missed", "count"), [(0, 29), (1, 46), (2, 61)])
def test_ninety_percent_with_ninety_five_percent_confidence(missed, count):
    """The binomial plans known from proving inspections: 29 of 29, 45 of 46, 59 of 61 (MIL-HDBK-1823A, from memory)."""
    assert flawed_plates(missed) == count


def test_no_call_among_so_many_sound_plates():
    """In closed form: 0.98 ** n is at most 0.05."""
    n = sound_plates(0)
    assert 0.98**n <= 0.05 < 0.98 ** (n - 1)


def test_the_page_holds_the_same_numbers():
    page = PAGE.read_text(encoding="utf-8")
    assert page.split(MARKS[0])[1].split(MARKS[1])[0].strip() == for_the_page()
    so = page.partition("\nSo: ")[2].partition(". ")[0]
    assert f"{sound_plates(0)} plates without a flaw" in so and f"or {sound_plates(1)} with one call" in so
    assert f"{flawed_plates(0)} plates and not one" in so and re.findall(r"not one (\w+)", so) == ["called", "missed"]
