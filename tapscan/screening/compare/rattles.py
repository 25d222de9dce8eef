"""Which scans of a plate are fit to be compared: those in which nothing rattled.

    quiet_ones(baselines, settings)        baseline scans in which nothing buzzed; all of them where something did in each
    left_out(every, used)                  the sentence that says which were left out
    buzzed(later, baselines, settings)     why nothing can be concluded while something rattles
    unsteady(later, baselines)             why nothing can be concluded where the taps of one scan disagree with each other

A rattling part moves modes, adds modes and hides others as much as a crack does (docs/comparison.md).
"""

from collections.abc import Sequence

from tapscan.records import ScanForComparison
from tapscan.screening.rules.buzz import held_first
from tapscan.settings import Settings

UNSTEADY = 1.35  # times; set between two real cymbals (1.4 to 2.0 by the middle mode) and simulated plates (1.0); not tried on any other real thing


def quiet_ones(baselines: Sequence[ScanForComparison], settings: Settings) -> Sequence[ScanForComparison]:
    """In their order."""
    return [b for b in baselines if not _rattled(b, settings)] or baselines


def _rattled(one: ScanForComparison, settings: Settings) -> bool:
    return held_first(one.scan, settings, "") is not None


def left_out(every: Sequence[ScanForComparison], used: Sequence[ScanForComparison]) -> tuple[str, ...]:
    """Empty where none was."""
    names = [b.name for b in every if b.name not in {u.name for u in used}]
    if not names:
        return ()
    return (
        f"Something buzzed in {' and in '.join(names)}, and what rattles moves modes: left out of the baseline. A scan with hook, screws and "
        "pads held could take its place.",
    )


def buzzed(later: ScanForComparison, baselines: Sequence[ScanForComparison], settings: Settings) -> str | None:
    """None where nothing rattles in any of the scans, or the parts were held."""
    if why := held_first(later.scan, settings, "what changed since the earlier scan"):
        return why
    noisy = [b.name for b in baselines if _rattled(b, settings)]
    if not noisy:
        return None
    return (
        f"something buzzed in the earlier scan ({', '.join(noisy)}), and what rattles moves modes as a crack does; it takes an earlier scan with hook, screws and pads held: "
        "make that the baseline"
    )


def unsteady(later: ScanForComparison, baselines: Sequence[ScanForComparison]) -> str | None:
    """None where the taps of a scan agree, or one scan alone is so: a crack that breathes makes the later one so."""
    every = [later, *baselines]
    if not all(s.scan.self_scatter is not None and s.scan.self_scatter.widened_by > UNSTEADY for s in every):
        return None
    least = min(s.scan.self_scatter.widened_by for s in every if s.scan.self_scatter is not None)
    return (
        f"in every scan the taps differ from each other by at least {least:.1f} times what noise explains: the plate does not ring freely, or its tones move with the force of the tap. "
        "Such scans differ without any change of the plate"
    )
