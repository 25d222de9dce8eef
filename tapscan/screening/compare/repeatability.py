"""How well a plate repeats: its baseline scans joined, and the scatter to expect of each mode.

    prior_frequency_sd(f, contact, settings)   relative sd of one scan's frequency by supports and hand, as it ships
    any_supports_sd(f, settings)               the same, where nothing is known of the supports
    prior_loss_sd(f, contact, settings)        the same for the natural logarithm of the loss factor
    join(scans, contact, settings)             Baseline from one to many scans of one plate
    risen_level(older, newer, f, settings)     the same from the modes alone that rose between two scans
    scatter_level(f, values, given, settings)  how much more or less than given each mode scatters

Lift the plate, set it down, scan again: two or three such scans show how far supports, hand and room move each mode. What is
given beforehand is the prior by frequency with the mode's own standard deviation (times a factor, since close modes are worse
than a Fisher matrix says). With so few scans one mode's own scatter says little, so the ratio to what is given is smoothed
over neighbouring frequencies, held towards 1, and only then combined with the mode's own. One scan leaves the prior alone.

Shifts that all modes share are taken out first; frequencies refer to the reference scan's temperature.
Method: pooled variance with a prior (scaled inverse chi-square), kernel weights in log frequency. The weights are ours.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, Mode, Scan
from tapscan.screening.compare.pairing import ModeTable, mode_table, pair_modes
from tapscan.screening.compare.shared_shift import shared_shift
from tapscan.settings import Settings

REFERENCE_HZ = 100.0
OUTLIER = 16.0  # squared: a wild mode speaks for itself only, not for its neighbours
ROUNDS = 8
OFTEN = 3  # times a plate was seen to repeat


class Values(Struct, frozen=True, eq=False):
    """One quantity of every mode over the baseline scans; (n,) each."""

    mean: FloatArray  # nan where no scan has it
    heard: FloatArray  # number of scans that have it
    mean_sd: FloatArray  # of the mean
    level: FloatArray  # variance of one scan over what is given beforehand


class Baseline(Struct, frozen=True, eq=False):
    """The modes of the reference scan with what all baseline scans say of them."""

    table: ModeTable  # reference scan
    log_frequency: Values  # at the reference scan's temperature
    log_loss: Values
    places_heard: FloatArray  # (n,) stations that hear the mode in the reference scan
    members: tuple[tuple[str | None, ...], ...]  # (n, scans) Mode.id in each scan
    shifts: tuple[float, ...]  # ln ratio of each scan to the reference, shared by the modes
    tables: tuple[ModeTable, ...]  # every scan
    stations: tuple[str, ...]  # tapped in every scan
    reference: int  # number of the reference scan

    @property
    def scans(self) -> int:
        """Number of scans."""
        return len(self.tables)


def prior_frequency_sd(
    frequency_hz: FloatArray, contact: bool, settings: Settings, *, alone: bool = False
) -> FloatArray:
    """Relative sd of a mode's frequency from scan to scan.

    contact : a pickup on the iron, else a microphone in a room. alone : no repeated scan will correct it.
    frequency_hz : (k,). Returns (k,) standard deviations over the frequency.
    """
    room = settings.repeatability.alone_microphone_ppm if alone else settings.repeatability.high_microphone_ppm
    high = settings.repeatability.high_ppm if contact else room
    low = settings.repeatability.low_ppm * (REFERENCE_HZ / frequency_hz) ** settings.repeatability.slope
    return np.asarray(1e-6 * np.hypot(low, high))


def any_supports_sd(frequency_hz: FloatArray, settings: Settings, seen: int = 1) -> FloatArray:
    """Relative sd of a mode's frequency from scan to scan on supports of any usual kind, stiffness and care; holds until this plate was `seen` to repeat.

    frequency_hz : (k,). Returns (k,).
    """
    limits = settings.repeatability
    low = limits.supports_ppm * (REFERENCE_HZ / frequency_hz) ** limits.slope
    high = limits.supports_high_ppm if seen < OFTEN else limits.supports_high_seen_ppm
    return np.asarray(1e-6 * np.hypot(low, high))


def prior_loss_sd(frequency_hz: FloatArray, contact: bool, settings: Settings) -> FloatArray:
    """Sd of the natural logarithm of a mode's loss factor from scan to scan.

    frequency_hz : (k,). Returns (k,) standard deviations.
    """
    high = settings.repeatability.loss if contact else settings.repeatability.loss_microphone
    low = settings.repeatability.loss_low * (REFERENCE_HZ / frequency_hz) ** settings.repeatability.slope
    return np.asarray(np.hypot(low, high))


def fit_factor(scan: Scan, settings: Settings) -> float:
    """What the fit's own sd is taken times for the scatter from scan to scan."""
    return settings.repeatability.fit_factor if scan.room is None else settings.repeatability.fit_factor_room


