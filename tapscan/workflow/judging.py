"""Is this clip a strike that counts? By the same eyes as a strike in a file.

judge(clip, settings)   Judged: the strike's figures, and why it is refused if it is
"""

import tempfile
from pathlib import Path

import numpy as np
from msgspec import Struct

from tapscan.faults import FAULTS
from tapscan.recording.files import flac_bytes
from tapscan.recording.trigger import Clip
from tapscan.records import Strike
from tapscan.settings import Settings
from tapscan.workflow.cutting import cut
from tapscan.workflow.listen import listen

NEAR_S = 0.03
THUD_S, THUD_HZ = (0.01, 0.07), (250.0, 4000.0)
USED_ALL_THE_SAME = frozenset({"cut short", "hum"})  # facts of a strike that counts


class Judged(Struct, frozen=True, eq=False):
    """`refused` is the code of a fault, or None: it counts. `content` is the clip as a FLAC file."""

    clip: Clip
    content: bytes
    strike: Strike | None
    refused: str | None


def judge(clip: Clip, settings: Settings) -> Judged:
    """Raises nothing: what cannot be judged is refused."""
    content = flac_bytes(clip.samples, clip.sample_rate_hz)
    strike = _strike(content, clip, settings)
    return Judged(clip, content, strike, _why_refused(clip, strike, settings))


def _strike(content: bytes, clip: Clip, settings: Settings) -> Strike | None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.flac"
        path.write_bytes(content)
        heard = listen(str(path), settings)
        with heard.source:
            near = [i for i, s in enumerate(heard.spans) if abs(s.onset_s - clip.onset_s) < NEAR_S]
            return cut(heard, near[0], settings, name="T1", station="", force=None).strike if near else None


def _why_refused(clip: Clip, strike: Strike | None, settings: Settings) -> str | None:
    """The first reason that holds, in the order in which a person would mend them."""
    if clip.lost or strike is None:
        return "lost" if clip.lost else "no tap"
    faults = set(strike.faults)
    if clip.next_s is not None:
        if clip.next_s < settings.strikes.alone_s:
            faults.add("crowded")
        elif _fallen_db(clip) < settings.recorder.fallen_db:
            faults.add("cut off")
    if _over_before_db(clip) < settings.recorder.fallen_db and "weak" not in faults:
        faults.add("ringing")
    if _peakedness_db(clip) < settings.recorder.peaked_db:
        faults.add("thud")
    return next((f for f in FAULTS if f in faults and f not in USED_ALL_THE_SAME), None)


def _peakedness_db(clip: Clip) -> float:
    """Largest line over the middle of the spectrum just after the knock: noise gives about 9 dB, modes stand out of it."""
    first, last = (round((clip.onset_s + t) * clip.sample_rate_hz) for t in THUD_S)
    ring = np.asarray(clip.samples[first:last], dtype=float)
    if len(ring) < last - first:
        return 0.0
    power = np.abs(np.fft.rfft(ring * np.hanning(len(ring)))) ** 2
    f = np.fft.rfftfreq(len(ring), 1 / clip.sample_rate_hz)
    band = power[(f >= THUD_HZ[0]) & (f <= THUD_HZ[1])]
    return float(10 * np.log10((band.max() + 1e-30) / (np.median(band) + 1e-30)))


def _over_before_db(clip: Clip) -> float:
    """First tenth of a second over the last twentieth before it."""
    onset = round(clip.onset_s * clip.sample_rate_hz)
    guard = round(0.003 * clip.sample_rate_hz)
    before = clip.samples[max(0, onset - round(0.05 * clip.sample_rate_hz) - guard) : max(1, onset - guard)]
    return _db(clip.samples[onset : onset + round(0.1 * clip.sample_rate_hz)]) - _db(before)


def _fallen_db(clip: Clip) -> float:
    """How far the ring had fallen when something else began."""
    onset = round(clip.onset_s * clip.sample_rate_hz)
    tenth = round(0.1 * clip.sample_rate_hz)
    return _db(clip.samples[onset : onset + tenth]) - _db(clip.samples[-tenth // 2 :])


def _db(x: np.ndarray) -> float:
    return 10 * float(np.log10(np.mean(np.asarray(x, dtype=float) ** 2) + 1e-20)) if len(x) else -200.0
