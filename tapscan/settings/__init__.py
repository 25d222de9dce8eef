"""Every threshold, nested by stage; a TOML file can overlay it.

    Settings                      the thresholds in force: settings.fit.lowest_hz
    .of(Limits)                   one stage's, also those that stand in a rule's own file
    .but(Limits, name=value)      the same settings with some thresholds of one stage changed
    read_settings(path, rules)    what ships, overlaid by a TOML file
    every_threshold(settings, rules)   all of them, for lists, docs and hashes
    settings_sha256(settings, rules)   hash stored with each scan, so that figures can be tied to thresholds
    limits_by_part(settings, rules)    hashes of those that each part of the measured rates depends on
    limits_sha256(settings, parts, rules)  hash of those that some parts of the measured rates depends on

`rules` are the sets of thresholds that stand in the files of the rules (screening/rules knows them all).
"""

from tapscan.settings.definition import PARTS
from tapscan.settings.hashes import limits_by_part, limits_sha256, settings_sha256
from tapscan.settings.overlay import as_toml, read_settings
from tapscan.settings.settings import Settings, every_threshold

__all__ = [
    "PARTS",
    "Settings",
    "as_toml",
    "every_threshold",
    "limits_by_part",
    "limits_sha256",
    "read_settings",
    "settings_sha256",
]
