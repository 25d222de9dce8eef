"""Hashes that tie figures to the thresholds they were made with.

settings_sha256(settings, rules)        of every threshold
limits_sha256(settings, parts, rules)    of those that the rates of some parts were counted with
limits_by_part(settings, rules)          the same of each part alone, as a screening carries them
"""

import hashlib
import json
from collections.abc import Iterable, Sequence

from tapscan.settings.definition import PARTS, Part, Threshold
from tapscan.settings.settings import Settings, every_threshold

DIGITS = 16


def settings_sha256(settings: Settings, rules: Sequence[type]) -> str:
    """64 hex digits, over names and values."""
    return _sha256(every_threshold(settings, rules))


def limits_sha256(settings: Settings, parts: Sequence[Part], rules: Sequence[type]) -> str:
    """The first 16 hex digits; of the thresholds that the rates of any of `parts` depend on."""
    counted = [t for t in every_threshold(settings, rules) if set(parts) & set(t.counted_in)]
    return _sha256(counted)[:DIGITS]


def limits_by_part(settings: Settings, rules: Sequence[type]) -> tuple[tuple[Part, str], ...]:
    """(part, 16 hex digits)."""
    return tuple((part, limits_sha256(settings, (part,), rules)) for part in PARTS)


def _sha256(thresholds: Iterable[Threshold]) -> str:
    text = json.dumps({t.path: t.value for t in thresholds}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
