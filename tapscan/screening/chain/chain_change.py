"""Has the chain changed: the reference bar now beside the reference bar then.

    chain_change(before, after, ...)   ChainChange of two readings of one bar
    with_drift(bar, settings)          a scan's readings, with the last taps beside the first
    between(later, baselines, settings)   every baseline scan that has the bar, and why there is none

One bar cannot tell all apart. All tones in one ratio: the recorder's clock, or warmth; a thermometer tells them apart only where the clock is further off than its own error
makes of steel. Softer taps and a less sensitive sensor sound alike; where noise fell by as much, the input was turned down. A bar that lies otherwise, or a sensor of another
weight on it, moves each tone in its own way: then nothing is told of the clock.
"""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from tapscan.records import BarReading, BarReadings, ChainChange, ChainSign, ScanConditions, ScanForComparison
from tapscan.screening.chain import words
from tapscan.screening.chain.measure import Moved, moved, thermal
from tapscan.settings import Settings

NO_BAR = "the reference bar was not tapped with both scans"
ENDS = ("the first taps", "the last taps")
OTHER_BAR = "the scans were made with other reference bars"
ONE_RECORDING = "one and the same recording of the reference bar was given twice"


def chain_change(
    bar: str,
    names: tuple[str, str],
    before: BarReading,
    after: BarReading,
    settings: Settings,
    temperatures_c: tuple[float | None, float | None] = (None, None),
) -> ChainChange:
    """`names` of the two readings, earlier first, and the temperatures that the bar had then, degrees Celsius."""
    earlier_c, later_c = temperatures_c
    found, expected = moved(before, after, settings), thermal(later_c, earlier_c, settings)
    level, level_sd = _level(before, after, settings)
    noise = _less(after.noise_db, before.noise_db)
    seen = [
        *_of_tones(found, expected, before, after, settings),
        *_of_levels(found, level, level_sd, noise, settings, compressed=before.compressed or after.compressed),
    ]
    told = ChainChange(
        bar=bar,
        before=names[0],
        after=names[1],
        modes=found.modes if found else 0,
        shift_ppm=found.shift_ppm if found else None,
        shift_sd_ppm=found.shift_sd_ppm if found else None,
        alike=found.alike if found else None,
        thermometer_k=_less(later_c, earlier_c),
        expected_ppm=expected[0] if expected else None,
        expected_sd_ppm=expected[1] if expected else None,
        apparent_k=_apparent(found, settings) if found else None,
        level_db=level,
        level_sd_db=level_sd,
        noise_db=noise,
        response_db_per_octave=found.response_db_per_octave if found else None,
        response_sd=found.response_sd if found else None,
        decay_ratio=found.decay_ratio if found else None,
        seen=tuple(seen),
        sentences=(),
        reason=None if found else _why_none(before, after, settings),
    )
    return words.told(told)


def _less(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b


def _why_none(before: BarReading, after: BarReading, settings: Settings) -> str:
    bad = next((r.reason for r in (before, after) if r.reason), None)
    return bad or f"fewer than {settings.bar.modes:.0f} of the bar's tones were found again"


def _level(before: BarReading, after: BarReading, settings: Settings) -> tuple[float | None, float | None]:
    """Of the taps. Hands differ between two sets of taps, however alike the taps of one set are."""
    change = _less(after.level_db, before.level_db)
    if change is None:
        return None, None
    own = sum((r.level_sd_db or 0.0) ** 2 / max(r.used, 1) for r in (before, after))
    return change, float(np.sqrt(own + 2 * settings.bar.hand_db**2))


def _apparent(found: Moved, settings: Settings) -> tuple[float, float]:
    """Kelvin between which steel would do it, with the shift's own range."""
    wide = settings.bar.limit * found.shift_sd_ppm
    ends = [
        1e-6 * (found.shift_ppm + k * wide) / c
        for c in (settings.bar.small_per_k, settings.bar.large_per_k)
        for k in (-1, 1)
    ]
    return min(ends), max(ends)


def _of_tones(
    found: Moved | None,
    expected: tuple[float, float] | None,
    before: BarReading,
    after: BarReading,
    settings: Settings,
) -> list[ChainSign]:
    fewer = min(len(before.modes), len(after.modes))
    if found is None or found.modes < settings.bar.found_share * fewer:
        return ["bar"] if fewer >= settings.bar.modes else []
    if not found.alike:
        return ["bar"]
    limit = settings.bar.limit
    if abs(found.shift_ppm) <= limit * found.shift_sd_ppm:
        return []
    if expected is None:
        indoors = 1e6 * settings.bar.indoors_k * abs(settings.bar.large_per_k)
        return ["clock" if abs(found.shift_ppm) > indoors else "clock or temperature"]
    left, sd = found.shift_ppm - expected[0], np.hypot(found.shift_sd_ppm, expected[1])
    return ["clock"] if abs(left) > limit * sd else []


def _of_levels(
    found: Moved | None,
    level: float | None,
    level_sd: float | None,
    noise: float | None,
    settings: Settings,
    *,
    compressed: bool,
) -> list[ChainSign]:
    seen: list[ChainSign] = []
    limits = settings.bar
    if compressed:
        return []
    turned = noise is not None and level is not None and abs(noise - level) <= limits.alike_db
    if level is not None and level_sd and abs(level) > limits.limit * level_sd:
        seen.append("gain" if turned else "level")
    slope, sd = (found.response_db_per_octave, found.response_sd) if found else (None, None)
    if slope is not None and sd and abs(slope) > limits.limit * sd:
        seen.append("response")
    if noise is not None and noise > limits.noise_db and not turned:
        seen.append("noise")
    return seen


def with_drift(bar: BarReadings, settings: Settings) -> BarReadings:
    """Within one scan; no temperature is known for either end."""
    if bar.first is None or bar.last is None:
        return replace(
            bar, drift_reason=f"the bar was not tapped {'before' if bar.first is None else 'after'} the plate"
        )
    if _one_recording(bar.first, bar.last):
        return replace(bar, drift_reason=ONE_RECORDING)
    return replace(bar, drift=chain_change(bar.name, ENDS, bar.first, bar.last, settings))


def between(
    later: ScanForComparison, baselines: Sequence[ScanForComparison], settings: Settings
) -> tuple[tuple[ChainChange, ...], str | None]:
    """The first taps of each scan, or the last where there are no others."""
    bar, now = later.scan.bar, _reading(later)
    known = [(b, b.scan.bar.name, then) for b in baselines if b.scan.bar and (then := _reading(b))]
    if bar is None or now is None or not known:
        return (), NO_BAR
    same = [(b, then) for b, name, then in known if name == bar.name]
    if not same:
        return (), OTHER_BAR
    apart = [(b, then) for b, then in same if not _one_recording(then, now)]
    told = tuple(
        chain_change(
            bar.name, (b.name, later.name), then, now, settings, (_bar_c(b.conditions), _bar_c(later.conditions))
        )
        for b, then in apart
    )
    return told, None if told else ONE_RECORDING


def _reading(made: ScanForComparison) -> BarReading | None:
    return (made.scan.bar.first or made.scan.bar.last) if made.scan.bar else None


def _one_recording(a: BarReading, b: BarReading) -> bool:
    """Beside itself nothing ever changes."""
    return bool(set(a.recordings) & set(b.recordings))


def _bar_c(conditions: ScanConditions) -> float | None:
    """A small bar has the room's temperature."""
    return conditions.air_c if conditions.air_c is not None else conditions.iron_c
