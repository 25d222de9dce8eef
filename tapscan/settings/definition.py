"""One threshold and one stage's set of them: each is defined once, with unit, reason and source, and read everywhere from there.

threshold(value, unit, reason, source)   a field of a stage
stage(name, counted_in)                  names a stage, and the parts of the measured rates that depend on it
Threshold, thresholds_of(limits)         every threshold of one stage as a record
threshold_of(limits, name)               one of them
"""

from collections.abc import Callable
from typing import Any, Literal, TypeVar

from msgspec import Struct, field

Part = Literal["single", "comparison", "bare", "location", "pattern", "piano", "notes"]
# of the rates: single scans, beside earlier ones, beside earlier ones out of the piano, where on the plate a change is, beside other plates, in the piano, played notes
PARTS: tuple[Part, ...] = ("single", "comparison", "bare", "location", "pattern", "piano", "notes")
C = TypeVar("C", bound=type)

JUDGEMENT = "engineering judgement"
SIMULATED = "limit set on simulated plates, never on real iron"


class Threshold(Struct, frozen=True):
    """A threshold with its present value."""

    stage: str  # such as "fit" or "rules.long-decay"
    name: str  # with its unit where two are plausible
    value: float
    unit: str
    reason: str  # what it is for, in plain words
    source: str
    counted_in: tuple[Part, ...]  # rates that were counted with it, and count no more once it is changed

    @property
    def path(self) -> str:
        """As a settings file names it."""
        return f"{self.stage}.{self.name}"


def threshold(value: float, unit: str, reason: str, source: str) -> float:
    """A field of a stage that carries its unit, reason and source."""
    found: float = field(default_factory=_Shipped(value, unit, reason, source))
    return found


class _Shipped(Struct, frozen=True):
    """What makes the value that ships, so that what is told of it stands where msgspec keeps it."""

    value: float
    unit: str
    reason: str
    source: str

    def __call__(self) -> float:
        """For a stage in which nothing else is said."""
        return self.value


def stage(name: str, counted_in: tuple[Part, ...]) -> Callable[[C], C]:
    """Mark a set of thresholds as one stage's."""

    def named(limits: C) -> C:
        limits.STAGE, limits.COUNTED_IN = name, counted_in  # type: ignore[attr-defined]
        return limits

    return named


def stage_of(limits: Any) -> str:
    """Name of the stage; `limits` is its class or one of its values."""
    return str(limits.STAGE)


def thresholds_of(limits: Any) -> tuple[Threshold, ...]:
    """In the order of definition; `limits` is a value of a stage's class."""
    return tuple(
        Threshold(
            limits.STAGE, name, float(getattr(limits, name)), told.unit, told.reason, told.source, limits.COUNTED_IN
        )
        for name, told in zip(limits.__struct_fields__, _shipped(type(limits)), strict=True)
    )


def _shipped(limits: Any) -> tuple[_Shipped, ...]:
    return tuple(default.factory for default in limits.__struct_defaults__)


def threshold_of(limits: Any, name: str) -> Threshold:
    """The threshold `name` of one stage. Raises KeyError where there is none."""
    return {t.name: t for t in thresholds_of(limits)}[name]
