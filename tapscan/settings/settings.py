"""All thresholds in force, nested by stage: a frozen struct each, in a file beside this one, or in the rule's file where it alone reads them.

How they were chosen: docs/rules.md and docs/comparison.md.
"""

from collections.abc import Sequence
from typing import Any, TypeVar

from msgspec import Struct, field
from msgspec.structs import replace

from tapscan.settings.bar import Bar, Gradient
from tapscan.settings.compare import Compare
from tapscan.settings.definition import Threshold, stage_of, thresholds_of
from tapscan.settings.fit import Fit
from tapscan.settings.identity import Identity
from tapscan.settings.iron import Iron, WholeScan
from tapscan.settings.location import Location
from tapscan.settings.origins import Origins, Strings
from tapscan.settings.pairing import Pairing
from tapscan.settings.piano import Piano
from tapscan.settings.played import Notes
from tapscan.settings.recorder import Recorder
from tapscan.settings.repeatability import Repeatability
from tapscan.settings.strikes import Strikes
from tapscan.settings.supports import Supports
from tapscan.settings.thermal import Thermal
from tapscan.settings.tones import Tones
from tapscan.settings.untold_room import UntoldRoom

L = TypeVar("L")


class Settings(Struct, frozen=True):
    """What ships, unless changed; change it with a TOML overlay, never in the code of a rule."""

    strikes: Strikes = field(default_factory=Strikes)
    recorder: Recorder = field(default_factory=Recorder)
    fit: Fit = field(default_factory=Fit)
    tones: Tones = field(default_factory=Tones)
    origins: Origins = field(default_factory=Origins)
    untold_room: UntoldRoom = field(default_factory=UntoldRoom)
    strings: Strings = field(default_factory=Strings)
    iron: Iron = field(default_factory=Iron)
    scan: WholeScan = field(default_factory=WholeScan)
    pairing: Pairing = field(default_factory=Pairing)
    identity: Identity = field(default_factory=Identity)
    repeatability: Repeatability = field(default_factory=Repeatability)
    compare: Compare = field(default_factory=Compare)
    supports: Supports = field(default_factory=Supports)
    thermal: Thermal = field(default_factory=Thermal)
    location: Location = field(default_factory=Location)
    bar: Bar = field(default_factory=Bar)
    gradient: Gradient = field(default_factory=Gradient)
    piano: Piano = field(default_factory=Piano)
    notes: Notes = field(default_factory=Notes)
    rules: tuple[
        Any, ...
    ] = ()  # stages that stand in a rule's file, where they differ from what ships; in order of name

    def of(self, limits: type[L]) -> L:
        """The thresholds of one stage."""
        if name := FIELD_OF.get(limits):
            found: L = getattr(self, name)
            return found
        return next((one for one in self.rules if type(one) is limits), None) or limits()

    def but(self, limits: type[L], **changed: float) -> "Settings":
        """The same with some thresholds of one stage changed. Raises TypeError for a name it does not have."""
        new: Any = replace(self.of(limits), **changed)  # type: ignore[type-var]
        if stage_of(limits) in STAGES:
            return replace(self, **{stage_of(limits): new})
        others = [one for one in self.rules if type(one) is not limits]
        own = others if new == limits() else [*others, new]
        return replace(self, rules=tuple(sorted(own, key=stage_of)))


STAGES = tuple(name for name in Settings.__struct_fields__ if name != "rules")
_SHIPPED = Settings()
FIELD_OF: dict[Any, str] = {type(getattr(_SHIPPED, name)): name for name in STAGES}


def every_threshold(settings: Settings, rules: Sequence[type]) -> tuple[Threshold, ...]:
    """By stage in the order of the work, then rule by rule."""
    stages = [*(getattr(settings, name) for name in STAGES), *(settings.of(one) for one in rules)]
    return tuple(t for one in stages for t in thresholds_of(one))