def join(scans: Sequence[Scan], contact: bool, settings: Settings) -> Baseline:
    """Baseline of one to many scans; the reference is the scan with the most modes, the earliest of equals.

    Raises ValueError without scans.
    """
    if not scans:
        raise ValueError("a baseline needs at least one scan")
    first = int(np.argmax([len(s.modes) for s in scans]))
    stations = shared_stations(scans)
    tables = [mode_table(s.modes, stations) for s in scans]
    reference = tables[first]
    frequency = _Gathered(reference, len(scans))
    loss = _Gathered(reference, len(scans))
    members: list[list[str | None]] = [[None] * len(scans) for _ in reference.names]
    shifts = []
    for k, (scan, table) in enumerate(zip(scans, tables, strict=True)):
        pairs, shift = _pairs(reference, table, contact, settings, same=k == first)
        shifts.append(shift)
        modes, fit = {m.id: m for m in scan.modes}, fit_factor(scan, settings)
        for i, j in pairs:
            mode = modes[table.names[j]]
            members[i][k] = mode.id
            frequency.put(i, k, table.log_frequency[j] - shift, fit * table.frequency_sd[j])
            loss.put(i, k, log_loss(mode), fit * log_loss_sd(mode))
    return Baseline(
        table=reference,
        log_frequency=frequency.values(
            prior_frequency_sd(reference.frequency_hz, contact, settings, alone=len(scans) == 1),
            settings,
            settings.repeatability.least_level if contact else 0.0,
        ),
        log_loss=loss.values(prior_loss_sd(reference.frequency_hz, contact, settings), settings),
        places_heard=(reference.pattern > 0).sum(axis=1).astype(float),
        members=tuple(tuple(row) for row in members),
        shifts=tuple(shifts),
        tables=tuple(tables),
        stations=tuple(stations),
        reference=first,
    )


def shared_stations(scans: Sequence[Scan]) -> list[str]:
    """Stations tapped in every scan, in the order of the first."""
    tapped = [{s.station for s in scan.strikes} for scan in scans]
    order = dict.fromkeys(s.station for s in scans[0].strikes)
    return [s for s in order if all(s in t for t in tapped)]


def log_loss(mode: Mode) -> float:
    """Natural logarithm of the loss factor; nan where it is unknown."""
    return float(np.log(mode.loss_factor)) if mode.loss_factor and mode.loss_factor > 0 else float("nan")


def log_loss_sd(mode: Mode) -> float:
    """Its sd by noise alone; 0 where unknown."""
    return (mode.decay_rate.relative_sd or 0.0) / mode.widened[1]


def _pairs(
    reference: ModeTable, table: ModeTable, contact: bool, settings: Settings, *, same: bool
) -> tuple[list[tuple[int, int]], float]:
    if same:
        return [(i, i) for i in range(len(reference))], 0.0
    scatter = np.sqrt(2) * prior_frequency_sd(reference.frequency_hz, contact, settings)
    found = pair_modes(reference, table, scatter, settings)
    return [(int(i), int(j)) for i, j in found.pairs], found.shift


