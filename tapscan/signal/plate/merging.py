"""Join the poles of all stations into the modes of the plate.

    merge(heard, stations, settings)   list of Mode from what each station heard, in order of frequency

Poles of different stations are one mode when they agree within their uncertainty or a fifth of their
linewidth; no station gives two poles to one mode. A mode heard at a single one of many stations must be
very clear to count.
"""

import math
from collections.abc import Sequence
from statistics import median

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, ModalAmplitude, Mode, Pole, Tone
from tapscan.settings import Settings
from tapscan.signal.plate.decay import loss_factor, q_factor, t60_s

FIFTH = 0.2
WARMING = 80e-6  # of the frequency: half a kelvin within a scan
LONE_SNR_DB = 30.0
MANY_STATIONS = 4


class HeardPole(Struct, frozen=True, eq=False):
    """A pole with the station's view of it."""

    station: str
    pole: Pole
    tone: Tone
    amplitude_db: float
    level_db: float  # at the start of the tone window, dB re full scale
    overlap: float  # modal overlap around it at this station
    seen_s: float  # how long the strikes were heard
    sign: int | None = None  # of the deflection here beside the mode's strongest place (signs.py)


def overlaps(poles: Sequence[Pole]) -> FloatArray:
    """Modal overlap at each pole: linewidth times the density of the station's modes around it.

    Returns (m,), one a pole, no unit.
    """
    f = np.array([p.frequency_hz for p in poles])
    width = np.array([p.decay_rate_per_s for p in poles]) / np.pi
    reach = np.maximum(0.1 * f, 50.0)
    count = (np.abs(f[:, None] - f[None, :]) < reach[:, None]).sum(axis=1)
    return width * count / (2 * reach)


def merge(heard: Sequence[HeardPole], stations: int, settings: Settings) -> list[Mode]:
    """Modes named M1, M2, ... in order of frequency. `stations` is how many were tapped at all."""
    return modes_of([Joined(pole_of(c), c) for c in clusters_of(heard, stations)], settings)


class Joined(Struct, frozen=True, eq=False):
    """One mode: its pole, the stations' views of it (the clearest first), and what is to be said of its decay."""

    pole: Pole
    heard: list[HeardPole]
    note: str | None = None


def modes_of(joined: Sequence[Joined], settings: Settings) -> list[Mode]:
    """Modes named M1, M2, ... in order of frequency. One whose frequency the taps leave open (singular Fisher matrix: tones that overlap, few places) is none."""
    told = [j for j in joined if math.isfinite(j.pole.frequency_sd_hz)]
    ordered = sorted(told, key=lambda j: j.pole.frequency_hz)
    return [_mode(f"M{i}", j, settings) for i, j in enumerate(ordered, 1)]


def clusters_of(heard: Sequence[HeardPole], stations: int) -> list[list[HeardPole]]:
    """Poles of different stations that are one mode, in order of frequency. `stations` is how many were tapped at all."""
    clusters: list[list[HeardPole]] = []
    centres = np.empty(0)
    for h in sorted(heard, key=lambda h: -h.pole.snr_db):
        place = _home(h, clusters, centres)
        if place is None:
            clusters.append([h])
            centres = np.append(centres, h.pole.frequency_hz)
        else:
            clusters[place].append(h)
            centres[place] = np.median([x.pole.frequency_hz for x in clusters[place]])
    kept = [c for c in clusters if _counts(c, stations)]
    return sorted(kept, key=lambda c: c[0].pole.frequency_hz)


def pole_of(cluster: Sequence[HeardPole]) -> Pole:
    """One pole for a cluster, amplitudes left out: means over stations without outliers."""
    f, f_sd = _joint([h.pole.frequency_hz for h in cluster], [h.pole.frequency_sd_hz for h in cluster])
    rate, rate_sd = _joint([h.pole.decay_rate_per_s for h in cluster], [h.pole.decay_rate_sd_per_s for h in cluster])
    return Pole(f, f_sd, rate, rate_sd, (), cluster[0].pole.snr_db)


