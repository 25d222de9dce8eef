"""The tables of bench.compare, from its results."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct

from bench import study
from bench.compare_scans import PICKUP
from tapscan.screening.compare.measure import OWN_SCATTER

SETTING = ("small-grand", "upright-three-quarter")
KINDS = (
    ("width", 0.5), ("depth", 0.25), ("inner corner", 0.03), ("pin", 0.03), ("bolt", 0.06), ("rim", 0.03),
    ("severed", 1.0), ("width", 0.25), ("depth", 0.1), ("bolt", 0.03), ("corner", 0.03),
)  # fmt: skip


def family_of(kind: str, size: float) -> str:
    """The row of a crack of this kind and size (a share of width or depth, or m)."""
    if kind == "severed":
        return kind
    return f"{kind} {100 * size:.0f} %" if kind in ("width", "depth") else f"{kind} {1000 * size:.0f} mm"


class Result(Struct, frozen=True):
    """What one comparison said, and how its pairs are."""

    family: str
    setting: str
    pattern: str
    called: bool
    weight: bool
    statistic: float
    right: int
    paired: int


def interval(hits: int, of: int) -> str:
    """Share with its 95 % interval (Clopper and Pearson 1934)."""
    low, high = study.clopper_pearson(hits, of)
    return f"{hits:4d} of {of:4d}   {100 * hits / of:5.1f} % ({100 * low:4.1f} to {100 * high:5.1f})"


def tables(kind: str, per_bases: dict[int, list[Result]]) -> list[str]:
    """Rows of called, weight named and pairs right."""
    lines = []
    for bases, rows in per_bases.items():
        lines.append(f"{kind}, {bases} baseline {'scan' if bases == 1 else 'scans'}: a relevant indication in")
        lines += [
            f"  {head:62s} {interval(sum(r.called for r in part), len(part))}  {'log odds that some fell' if by_likelihood_ratio(part, bases) else 'largest-drop statistic'}, least {min(r.statistic for r in part):.1f}, most {max(r.statistic for r in part):.1f}"
            for head, part in _groups(rows)
        ]
        if bases == 3:
            lines += ["", *_weight_rows(kind, rows), "", *_pair_rows(kind, rows)]
        lines.append("")
    return lines


def by_likelihood_ratio(rows: Sequence[Result], bases: int) -> bool:
    """Whether the comparison decided by the odds over all modes."""
    return bases >= OWN_SCATTER and all("microphone" in r.setting for r in rows)


def _groups(rows: Sequence[Result]) -> Iterator[tuple[str, list[Result]]]:
    for setting in dict.fromkeys(r.setting for r in rows):
        here = [r for r in rows if r.setting == setting]
        for family in sorted({r.family for r in here}):
            part = [r for r in here if r.family == family]
            if family in ("unchanged", "finished since"):
                sets = [r for r in part if r.pattern in SETTING]
                others = [r for r in part if r.pattern not in SETTING]
                names = ("patterns that set limits", "other patterns")
                yield from ((f"{setting}: {family}, {n}", p) for n, p in zip(names, (sets, others), strict=True) if p)
            else:
                yield f"{setting}: {family}", part


def _weight_rows(kind: str, rows: Sequence[Result]) -> list[str]:
    here = [r for r in rows if r.setting == PICKUP.name and r.called]
    families = sorted({r.family for r in here if r.family not in ("unchanged", "finished since")})
    out = [f"{kind}: of those called, a weight named as the likelier explanation in"]
    for family in families:
        part = [r for r in here if r.family == family]
        out.append(f"  {family:62s} {interval(sum(r.weight for r in part), len(part))}")
    listed = {family_of(k, s) for k, s in KINDS}
    for name, outside in (
        ("all cracks tried", False),
        ("the same, patterns the numbers were not fitted on", True),
    ):
        part = [r for r in here if r.family in listed and not (outside and r.pattern in SETTING)]
        if part:
            out.append(f"  {name:62s} {interval(sum(r.weight for r in part), len(part))}")
    part = [r for r in here if r.family == "weight of 0.5 kg" and r.pattern not in SETTING]
    if part:
        out.append(
            f"  {'weight of 0.5 kg, patterns the numbers were not fitted on':62s} {interval(sum(r.weight for r in part), len(part))}"
        )
    return out


def _pair_rows(kind: str, rows: Sequence[Result]) -> list[str]:
    out = [f"{kind}: pairs right, of pairs whose two modes are each one true mode"]
    for head, part in _groups(rows):
        paired = sum(r.paired for r in part)
        if paired:
            out.append(f"  {head:62s} {interval(sum(r.right for r in part), paired)}")
    return out
