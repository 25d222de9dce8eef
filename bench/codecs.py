"""Sound plates and flawed ones through lossy codecs, and whether a WAV that went through one is told.

python -m bench.codecs WORK scans [--sound 4] [--flawed 2] [--minutes 20]   dispositions and the rules that spoke, by codec
python -m bench.codecs WORK detect [--taps 20]                              files told by their spectrum, by codec and rate

Each adds its part to results/codecs.txt. Simulated: taps of tapscan/demo at 44.1 kHz (detect: 48 kHz too), a soft and a hard tap at each of eight
places, one file a place, signal over noise drawn; encoders are FFmpeg's (PyAV) and libsndfile's, none is a phone's. `scans` keeps each finished scan in
WORK and goes on from there; the whole study: --sound 100 --flawed 40. Each casting goes through every codec once, so n is castings. Numbers of castings begin
at FIRST, where none was used to set anything; sound and flawed ones are made by turns, so that a study that is stopped has some of each.

Limits of tapscan/signal/strikes/lossy.py were set on castings 0 to 3 of other seeds, at 40, 50, 60 and 70 dB, and on their resampled copies.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile
from msgspec import Struct
from scipy.signal import resample, resample_poly

from bench import study
from bench.simulate.codecs import CODECS, encode, round_trip
from bench.simulate.take import one_recording
from tapscan.demo.plates import State, draw_iron, load_table, pattern_names, plate_modes
from tapscan.demo.taps import scan, sensor_names
from tapscan.signal.strikes.lossy import traces_of
from tapscan.workflow.check import Request, check

ORDER = ("soft", "hard")
PLACES, TAP_S = 8, 2.0
RATE_HZ, RATES_HZ = 44_100, (44_100, 48_000)
SNR_DB = (45.0, 65.0)
SCANNED = ("WAV", "AAC 64", "AAC 128", "AAC 256", "MP3 128", "MP3 320", "Opus 64")
FLAW = "severed"
LOWER_HZ = (8_000, 11_025, 16_000, 22_050, 32_000)
RESULTS = Path(__file__).parent / "results" / "codecs.txt"
PIECE_S = 0.75
FIRST = 2000


class Unit(Struct, frozen=True):
    """One casting through one codec."""

    number: int
    flawed: bool
    codec: str

    @property
    def name(self) -> str:
        """Of its file."""
        return f"{'flawed' if self.flawed else 'sound'}-{self.number}-{self.codec.replace(' ', '-')}"


def sounds_of(casting: str, flawed: bool, rate_hz: int, places: int) -> dict[str, np.ndarray]:
    """(n,) samples of each place, full scale = 1, rounded to 16 bit."""
    rng = np.random.default_rng(study.seed_of("codecs", casting))
    table = load_table(str(rng.choice(pattern_names())))
    label = str(rng.choice([x for x in table.labels if x.startswith(FLAW)])) if flawed else "sound"
    modes = plate_modes(table, label, draw_iron(table, rng), State())
    every = table.station_names
    stations = [every[i] for i in np.linspace(0, len(every) - 1, places).round().astype(int)]
    snr = float(rng.uniform(*SNR_DB))
    taps = scan(modes, sensor_names(modes)[0], rate_hz, rng, ORDER, stations, TAP_S, snr)
    return {s: np.round(32767 * one_recording([t for t in taps if t.station == s])[0]) / 32768 for s in stations}


def screened(unit: Unit) -> dict[str, Any]:
    """What `tapscan check` says of it."""
    sounds = sounds_of(f"{unit.number}, {unit.flawed}", unit.flawed, RATE_HZ, PLACES)
    with TemporaryDirectory(prefix="codecs-") as folder:
        paths = [_written(Path(folder), station, sound, unit.codec) for station, sound in sounds.items()]
        told = check(paths, Request(order=ORDER, state="stripped")).screening
    assert told is not None
    return {
        "disposition": told.disposition,
        "relevant": sorted({i.rule for i in told.indications if i.interpretation == "relevant"}),
        "not_run": sorted(r.rule for r in told.rules_not_run if r.reason.startswith("compressed")),
        "modes": len(told.scan.modes),
    }


def _written(folder: Path, station: str, sound: np.ndarray, codec: str) -> str:
    if codec == "WAV":
        path = folder / f"{station}.wav"
        soundfile.write(str(path), sound, RATE_HZ, subtype="PCM_16")
    else:
        path = folder / f"{station}.{'m4a' if CODECS[codec].container == 'mp4' else CODECS[codec].container}"
        encode(path, sound, RATE_HZ, CODECS[codec])
    return str(path)


def scans(work: Path, sound: int, flawed: int, minutes: float, cores: int) -> str:
    """The table; units that are not finished are left out of n."""
    work.mkdir(parents=True, exist_ok=True)
    units = [Unit(FIRST + k, f, c) for k, f in _castings(sound, flawed) for c in SCANNED]
    path_of = partial(_path, work)
    study.make(units, screened, path_of, time.time() + 60 * minutes, cores)
    lines = [
        f"{'':8} {'codec':8} {'n':>3} {'relevant':>8} {'95 %':>14} {'inconclusive':>12} {'nothing':>7} {'modes':>6}  rules that spoke"
    ]
    for f in (False, True):
        for codec in SCANNED:
            mine = [study.read(path_of(u)) for u in units if u.flawed == f and u.codec == codec]
            lines.append(_row("flawed" if f else "sound", codec, [m for m in mine if m]))
    return "\n".join(lines)


def _castings(sound: int, flawed: int) -> list[tuple[int, bool]]:
    """Numbers and whether flawed, in the order in which shares done stay alike."""
    every = [((k + 0.5) / n, k, f) for f, n in ((False, sound), (True, flawed)) for k in range(n)]
    return [(k, f) for _, k, f in sorted(every)]


def _path(work: Path, unit: Unit) -> Path:
    return work / f"{unit.name}.json.gz"


def _row(kind: str, codec: str, told: Sequence[dict[str, Any]]) -> str:
    counts = Counter(t["disposition"] for t in told)
    relevant = counts["relevant indication"]
    low, high = study.clopper_pearson(relevant, len(told))
    rules = Counter(r for t in told for r in t["relevant"])
    spoke = ", ".join(f"{r} {n}" for r, n in rules.most_common()) or "none"
    modes = np.median([t["modes"] for t in told]) if told else np.nan
    return (
        f"{kind:8} {codec:8} {len(told):3} {relevant:8} {100 * low:5.1f} to {100 * high:5.1f} {counts['inconclusive']:12} "
        f"{counts['no relevant indication']:7} {modes:6.0f}  {spoke}"
    )


def detect(castings: int) -> str:
    """Taps at one place of each casting, as WAV from a codec, untouched, and raised from a lower rate."""
    found: dict[tuple[str, int], Counter[str]] = {}
    for rate in RATES_HZ:
        for k in range(castings):
            for name, sound, at in _versions(f"detect {k}", rate):
                found.setdefault((name, rate), Counter())[traces_of(_pieces(sound, at), at) or "none"] += 1
    lines = [f"{'made from':18} {'rate':>6} {'n':>4} {'lossy':>6} {'95 %':>12} {'upsampled':>9} {'none':>5}"]
    for (name, rate), told in found.items():
        n = told.total()
        low, high = study.clopper_pearson(told["lossy"], n)
        lines.append(
            f"{name:18} {rate:6} {n:4} {told['lossy']:6} {100 * low:4.0f} to {100 * high:3.0f} {told['upsampled']:9} {told['none']:5}"
        )
    return "\n".join(lines)


def _versions(casting: str, rate: int) -> list[tuple[str, np.ndarray, int]]:
    (sound,) = sounds_of(casting, False, rate, 1).values()
    lower = [(hz, next(iter(sounds_of(casting, False, hz, 1).values()))) for hz in LOWER_HZ]
    return [
        ("untouched", sound, rate),
        *((name, *round_trip(sound, rate, codec)) for name, codec in CODECS.items()),
        *((f"{hz} Hz, sharp", _rounded(resample(x, len(x) * rate // hz)), rate) for hz, x in lower),
        *((f"{hz} Hz, soft", _rounded(resample_poly(x, rate // 25, hz // 25)), rate) for hz, x in lower),
    ]


def _rounded(sound: np.ndarray) -> np.ndarray:
    return np.asarray(np.round(32767 * np.clip(sound, -1, 1)) / 32768)


def _pieces(sound: np.ndarray, rate: int) -> list[np.ndarray]:
    """After the onset of each tap, as workflow/listen.py takes them."""
    starts = [round((0.1 + TAP_S * k) * rate) for k in range(len(ORDER))]
    return [sound[s : s + round(PIECE_S * rate)] for s in starts]


def _keep(part: str, table: str) -> None:
    """Replace one part of the results' file."""
    parts = dict(p.split("\n", 1) for p in RESULTS.read_text().split("== ")[1:]) if RESULTS.exists() else {}
    parts[part] = f"{study.head('codecs')}\n\n{table}\n\n"
    RESULTS.write_text("".join(f"== {name}\n{text}" for name, text in sorted(parts.items())).rstrip() + "\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("work", type=Path)
    parser.add_argument("part", choices=("scans", "detect"))
    parser.add_argument("--sound", type=int, default=4)
    parser.add_argument("--flawed", type=int, default=2)
    parser.add_argument("--taps", type=int, default=20, help="castings for detect")
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--cores", type=int, default=2)
    given = parser.parse_args(arguments)
    made = (
        scans(given.work, given.sound, given.flawed, given.minutes, given.cores)
        if given.part == "scans"
        else detect(given.taps)
    )
    _keep(given.part, made)
    print(made)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
