"""Strikes cut out of a recording that was listened to, one by one, and measured.

cut(heard, index, settings, ...)   Segment of one strike, read from the file again when it is needed
"""

import numpy as np
from msgspec.structs import replace

from tapscan.records import FloatArray, Force, Segment, Strike
from tapscan.settings import Settings
from tapscan.signal.strikes.detect import Span, clipped, onset_sample
from tapscan.signal.strikes.mains import mains_hum
from tapscan.workflow.listen import LEAD_S, LEAST_NOISE_S, NOISE_S, Heard

LEVEL_S = 0.5
FURTHER_BLOW_S = 0.003


def cut(heard: Heard, index: int, settings: Settings, *, name: str, station: str, force: Force | None) -> Segment:
    """Read one strike and measure it."""
    source, span = heard.source, heard.spans[index]
    rate, channel = source.sample_rate_hz, heard.recording.channel_used or 0
    lead = min(round(LEAD_S * rate), round(span.onset_s * rate))
    first = round(span.onset_s * rate) - lead
    samples = _one(
        source.read(first, lead + round(min(span.end_s - span.onset_s, settings.strikes.longest_s) * rate)), channel
    )
    onset = onset_sample(samples, lead, rate)
    noise = _noise_before(heard, index, first / rate, channel)
    ring = samples[onset:] - (np.median(noise) if noise.size else 0.0)
    strike = _measured(heard, span, ring, noise, (first + onset) / rate, settings)
    return Segment(replace(strike, id=name, station=station, force=force), ring, noise, rate, _free_s(span))


def _free_s(span: Span) -> float:
    """Where the free ring begins: a hop after the last further blow, if there was one."""
    return span.last_blow_s + FURTHER_BLOW_S if span.last_blow_s else 0.0


def _noise_before(heard: Heard, index: int, start_s: float, channel: int) -> FloatArray:
    """Up to NOISE_S of sound before the strike; the quietest stretch where the last ring still stands there."""
    rate = heard.source.sample_rate_hz
    free = heard.spans[index - 1].end_s if index else 0.0
    length = min(NOISE_S, start_s - free)
    if length >= LEAST_NOISE_S:
        return _one(heard.source.read(round((start_s - length) * rate), round(length * rate)), channel)
    if heard.quietest_s is None or (index == 0 and len(heard.spans) == 1):
        return np.empty(0)
    return _one(heard.source.read(round(heard.quietest_s * rate), round(NOISE_S * rate)), channel)


def _one(block: FloatArray, channel: int) -> FloatArray:
    """(n,) in one piece: sums then come out alike wherever they are made."""
    return np.ascontiguousarray(block[:, channel])


def _measured(
    heard: Heard, span: Span, ring: FloatArray, noise: FloatArray, onset_s: float, settings: Settings
) -> Strike:
    rate = heard.source.sample_rate_hz
    level = _db(float(np.mean(ring[: round(LEVEL_S * rate)] ** 2))) if ring.size else -200.0
    snr = level - _db(float(np.var(noise))) if noise.size else None
    return Strike(
        id="",
        recording=heard.recording.id,
        station="",
        force=None,
        onset_s=onset_s,
        duration_s=span.end_s - onset_s,
        peak=float(max(ring.max(initial=0.0), -ring.min(initial=0.0))),
        level_db=level,
        snr_db=snr,
        faults=tuple(_faults(span, ring, noise, snr, rate, settings)),
        reason=None if noise.size else "no quiet before the tap to measure the noise in",
    )


def _faults(
    span: Span, ring: FloatArray, noise: FloatArray, snr: float | None, rate: int, settings: Settings
) -> list[str]:
    faults = []
    if clipped(ring[: round(0.2 * rate)], round(settings.strikes.clip_run)):
        faults.append("clipped")
    if span.last_blow_s and not span.swells:  # a voice has no hammer that could touch twice
        faults.append("double hit")
    if span.crowded:
        faults.append("crowded")
    if span.swells:
        faults.append("not a tap")
    if snr is not None and snr < settings.strikes.weak_snr_db:
        faults.append("weak")
    if snr is not None and snr < 40 and mains_hum(noise, rate):
        faults.append("hum")
    return faults


def _db(power: float) -> float:
    return 10 * float(np.log10(power + 1e-20))
