"""How often the rules were right, by what people found afterwards on real plates.

evidence(examined)    Row after Row: all rules together, then each rule, then by state and by sensor

Each plate counts once: scans of one plate are no separate proof. Rates are by Clopper and Pearson (1934), from scipy, and given only
from ENOUGH plates on; below that there are counts and no rate.
"""

from collections.abc import Callable, Iterator, Sequence

from msgspec import Struct

from tapscan.places import State
from tapscan.screening.rules import RULES
from tapscan.sensors import SensorKind

ENOUGH = 30
CONFIDENCE = 0.95


class Examined(Struct, frozen=True):
    """One plate, by its newest scan that somebody examined afterwards."""

    scan: str  # PLATE/DATE[-n]
    flawed: bool  # the examination found a flaw of the iron
    relevant: tuple[str, ...]  # rules that made a relevant indication
    not_run: tuple[str, ...]  # rules that lacked their input
    state: State | None
    sensor: SensorKind | None


class Rate(Struct, frozen=True):
    """A share with its interval; None with a reason where there are too few."""

    hits: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    reason: str | None = None


class Row(Struct, frozen=True):
    """`what` and `name`: rule, state or sensor, and which; the first row is of all rules together."""

    what: str
    name: str
    found: Rate  # flawed plates at which there was a finding
    false: Rate  # plates without a flaw at which there was a finding
    not_run: int  # examined plates at which the rule lacked its input


def evidence(examined: Sequence[Examined]) -> tuple[Row, ...]:
    """Rows without a single plate are left out, but for the first."""
    rows = [_row("all rules", "together", examined, lambda e: bool(e.relevant))]
    rows += [_of_rule(rule.name, examined) for rule in RULES]
    rows += list(_by("state", examined, lambda e: e.state))
    rows += list(_by("sensor", examined, lambda e: e.sensor))
    return tuple(r for k, r in enumerate(rows) if k == 0 or r.found.of or r.false.of or r.not_run)


def rate(hits: int, of: int) -> Rate:
    """With its 95 % interval."""
    if of < ENOUGH:
        return Rate(hits, of, None, None, None, f"{of} of at least {ENOUGH} plates: too few for a rate")
    from scipy.stats import binomtest

    interval = binomtest(hits, of).proportion_ci(CONFIDENCE, method="exact")
    return Rate(hits, of, hits / of, float(interval.low), float(interval.high))


def _of_rule(name: str, examined: Sequence[Examined]) -> Row:
    ran = [e for e in examined if name not in e.not_run]
    return _row("rule", name, ran, lambda e: name in e.relevant, len(examined) - len(ran))


def _by(what: str, examined: Sequence[Examined], key: Callable[[Examined], str | None]) -> Iterator[Row]:
    for name in sorted({key(e) or "unknown" for e in examined}):
        yield _row(what, name, [e for e in examined if (key(e) or "unknown") == name], lambda e: bool(e.relevant))


def _row(
    what: str, name: str, examined: Sequence[Examined], called: Callable[[Examined], bool], not_run: int = 0
) -> Row:
    flawed, without = [e for e in examined if e.flawed], [e for e in examined if not e.flawed]
    found, false = (rate(sum(map(called, part)), len(part)) for part in (flawed, without))
    return Row(what, name, found, false, not_run)