def _counts(cluster: list[HeardPole], stations: int) -> bool:
    return stations < MANY_STATIONS or len(cluster) > 1 or cluster[0].pole.snr_db > LONE_SNR_DB


def _home(h: HeardPole, clusters: list[list[HeardPole]], centres: FloatArray) -> int | None:
    """Nearest cluster that this pole may join."""
    if not clusters:
        return None
    p = h.pole
    for place in np.argsort(np.abs(centres - p.frequency_hz))[:3]:
        cluster = clusters[place]
        away = abs(centres[place] - p.frequency_hz)
        lead = cluster[0].pole
        sd = np.hypot(p.frequency_sd_hz, lead.frequency_sd_hz)
        width = min(p.decay_rate_per_s, lead.decay_rate_per_s) / np.pi
        reach = min(max(4 * sd, FIFTH * width, WARMING * p.frequency_hz), max(width, 0.2))
        if away <= reach and all(x.station != h.station for x in cluster):
            return int(place)
    return None


def _mode(name: str, joined: Joined, settings: Settings) -> Mode:
    cluster, pole = joined.heard, joined.pole
    f, f_sd = pole.frequency_hz, pole.frequency_sd_hz
    rate, rate_sd = pole.decay_rate_per_s, pole.decay_rate_sd_per_s
    reason = _why_no_decay(cluster, rate, rate_sd, settings)
    judged = [h for h in cluster if h.tone.prominent is not None]
    prominent = [h for h in judged if h.tone.prominent]
    tone = judged or cluster
    return Mode(
        id=name,
        frequency_hz=f,
        frequency_sd_hz=f_sd,
        decay_rate_per_s=None if reason else rate,
        decay_rate_sd_per_s=None if reason else rate_sd,
        t60_s=None if reason else t60_s(rate),
        q=None if reason else q_factor(f, rate),
        loss_factor=None if reason else loss_factor(f, rate),
        level_db=max(h.level_db for h in cluster),
        tone_to_noise_db=_median([h.tone.tone_to_noise_db for h in tone]),
        prominence_ratio_db=_median([h.tone.prominence_ratio_db for h in tone]),
        prominent=len(prominent) >= settings.tones.station_share * len(judged) if judged else None,
        stations_prominent=len(prominent),
        stations_judged=len(judged),
        note=None,
        cents=None,
        origin="plate" if len(cluster) > 1 else "unknown",
        amplitudes=tuple(
            ModalAmplitude(h.station, h.amplitude_db, h.sign) for h in sorted(cluster, key=lambda h: -h.amplitude_db)
        ),
        reason=reason or joined.note or (None if judged else cluster[0].tone.reason),
        widened=pole.widened,
    )


def _joint(values: Sequence[float], sds: Sequence[float]) -> tuple[float, float]:
    """Inverse-variance mean without outliers; its sd, never under what the scatter shows, infinite where no fit tells one."""
    v, s = np.array(values), np.array(sds)
    known = np.isfinite(s) & (s > 0)
    if not known.any():
        return float(np.median(v)), float("inf")
    v, s = v[known], s[known]
    order = np.argsort(v)
    weight = 1 / s**2
    middle = v[order][np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum())]
    near = np.abs(v - middle) <= 5 * s
    v, weight = v[near], weight[near]
    mean = float(np.sum(v * weight) / weight.sum())
    chi = float(np.sum(weight * (v - mean) ** 2) / max(1, len(v) - 1))
    return mean, float(np.sqrt(max(1.0, chi) / weight.sum()))


def _median(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return median(known) if known else None


def _why_no_decay(cluster: list[HeardPole], rate: float, rate_sd: float, settings: Settings) -> str | None:
    best = cluster[0]
    if median(h.overlap for h in cluster) > settings.fit.overlap:
        return "overlaps its neighbours, so its own decay cannot be told"
    if rate <= 0 or rate_sd > settings.fit.decay_spread * rate:
        return f"decay uncertain by more than {100 * settings.fit.decay_spread:.0f} %"
    if best.seen_s * rate < 0.5:
        return f"heard for only {best.seen_s:.2f} s, too short for a decay this slow"
    return None
