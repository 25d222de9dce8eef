"""The later scan's own indications beside those of earlier scans.

carry(later, baselines, partner, settings)    with status new or unchanged
"""

from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from tapscan.records import Indication, Scan, ScanForComparison
from tapscan.screening.compare.rattles import quiet_ones
from tapscan.settings import Settings


def carry(
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    partner: Mapping[str, Sequence[str | None]],
    settings: Settings,
) -> tuple[Indication, ...]:
    """The later scan's own indications: `unchanged` where a baseline scan had the same, else `new`.

    partner : by mode of the later scan, the mode paired with it in each baseline scan that was not left out

    The same: by the same rule, and on a paired mode (in a scan that was left out: on one of nearly the same frequency); where no mode is named, at
    one of the same stations, or at none on both sides.
    """
    place = {b.name: k for k, b in enumerate(quiet_ones(baselines, settings))}

    def before(modes: Sequence[str], b: ScanForComparison) -> set[str | None]:
        if b.name not in place:
            return {n for m in modes for n in _near(m, later.scan, b.scan, settings)}
        return {partner[m][place[b.name]] for m in modes if m in partner}

    return tuple(
        replace(
            now,
            status="unchanged"
            if any(_same(now, old, before(now.modes, b)) for b in baselines for old in b.indications)
            else "new",
        )
        for now in later.indications
    )


def _near(mode: str, later: Scan, earlier: Scan, settings: Settings) -> list[str]:
    """Modes of the earlier scan that warmth and scatter may have moved to this one's frequency."""
    here = next((m.frequency_hz for m in later.modes if m.id == mode), None)
    reach = settings.thermal.most
    return [] if here is None else [m.id for m in earlier.modes if abs(m.frequency_hz / here - 1) < reach]


def _same(now: Indication, before: Indication, modes_before: set[str | None]) -> bool:
    if now.rule != before.rule:
        return False
    if now.modes and before.modes:
        return bool(modes_before & set(before.modes))
    if now.stations or before.stations:
        return bool(set(now.stations) & set(before.stations))
    return True
