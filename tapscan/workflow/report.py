"""What the commands ask of the report: JSON, the shop, files written whole."""

from tapscan.report.as_json import dumps, dumps_comparison
from tapscan.report.shop import Shop, read_shop
from tapscan.report.words import drops_in_words
from tapscan.targets import write_text
from tapscan.wording import odds

__all__ = [
    "Shop",
    "drops_in_words",
    "dumps",
    "dumps_comparison",
    "odds",
    "read_shop",
    "write_text",
]
