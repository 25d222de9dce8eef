"""What the commands ask of the report: JSON, the shop, files written whole."""

from tapscan.report.as_json import dumps, dumps_comparison
from tapscan.report.error_rates import constants_of
from tapscan.report.first_screen import steps
from tapscan.report.shop import DATES, Shop, read_shop
from tapscan.report.words import STATES as IN_WORDS
from tapscan.report.words import drops_in_words, legible
from tapscan.screening.in_words import common_told, tones_told
from tapscan.targets import write_text
from tapscan.wording import PLUS_MINUS, odds

__all__ = [
    "DATES",
    "IN_WORDS",
    "PLUS_MINUS",
    "Shop",
    "common_told",
    "drops_in_words",
    "dumps",
    "dumps_comparison",
    "legible",
    "look_up_numbers",
    "odds",
    "read_shop",
    "steps",
    "tones_told",
    "write_text",
]


def look_up_numbers() -> None:
    """Of the code, which a first screen holds against those that its rates were counted with. Once; whoever has the time does it early."""
    constants_of("single")
