"""The rows of bench/supports.py: what was told, counted by casting.

``Told``        what one comparison said
``by_casting``  95 % interval of a share, castings drawn again
``counted``     what the report says of it
``report``      the whole table
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from msgspec import Struct

from bench import study
from bench.supports_castings import EARLIER, KINDS, RUBBING, Casting

WIDE = 2.0  # times the scatter of the former pads
SMALL_AIMS = ("width 25 %", "depth 10 %", "bolt 30 mm")
ONE_AIMS = ("severed", "rim 30 mm", "corner 30 mm", "depth 50 %")
WORST = 5
Said = Callable[["Told"], bool]


class Told(Struct, frozen=True):
    """What one comparison said."""

    casting: Casting
    wider: float  # how many times as far the casting scatters as on the former pads
    kind: str
    earlier: int
    relevant: bool
    undecided: bool
    by: tuple[str, ...]  # ids of the indications
    statistic: float | None
    common: bool
    agrees: bool | None


def counted(told: Sequence[Told]) -> dict[str, object]:
    """For the report: three earlier scans."""
    beside = [t for t in told if t.earlier == EARLIER]
    plain = [t for t in beside if t.kind == "unchanged"]
    cracked = [t for t in beside if t.kind in KINDS]
    return {"unchanged": share(plain), "cracked": share(cracked), "castings": len({t.casting for t in plain})}


def share(told: Sequence[Told]) -> dict[str, float | int]:
    """With the interval of castings drawn again."""
    low, high = by_casting(told, [t.relevant for t in told])
    return {
        "spoke": sum(t.relevant for t in told),
        "of": len(told),
        "low": round(low, 6),
        "high": round(high, 6),
    }


def by_casting(told: Sequence[Told], hits: Sequence[bool]) -> tuple[float, float]:
    """95 % interval of a share, castings drawn again; where no casting or every casting answers alike, that of so many castings (Clopper and Pearson)."""
    every = sorted({t.casting for t in told}, key=str)
    place = {c: k for k, c in enumerate(every)}
    hit, of = np.zeros(len(every), dtype=int), np.zeros(len(every), dtype=int)
    for t, h in zip(told, hits, strict=True):
        hit[place[t.casting]] += h
        of[place[t.casting]] += 1
    wide = study.clopper_pearson(int((2 * hit > of).sum()), len(every))
    if not hit.any() or (hit == of).all():
        return wide
    drawn = study.over_castings(hit.tolist(), of.tolist(), np.random.default_rng(1))
    return drawn if drawn else wide


def relevant(t: Told) -> bool:
    """The comparison made a finding."""
    return t.relevant


def not_silent(t: Told) -> bool:
    """A finding, or left open."""
    return t.relevant or t.undecided


def row(words: str, told: Sequence[Told], said: Said = relevant) -> str:
    """Share, interval by casting, and how many castings."""
    hits = [said(t) for t in told]
    if not hits:
        return f"  {words:62s} none tried"
    low, high = by_casting(told, hits)
    return f"  {words:62s} {sum(hits):4d} of {len(hits):4d}  {100 * sum(hits) / len(hits):5.1f} % ({100 * low:4.1f} to {100 * high:5.1f})  {len({t.casting for t in told})} castings"


def _of(told: Sequence[Told], kind: str, earlier: int) -> list[Told]:
    return [t for t in told if t.kind == kind and t.earlier == earlier]


def _families(told: Sequence[Told]) -> list[str]:
    return list(dict.fromkeys(t.casting.family for t in told))


def _unchanged(told: Sequence[Told]) -> Iterator[str]:
    yield "Unchanged pairs, called relevant (aim: at most 1 % each), and left open"
    for earlier in (1, 2, 3):
        part = _of(told, "unchanged", earlier)
        scans = f"{earlier} earlier {'scan' if earlier == 1 else 'scans'}"
        yield row(f"{scans}: relevant", part)
        for family in _families(told):
            yield row(f"   {family}", [t for t in part if t.casting.family == family])
        yield row(f"{scans}: left open", part, lambda t: t.undecided)
        yield f"    worst castings, share of their pairs called: {_worst(part)} (aim: none above 10 %)"
    part = _of(told, "unchanged, scanned twice more", 1)
    yield row("one earlier scan, the plate scanned twice more: relevant", part)
    yield row("the same: left open", part, lambda t: t.undecided)


def _worst(told: Sequence[Told]) -> str:
    by: dict[Casting, list[bool]] = {}
    for t in told:
        by.setdefault(t.casting, []).append(t.relevant)
    worst = sorted(by.items(), key=lambda kv: -float(np.mean(kv[1])))[:WORST]
    return ", ".join(f"{100 * np.mean(v):.0f} % ({c.family})" for c, v in worst)


def _flaws(told: Sequence[Told], earlier: int, brief: bool) -> Iterator[str]:
    for kind in (*KINDS, RUBBING):
        part = _of(told, kind, earlier)
        aim = f"aim {80 if kind in SMALL_AIMS else 90} %"
        yield row(f"{kind}, castings that scatter up to {WIDE:.0f} times ({aim})", [t for t in part if t.wider <= WIDE])
        yield row(f"{kind}, castings that scatter more", [t for t in part if t.wider > WIDE])
        for family in () if brief else _families(told):
            yield row(f"   {family}", [t for t in part if t.casting.family == family])


def _beside_one(told: Sequence[Told]) -> Iterator[str]:
    for kind in (*KINDS, RUBBING):
        part = _of(told, kind, 1)
        yield row(f"{kind}: relevant" + (" (aim: severed 100 %, else 90 %)" if kind in ONE_AIMS else ""), part)
        yield row(f"{kind}: relevant or left open (aim 90 %)", part, not_silent)
    for kind in sorted(
        {t.kind for t in told if t.kind.endswith("scanned twice more")} - {"unchanged, scanned twice more"}
    ):
        yield row(f"{kind}: relevant", _of(told, kind, 1))
        yield row(f"{kind}: relevant or left open", _of(told, kind, 1), not_silent)


def _other_days(told: Sequence[Told]) -> Iterator[str]:
    for kind, words in (
        ("softer", "supports 20 % softer (aim: at most 1 %)"),
        ("another day", "pickup 10 mm off, 1 K end to end, denser air (aim: at most 1 %)"),
    ):
        part = _of(told, kind, EARLIER)
        yield row(f"{words}: relevant", part)
        yield row("   left open", part, lambda t: t.undecided)
        for family in _families(told):
            yield row(f"   {family}: relevant", [t for t in part if t.casting.family == family])
    for kind in ("pickup elsewhere", "heavier pickup"):
        yield row(
            f"{kind}: anything concluded from frequencies", _of(told, kind, EARLIER), lambda t: t.statistic is not None
        )


def _gradients(told: Sequence[Told]) -> Iterator[str]:
    for kelvin in (1, 2):
        for earlier in (1, 3):
            yield row(
                f"iron {kelvin} K warmer at one end, {earlier} earlier: relevant",
                _of(told, f"end {kelvin} K end to end", earlier),
            )


def _common(told: Sequence[Told]) -> Iterator[str]:
    for kind in ("unchanged", "rim 30 mm", "severed"):
        for earlier in (1, 3):
            part = _of(told, kind, earlier)
            yield row(f"{kind}, {earlier} earlier: a common change is given", part, lambda t: t.common)
            yield row(
                "   of these, the thermometer is said to disagree",
                [t for t in part if t.common],
                lambda t: t.agrees is False,
            )


def report(told: Sequence[Told], head: str, setting: bool, brief: bool = False) -> str:
    """All of it; brief: flaws without a row for each family."""
    fresh = [t for t in told if setting or t.casting.family != "pads"]
    scatter = {f: np.median([t.wider for t in told if t.casting.family == f]) for f in _families(told)}
    lines = [
        head,
        "SIMULATED mode lists with modelled errors, contact pickup, no iron. 95 % intervals, castings drawn again; where all castings answer alike, Clopper and Pearson of the castings.",
        "Limits were chosen on these families and patterns."
        if setting
        else "Families (pads apart) and patterns that set no limit.",
        "scatter of true modes from scan to scan, times that of the former pads, middle casting: "
        + ", ".join(f"{f} {v:.1f}" for f, v in scatter.items()),
        "",
        *_unchanged(fresh),
        "",
        "Flaws beside three earlier scans, called relevant",
        *_flaws(told, EARLIER, brief),
        "",
        "Flaws beside one earlier scan",
        *_beside_one(fresh),
        "",
        "Unchanged, beside three scans of one day by a careful hand",
        *_other_days(told),
        "",
        "Unchanged, iron warmer at one end",
        *_gradients(fresh),
        "",
        "The common change of all modes",
        *_common(fresh),
    ]
    return "\n".join(lines) + "\n"
