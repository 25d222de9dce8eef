"""What the commands ask of the report: JSON, the shop, files written whole."""

from tapscan.report.as_json import dumps, dumps_comparison
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
    "odds",
    "read_shop",
    "steps",
    "tones_told",
    "write_text",
]
