"""Plates of one pattern as references for another."""

from typing import Literal

from msgspec import Struct

from tapscan.places import State
from tapscan.records.scan import Indication, RuleNotRun
from tapscan.records.sound import FloatArray
from tapscan.sensors import SensorKind

Known = Literal["nothing found", "flaw", "unknown"]  # what an examination found


class Reference(Struct, frozen=True, eq=False):
    """As much of one scan as others of its pattern are held against. Arrays are (modes,) or (modes, places); NaN where unknown or not heard."""

    name: str  # PLATE/DATE[-n], or as its set names it
    stations: tuple[str, ...]
    frequency_hz: FloatArray
    frequency_sd_hz: FloatArray
    loss_factor: FloatArray
    loss_factor_sd: FloatArray
    amplitude_db: FloatArray  # of the mode at each place, as ModalAmplitude has it
    state: State | None = None
    sensor: SensorKind | None = None
    layout: str | None = None
    outcome: Known = "unknown"
    of_set: str | None = None  # name of the set it came with; None: of this register
    standing: str | None = None  # why it is not to be used as sound though no examination says so
    modes: tuple[str, ...] = ()  # Mode.id of each, where it is a scan at hand


class Sister(Struct, frozen=True):
    """Where one reference lies among the others."""

    name: str
    of_set: str | None
    unlike: float | None  # its change of shape against the others, over what is usual among them; None: not compared
    left_out: str | None = None  # why it is not used as sound


class PatternFigure(Struct, frozen=True):
    """One figure of the plate among its sisters, with its limit. None: not judged, and `reason` says why."""

    value: float | None
    limit: float | None
    reason: str | None = None

    @property
    def over(self) -> bool:
        """Whether it passes its limit."""
        return self.value is not None and self.limit is not None and self.value > self.limit


class BesidePattern(Struct, frozen=True):
    """A plate beside others of its pattern."""

    pattern: str
    sisters: tuple[Sister, ...]
    unlike: PatternFigure  # change of shape over what is usual among the sisters; 1 is usual
    losses: PatternFigure  # mean of the ten largest rises of the loss, in the sisters' own scatter
    drops: PatternFigure  # mean of the three largest drops of frequency, likewise; the limit is shown, no indication rests on it
    scatter_percent: float | None  # of a mode's frequency from casting to casting, standard deviation
    loss_scatter_percent: float | None
    shift_percent: float | None  # all modes of this plate together, against the middle of the sisters
    places: int  # tapped on this plate and on every reference
    indications: tuple[Indication, ...] = ()
    rules_not_run: tuple[RuleNotRun, ...] = ()
    limitations: tuple[str, ...] = ()
    suggestions: tuple[str, ...] = ()  # two names for one pattern, or one for two

    @property
    def used(self) -> tuple[str, ...]:
        """References it rests on."""
        return tuple(s.name for s in self.sisters if s.left_out is None)
