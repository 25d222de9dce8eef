"""What the commands ask of the settings, with the thresholds that stand in the files of rules.

read_settings(path)          Settings; None: what ships
every_threshold(settings)    all of them, in order
settings_text(settings)      as a file that read_settings takes
thresholds_text(thresholds)  the same of some of them
"""

from collections.abc import Sequence
from pathlib import Path

from tapscan import settings as of
from tapscan.screening.rules import RULE_LIMITS
from tapscan.settings import Settings
from tapscan.settings.definition import Threshold
from tapscan.settings.overlay import lines_of

__all__ = ["Threshold", "every_threshold", "read_settings", "settings_text", "thresholds_text"]


def read_settings(path: str | Path | None) -> Settings:
    """Raises BadSettings with one line."""
    return of.read_settings(path, RULE_LIMITS)


def every_threshold(settings: Settings) -> tuple[Threshold, ...]:
    """By stage, then rule by rule."""
    return of.every_threshold(settings, RULE_LIMITS)


def settings_text(settings: Settings) -> str:
    """TOML."""
    return of.as_toml(settings, RULE_LIMITS)


def thresholds_text(thresholds: Sequence[Threshold]) -> str:
    """TOML, with unit and reason beside each value."""
    return lines_of(thresholds, notes=True)
