"""What a rule is: one file says all of it, and words, docs, report, JSON and error rates follow from there.

Plain                              a finding in plain words, without a figure
Rule                               name, title, what it reads, where its reach is known, its thresholds, what it aims at, and run
condition(limits, name, what, value)   a figure beside the threshold it is held against
by_standard(what, value, limit, unit, standard)   a figure beside the value that a standard gives
measured(what, value, unit)        a figure that is held against nothing
"""

from collections.abc import Callable
from typing import Any, Literal

from msgspec import Struct

from tapscan.records import Condition, Indication, RuleNotRun, Scan
from tapscan.settings import Settings
from tapscan.settings.definition import threshold_of

Outcome = list[Indication] | RuleNotRun
Rates = Literal[
    "by kind of flaw",
    "with and without a rattle",
    "on bare plates",
    "compared",
    "beside its pattern",
    "in the piano",
    "played notes",
]
Shows = Literal["crack", "hard iron"]
Reads = Literal["frequencies", "levels", "decays", "faint decays", "waveform"]


class Plain(Struct, frozen=True):
    """What a buyer reads first; `{since}` stands for "March 2026", when the scans were made that it was compared with."""

    headline: str  # after "Something to look at: "; empty where the headline says all
    first: str  # one sentence, no figure
    means: str  # what it would mean, and that the test cannot tell which


class Rule(Struct, frozen=True):
    """`run` gives a list of Indication (empty: nothing found) or a RuleNotRun with the input it lacks."""

    name: str  # as in the JSON
    title: str  # in plain words
    run: Callable[[Scan, Settings], Outcome]
    reads: frozenset[Reads]  # what of the sound it rests on
    bare_only: bool  # its reach is known for bare plates only: not run in the piano
    shows: frozenset[Shows] = frozenset({"crack"})  # what it may point to, and so which examination can tell
    limits: tuple[type, ...] = ()  # sets of thresholds that it alone reads
    aims: tuple[str, ...] = ()  # kinds of simulated flaw that it is meant for (report/reach.json)
    rates: Rates | None = None  # how its errors were counted (report/error_rates.py); None: they were not
    beyond: str = ""  # what its rates do not cover
    meanings: tuple[tuple[str, str], ...] = ()  # its conditions in plain words: name, meaning
    plain: tuple[tuple[str, Plain], ...] = ()  # by how the indication's id begins; the first that fits counts


def condition(limits: Any, name: str, what: str, value: float | None, *, limit: float | None = None) -> Condition:
    """`what` in words, held against the threshold `name` of `limits`, or against `limit` that was computed from it; unit and source are the threshold's."""
    t = threshold_of(limits, name)
    return Condition(what, value, t.value if limit is None else limit, t.unit, t.source)


def by_standard(what: str, value: float | None, limit: float | None, unit: str, standard: str) -> Condition:
    """`what` in words, held against what `standard` says; None outside its range."""
    return Condition(what, value, limit, unit, standard)


def measured(what: str, value: float, unit: str) -> Condition:
    """A figure of this scan that no threshold is set for."""
    return Condition(what, value, None, unit, "measured")
