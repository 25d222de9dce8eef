"""What a phone beside a strung upright records: four places of the short layout, three taps each, and the life of the house around them.

Simulated: taps from the invented full upright in the manner of the demo's strung plate, its two unmuted strings, a telephone of two tones, a lorry as
low noise that swells and goes. `talk.flac` was spoken by espeak-ng, a program; nobody was recorded.
"""

from pathlib import Path

import numpy as np
import soundfile

from bench.simulate.nuisance import coloured_noise
from tapscan.demo.plates import State, draw_iron, load_table, plate_modes
from tapscan.demo.strings import singing
from tapscan.demo.taps import Tap, scan, sensor_names

RATE_HZ = 44_100
TALK = Path(__file__).with_name("talk.flac")
PLACES = ("S1", "S3", "S7", "S8")  # of upright-short, on a strung plate
ORDER = ("soft", "hard", "hard")
TAP_S, BETWEEN_PLACES_S, LEAD_S = 3.0, 10.0, 12.0
NOISE_DB = -76.0  # re the loudest tap; its ring is some 25 dB under its peak
TALK_PEAK, PHONE_PEAK, LORRY_RMS = 0.12, 0.05, 0.004  # the same, as factors
PHONE_HZ = (1_336.0, 941.0)


def taps(seed: int = 4, case: str = "sound", strings: float = 0.05) -> list[Tap]:
    """`case` : a flaw of the table."""
    table, rng = load_table("upright-full"), np.random.default_rng(seed)
    iron = draw_iron(table, rng, mean_loss_factor=0.02, loss_scatter=0.12)
    modes = plate_modes(table, case, iron, State())
    microphone = sensor_names(modes)[-1]
    hit = scan(
        modes,
        microphone,
        RATE_HZ,
        rng,
        ORDER,
        stations=table.station_names[: len(PLACES)],
        duration_s=TAP_S,
        snr_db=None,
    )
    for tap in hit:
        start = round(tap.onset_s * RATE_HZ)
        tap.samples[start:] += strings * np.abs(tap.samples).max() * singing(rng, len(tap.samples) - start, RATE_HZ)
    return hit


def take(*, life: bool = True, seed: int = 4, case: str = "sound") -> np.ndarray:
    """(n,) of peak 0.5; `life` : talk, telephone and lorry."""
    rng, sound = np.random.default_rng(seed), [np.zeros(round(LEAD_S * RATE_HZ))]
    ends = []
    for k, tap in enumerate(hit := taps(seed, case)):
        sound.append(tap.samples * _hand(len(tap.samples)))
        if k % len(ORDER) == len(ORDER) - 1:
            ends.append(sum(map(len, sound)))
            sound.append(np.zeros(round((BETWEEN_PLACES_S - TAP_S) * RATE_HZ)))
    sound.append(np.zeros(round(2 * RATE_HZ)))
    out = np.concatenate(sound)
    peak = max(float(np.abs(t.samples).max()) for t in hit)
    if life:
        out = _with_life(out, peak, ends, rng)
    out = out + 10 ** (NOISE_DB / 20) * peak * coloured_noise(rng, len(out), RATE_HZ, 3.0)
    return np.asarray(0.5 * out / np.abs(out).max())


def _with_life(out: np.ndarray, peak: float, ends: list[int], rng: np.random.Generator) -> np.ndarray:
    """Talk before the first tap, the telephone after the second place, the lorry through the taps of the third."""
    out, talk = out.copy(), talking()[: round((LEAD_S - 1.5) * RATE_HZ)]
    _add(out, 0, TALK_PEAK * peak * talk)
    _add(out, ends[1] + RATE_HZ // 2, PHONE_PEAK * peak * telephone(4.0))
    _add(out, ends[1], LORRY_RMS * peak * lorry(rng, 20.0))
    return out


def _add(out: np.ndarray, at: int, what: np.ndarray) -> None:
    part = what[: len(out) - at]
    out[at : at + len(part)] += part


def _hand(count: int) -> np.ndarray:
    """A hand ends the ring."""
    fade = round(0.15 * RATE_HZ)
    return np.concatenate([np.ones(count - fade), 0.5 * (1 + np.cos(np.pi * np.arange(1, fade + 1) / fade))])


def talking() -> np.ndarray:
    """(n,) of peak 1 at RATE_HZ."""
    spoken, rate = soundfile.read(TALK)
    at = np.arange(0, len(spoken) / rate - 1 / rate, 1 / RATE_HZ)
    heard = np.interp(at, np.arange(len(spoken)) / rate, spoken)
    return np.asarray(heard / np.abs(heard).max())


def telephone(duration_s: float) -> np.ndarray:
    """(n,) of peak 1: two tones in turn, twenty times a second, one second on and one off."""
    time = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    tone = np.where((time * 20).astype(int) % 2, *(np.sin(2 * np.pi * f * time) for f in PHONE_HZ))
    on = np.clip(np.minimum(time % 2, 1 - time % 2) / 0.02, 0, 1)
    return np.asarray(tone * on)


def lorry(rng: np.random.Generator, duration_s: float) -> np.ndarray:
    """(n,) of rms 1 at its loudest: low noise that swells and goes."""
    count = round(duration_s * RATE_HZ)
    return np.asarray(coloured_noise(rng, count, RATE_HZ, 6.0) * np.hanning(count))
