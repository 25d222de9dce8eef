"""How many examined plates it takes to prove a rate: the numbers of docs/campaign.md.

    python -m bench.campaign

By Clopper and Pearson (1934), one-sided at 95 %. No plate is needed to run it.
"""

from __future__ import annotations

from pathlib import Path

from scipy.stats import binomtest

from bench.doc_pages import between

RESULTS = Path(__file__).parent / "results" / "campaign.txt"
PAGE = Path(__file__).parents[1] / "docs" / "campaign.md"
MARKS = ("<!-- from bench/campaign.py -->", "<!-- end -->")
MOST_FALSE, LEAST_FOUND, CONFIDENCE = 0.02, 0.90, 0.95
FEW = (0, 1, 2, 3)


def sound_plates(called: int, most: float = MOST_FALSE) -> int:
    """Plates without a flaw it takes to say that at most that share is called, where so many of them were called."""
    count = called + 1
    while binomtest(called, count, alternative="less").proportion_ci(CONFIDENCE).high > most:
        count += 1
    return count


def flawed_plates(missed: int, least: float = LEAST_FOUND) -> int:
    """Plates with one kind of flaw it takes to say that at least that share is found, where so many of them were missed."""
    count = missed + 1
    while binomtest(count - missed, count, alternative="greater").proportion_ci(CONFIDENCE).low < least:
        count += 1
    return count


def rows() -> list[str]:
    """One line for each number of wrong answers."""
    head = f"{'wrong answers':>13s}  {'plates without a flaw':>21s}  {'plates with one kind of flaw':>28s}"
    return [head, *(f"{k:13d}  {sound_plates(k):21d}  {flawed_plates(k):28d}" for k in FEW)]


def for_the_page() -> str:
    """The same as a table of the page."""
    lines = ["| wrong answers | plates without a flaw | plates with one kind of flaw |", "|---|---|---|"]
    return "\n".join([*lines, *(f"| {k} | {sound_plates(k)} | {flawed_plates(k)} |" for k in FEW)])


def main() -> None:
    """Print and keep the table, and write it into the page."""
    text = "\n".join(
        [
            f"Plates it takes to show at most {100 * MOST_FALSE:.0f} % false calls and at least {100 * LEAST_FOUND:.0f} % found, with {100 * CONFIDENCE:.0f} % confidence.",
            *rows(),
        ]
    )
    RESULTS.write_text(f"{text}\n", encoding="utf-8")
    PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, for_the_page()), encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