class _Gathered:
    """Values and their fit's sd as they come in, (n, scans)."""

    def __init__(self, reference: ModeTable, scans: int) -> None:
        self.frequency_hz = reference.frequency_hz
        self.value = np.full((len(reference), scans), np.nan)
        self.fit_sd = np.zeros((len(reference), scans))

    def put(self, mode: int, scan: int, value: float, fit_sd: float) -> None:
        self.value[mode, scan], self.fit_sd[mode, scan] = value, fit_sd

    def values(self, prior_sd: FloatArray, settings: Settings, least_level: float = 0.0) -> Values:
        known = np.isfinite(self.value)
        given = np.where(known, np.hypot(prior_sd[:, None], self.fit_sd), np.nan)
        level = np.maximum(scatter_level(self.frequency_hz, self.value, given, settings), least_level)
        weight = np.where(known, 1 / np.where(known, given, 1.0) ** 2, 0.0)
        total = weight.sum(axis=1)
        mean = np.nansum(weight * np.where(known, self.value, 0.0), axis=1) / np.where(total > 0, total, np.nan)
        mean_sd = np.sqrt(level / np.where(total > 0, total, np.nan))
        return Values(mean, known.sum(axis=1).astype(float), mean_sd, level)


def scatter_level(frequency_hz: FloatArray, values: FloatArray, given_sd: FloatArray, settings: Settings) -> FloatArray:
    """(n,) variance of each mode over what is given; 1 where nothing was repeated and nothing is known nearby.

    values, given_sd : (n, scans), nan where missing.
    """
    known = np.isfinite(values)
    weight = np.where(known, 1 / np.where(known, given_sd, 1.0) ** 2, 0.0)
    mean = np.sum(weight * np.where(known, values, 0.0), axis=1) / np.maximum(weight.sum(axis=1), 1e-300)
    squares = np.sum(weight * np.where(known, values - mean[:, None], 0.0) ** 2, axis=1)
    freedom = np.maximum(known.sum(axis=1) - 1, 0).astype(float)
    level = _smoothed(frequency_hz, frequency_hz, squares, freedom, settings)
    own = settings.repeatability.own_freedom
    return np.asarray((own * level + squares) / (own + freedom))


def _smoothed(
    wanted_hz: FloatArray, frequency_hz: FloatArray, squares: FloatArray, freedom: FloatArray, settings: Settings
) -> FloatArray:
    """(m,) level near each wanted frequency: squares over what is given, of so many degrees of freedom, held towards 1; wild ones speak little for their neighbours."""
    prior = settings.repeatability.prior_freedom
    own, near = (_nearness(f, frequency_hz, settings) for f in (frequency_hz, wanted_hz))
    level = np.ones(len(frequency_hz))
    for _ in range(ROUNDS):
        held = np.minimum(squares, OUTLIER * level * np.maximum(freedom, 1))
        level = (prior + own @ held) / (prior + own @ freedom)
    held = np.minimum(squares, OUTLIER * level * np.maximum(freedom, 1))
    return np.asarray((prior + near @ held) / (prior + near @ freedom))


def _nearness(wanted_hz: FloatArray, frequency_hz: FloatArray, settings: Settings) -> FloatArray:
    a, b = np.log(np.maximum(wanted_hz, 1e-9)), np.log(np.maximum(frequency_hz, 1e-9))
    return np.asarray(np.exp(-0.5 * ((a[:, None] - b[None, :]) / settings.repeatability.smoothing) ** 2))


def risen_level(older: Scan, newer: Scan, wanted_hz: FloatArray, settings: Settings) -> FloatArray:
    """(m,) level near each wanted frequency, by pickup. Supports raise modes as often as they lower them and a crack raises none, so one that came between the two scans does not pass for scatter."""
    stations = shared_stations([older, newer])
    before, after = mode_table(older.modes, stations), mode_table(newer.modes, stations)
    if not len(before) or not len(after):
        return np.ones(len(wanted_hz))
    both = np.sqrt(2) * prior_frequency_sd(before.frequency_hz, True, settings)
    found = pair_modes(before, after, both, settings)
    i, j = found.pairs[:, 0], found.pairs[:, 1]
    fits = fit_factor(newer, settings) * np.hypot(before.frequency_sd[i], after.frequency_sd[j])
    apart, sd = after.log_frequency[j] - before.log_frequency[i], np.hypot(both[i], fits)
    score = (apart - shared_shift(apart, sd, np.ones(len(apart), dtype=bool))[0]) / sd
    rose = score > 0
    return _smoothed(wanted_hz, before.frequency_hz[i][rose], score[rose] ** 2, np.ones(int(rose.sum())), settings)
