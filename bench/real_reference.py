"""Sort the real recordings into lasting tone / no lasting tone, by roads that are not tapscan's.

    python -m bench.real_reference FOLDER_OF_THE_PACKAGE     copies the sounds and writes provenance.csv

First road: the strongest peak of the zero-padded Fourier transform from the loudest sample on (above 60 Hz,
strongest channel). Its decay twice: by harminv (Debian; filter diagonalisation; the strongest in energy
within 5 cents of the peak) and by pyroomacoustics' decay-curve fit (20 dB range) on a band of 6 % around the
peak. Where both times to -60 dB are over 0.3 s the sound is a lasting tone, where both are under it is not;
where they disagree on that, or by more than 15 % on a lasting tone, the sound serves for nothing and is
left out, as are clipped sounds and such as hold several blows. Run before any estimator was tuned.
"""

import csv
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import soundfile
from pyroomacoustics.experimental import measure_rt60
from scipy import signal

REAL = Path(__file__).parents[1] / "reference_recordings" / "real"
SOUNDS = {
    "bell-small": ("perc_bell", "struck metal: a small bell", "AlaskaRobotics/sounds/221515"),
    "bell-large": (
        "perc_bell2",
        "struck metal: a larger bell, its clapper touches twice",
        "hullum/sounds/415559",
    ),
    "cymbal-closed": (
        "drum_cymbal_closed",
        "struck metal: two cymbals pressed together",
        "menegass/sounds/100053",
    ),
    "drum-open-1": ("tabla_tun1", "struck drum, wooden shell, open stroke", "dio_333/sounds/130416"),
    "drum-open-2": ("tabla_tun2", "struck drum, wooden shell, open stroke", "dio_333/sounds/130419"),
    "drum-open-3": ("tabla_tun3", "struck drum, wooden shell, open stroke", "dio_333/sounds/130420"),
    "drum-rim-1": ("tabla_na_o", "struck drum, wooden shell, rim stroke left open", "dio_333/sounds/130422"),
    "drum-rim-2": ("tabla_na", "struck drum, wooden shell, rim stroke", "dio_333/sounds/130421"),
    "drum-damped-1": ("tabla_na_s", "struck drum, wooden shell, damped", "dio_333/sounds/130428"),
    "drum-damped-2": ("tabla_re", "struck drum, wooden shell, damped", "dio_333/sounds/130427"),
    "drum-damped-3": ("tabla_te1", "struck drum, wooden shell, damped", "dio_333/sounds/130429"),
    "drum-damped-4": ("tabla_te_m", "struck drum, wooden shell, damped", "dio_333/sounds/130415"),
    "drum-damped-5": ("tabla_te_ne", "struck drum, wooden shell, damped", "dio_333/sounds/130417"),
    "drum-damped-6": ("tabla_dhec", "struck drum, wooden shell, damped", "dio_333/sounds/130407"),
}
LASTING_S = 0.3
FIVE_CENTS = 2 ** (5 / 1200) - 1


def fourier_peak(x: np.ndarray, rate: int) -> tuple[float, np.ndarray]:
    """Frequency of the strongest peak, and the sound from its loudest sample on."""
    y = x[int(np.abs(x).argmax()) :]
    size = 1 << int(np.ceil(np.log2(len(y) * 8)))
    spectrum = np.abs(np.fft.rfft(y, size))
    f = np.fft.rfftfreq(size, 1 / rate)
    spectrum[f < 60] = 0
    return float(f[spectrum.argmax()]), y


def t60_by_curve(y: np.ndarray, rate: int, f: float) -> float:
    """pyroomacoustics' fit to the energy decay curve of the band."""
    width = max(30.0, 0.06 * f)
    sos = signal.butter(4, [max(20.0, f - width / 2), f + width / 2], "band", fs=rate, output="sos")
    pad = np.zeros(rate // 10)
    band = signal.sosfiltfilt(sos, np.concatenate([pad, y, pad]))[len(pad) : -len(pad)]
    return float(measure_rt60(band, rate, decay_db=20))


def t60_by_harminv(y: np.ndarray, rate: int, f: float) -> float | None:
    """harminv's mode of the largest energy within five cents of the peak."""
    text = "\n".join(f"{v:.9g}" for v in y[: 3 * rate])
    run = subprocess.run(
        ["harminv", "-t", str(1 / rate), f"{0.97 * f}-{1.03 * f}"],
        input=text,
        capture_output=True,
        text=True,
        check=True,
    )
    rows = [[float(v) for v in line.split(",")] for line in run.stdout.splitlines()[1:]]
    near = [r for r in rows if abs(r[0] / f - 1) < FIVE_CENTS and r[1] > 0]
    if not near:
        return None
    best = max(near, key=lambda r: r[3] ** 2 / r[1])
    return 3 * np.log(10) / best[1]


def row(name: str, source: Path) -> dict[str, object]:
    """One line of the provenance file."""
    sample, what, link = SOUNDS[name]
    shutil.copyfile(source / f"{sample}.flac", REAL / f"{name}.flac")
    x, rate = soundfile.read(REAL / f"{name}.flac", always_2d=True)
    f, y = fourier_peak(x[:, (x**2).sum(axis=0).argmax()], rate)
    curve, poles = t60_by_curve(y, rate, f), t60_by_harminv(y, rate, f)
    lasting = curve > LASTING_S and (poles or 0) > LASTING_S
    return {
        "file": f"{name}.flac",
        "class": "lasting tone" if lasting else "no lasting tone",
        "fourier_peak_hz": f"{f:.2f}",
        "t60_decay_curve_s": f"{curve:.3f}",
        "t60_harminv_s": "" if poles is None else f"{poles:.3f}",
        "what": what,
        "sample": sample,
        "origin": "https://freesound.org/people/" + link,
        "licence": "CC0 1.0",
        "package": "Debian sonic-pi-samples 3.2.2~repack-8",
    }


def main(folder: str) -> None:
    """Copy, measure, write."""
    REAL.mkdir(parents=True, exist_ok=True)
    rows = [row(name, Path(folder)) for name in SOUNDS]
    with (REAL / "provenance.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    for r in rows:
        print(r["file"], r["class"], r["fourier_peak_hz"], r["t60_decay_curve_s"], r["t60_harminv_s"])


if __name__ == "__main__":
    main(sys.argv[1])
