"""All strikes of all stations side by side: one column of spectra a strike.

StationSound                              what one station brings: its strikes, their noise, the poles it gave alone
alike(sounds)                             those that can be fitted together
gathered(sounds)                          Columns: their spectra over one common length, half of it, a quarter, ...
weighed(columns, sounds, band, starts)    a band's spectra, each scaled to its noise and freed of the station's shift
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapscan.records import ComplexArray, FloatArray, Force, Pole
from tapscan.signal.fit.bandfit import Start
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, mode_spectra, smooth_terms
from tapscan.signal.fit.subbands import Band, Spectra
from tapscan.signal.plate.room_limit import LateSlope

HIGHEST_HZ = 2500.0  # above, single modes are not to be trusted (modal overlap about 0.5)
LENGTH_SHARE = 0.6  # of the median; a station heard for less would shorten the fit of all
MODEL_ERROR = 1e-6
SHORTEST_S = 0.5
CONSTANTS = 4.6  # of the decay rate: after these a mode has fallen by 40 dB
MARGINS = 0.6  # band widths on either side that are kept; the fit looks at half a width
LEAST_DRIFT = 5e-7


@dataclass(frozen=True, eq=False)
class StationSound:
    """What one station brings; float32 keeps 140 dB in half the memory."""

    station: str
    strikes: np.ndarray  # (S, n) float32, sample 0 at the onset, full scale = 1
    noise: NoiseDensity
    poles: tuple[Pole, ...]  # what the station gave alone, above HIGHEST_HZ where there are other stations
    sample_rate_hz: int
    free_s: float  # from the onset to where the plate rings freely
    level_db: tuple[float, ...]  # of each strike: rms of the first 0.5 s, dB re full scale
    named: tuple[str, ...] = ()  # Strike.id of each strike
    forces: tuple[Force | None, ...] = ()  # as declared, of each strike
    late: tuple[LateSlope, ...] = ()  # how the end of the ring falls, by band

    @property
    def ring(self) -> np.ndarray:
        """(S, m) the strikes from where the plate rings freely."""
        return self.strikes[:, round(self.free_s * self.sample_rate_hz) :]


class KeptSpectra(Spectra):
    """Spectra of which only some bins are kept, from number `first` on."""

    def __init__(self, full: ComplexArray, length: int, rate: int, first: int = 0) -> None:
        self.rate, self.length, self.first = rate, length, first
        self.full = full
        self.strikes = np.empty((len(full), 0))

    def bins(self, low_hz: float, high_hz: float) -> tuple[FloatArray, ComplexArray]:
        """Frequencies (K,) in Hz and spectra (K, S) of those kept between two frequencies."""
        step = self.rate / self.length
        first = max(1, self.first, int(np.ceil(low_hz / step)))
        last = min(self.first + self.full.shape[1] - 1, int(np.floor(high_hz / step)))
        return np.arange(first, last + 1) * step, self.full[:, first - self.first : last + 1 - self.first].T


@dataclass(frozen=True, eq=False)
class Columns:
    """All columns (strikes of all stations) and what is known of each."""

    owner: np.ndarray  # (S,) number of the station
    drift: FloatArray  # (S,) relative shift of its frequencies
    rungs: tuple[KeptSpectra, ...]  # full length, half, quarter...


def alike(sounds: Sequence[StationSound]) -> list[StationSound]:
    """Those of the most common rate whose ring is not much shorter than most."""
    rates = [s.sample_rate_hz for s in sounds]
    rate = max(set(rates), key=rates.count) if rates else 0
    same = [s for s in sounds if s.sample_rate_hz == rate]
    middle = float(np.median([s.ring.shape[1] for s in same])) if same else 0.0
    return [s for s in same if s.ring.shape[1] >= LENGTH_SHARE * middle]


def gathered(sounds: Sequence[StationSound]) -> Columns:
    """Spectra of all strikes over one common length, and halves of it."""
    rate, length = sounds[0].sample_rate_hz, min(s.ring.shape[1] for s in sounds)
    rungs: list[KeptSpectra] = []
    while not rungs or length > SHORTEST_S * rate:
        kept = [_low(Spectra(s.ring[:, :length].astype(float), rate)) for s in sounds]
        rungs.append(KeptSpectra(np.vstack([full for full, _ in kept]), kept[0][1], rate))
        length //= 2
    owner = np.repeat(np.arange(len(sounds)), [len(s.strikes) for s in sounds])
    return Columns(owner, np.zeros(len(owner)), tuple(rungs))


def _low(spectra: Spectra) -> tuple[ComplexArray, int]:
    """The spectra below (and a little above) HIGHEST_HZ, and the length of the record."""
    return spectra.full[:, : int(HIGHEST_HZ * 1.3 * spectra.length / spectra.rate)].copy(), spectra.length


def weighed(
    joint: Columns, sounds: Sequence[StationSound], band: Band, starts: Start
) -> tuple[KeptSpectra, FloatArray]:
    """The band's spectra with the drift taken out, each column scaled to noise of mean square 1, and the scales (S,)."""
    reach = MARGINS * band.width_hz
    near = (starts.frequency_hz > band.low_hz - reach) & (starts.frequency_hz < band.high_hz + reach)
    mine = starts.where(near)
    rung = _rung(joint, mine)
    bins, values = rung.bins(band.low_hz - reach, band.high_hz + reach)
    scale = noise_scale(joint, sounds, band, bins, values, rung)
    steady = (_steadied(rung, bins, values, mine, joint) * scale).T
    return KeptSpectra(steady, rung.length, rung.rate, round(bins[0] * rung.length / rung.rate)), scale


def noise_scale(
    joint: Columns,
    sounds: Sequence[StationSound],
    band: Band,
    bins: FloatArray,
    values: ComplexArray,
    rung: KeptSpectra,
) -> FloatArray:
    """(S,) what brings each strike's noise, or what no model of its ring follows, to mean square 1 a sample."""
    noise = np.array([s.noise.at(band.low_hz, band.high_hz) for s in sounds])[joint.owner]
    inside = (bins >= band.low_hz) & (bins < band.high_hz)
    energy = np.mean(np.abs(values[inside]) ** 2, axis=0) / rung.length
    return np.asarray(1 / np.sqrt(np.maximum(noise, MODEL_ERROR * energy) + 1e-300))


def _rung(joint: Columns, starts: Start) -> KeptSpectra:
    """The shortest record at whose end the slower modes have fallen by 40 dB."""
    if not len(starts):
        return joint.rungs[-1]
    wanted_s = CONSTANTS / float(np.quantile(starts.decay_rate_per_s, 0.2))
    return next((r for r in reversed(joint.rungs) if r.duration_s >= wanted_s), joint.rungs[0])


def _steadied(rung: KeptSpectra, bins: FloatArray, values: ComplexArray, starts: Start, joint: Columns) -> ComplexArray:
    """(K, S) as they would be had the plate kept one temperature; to first order in the shift, which is far below a width."""
    if not len(starts) or np.abs(joint.drift).max() < LEAST_DRIFT:
        return values
    f = starts.frequency_hz
    model, slope = mode_spectra(bins, f, starts.decay_rate_per_s, rung.length, rung.rate)
    c = np.linalg.lstsq(np.hstack([model, smooth_terms(bins, BACKGROUND_TERMS)]), values, rcond=1e-6)[0][: len(f)]
    return np.asarray(values - slope @ (2j * np.pi / rung.rate * f[:, None] * c * joint.drift))
