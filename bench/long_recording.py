"""Peak memory and time of a long recording: one channel, 48 kHz, 16 bit, a tap every 20 s.

    python -m bench.long_recording [HOURS]     exit status 1 where 600 MB are passed

The screening runs in a process of its own, whose peak resident memory the system reports. Not on Windows.
"""

import resource
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from bench import study

RATE, EVERY_S, MOST_MB = 48000, 20, 600
MODES = ((412.0, 0.9), (655.0, 0.7), (1130.0, 0.5), (1720.0, 0.4), (2480.0, 0.3))


def write(path: Path, hours: float) -> None:
    """The same 20 s over and over under slowly changing noise, behind a header of 44 bytes."""
    turns = round(hours * 3600 / EVERY_S)
    t = np.arange(5 * RATE) / RATE
    ring = sum(0.1 * np.exp(-6.9078 / t60 * t) * np.sin(2 * np.pi * f * t) for f, t60 in MODES)
    rng = np.random.default_rng(1)
    size = turns * EVERY_S * RATE * 2
    with path.open("wb") as file:
        file.write(
            b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt " + struct.pack("<IHHII", 16, 1, 1, RATE, 2 * RATE)
        )
        file.write(struct.pack("<HH", 2, 16) + b"data" + struct.pack("<I", size))
        for _ in range(turns):
            x = 1e-3 * rng.standard_normal(EVERY_S * RATE, dtype=np.float32)
            x[RATE : 6 * RATE] += ring
            file.write(np.round(32767 * x).astype("<i2").tobytes())


def main() -> int:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 2.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "S1.wav"
        write(path, hours)
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "tapscan", "check", str(path)], check=True, stdout=subprocess.DEVNULL)
        seconds = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / (1 << (20 if sys.platform == "darwin" else 10))
    faster = 3600 * hours / seconds
    print(study.head())
    print(f"{hours:g} h at {RATE} Hz: peak {peak_mb:.0f} MB, {seconds:.0f} s, {faster:.0f} times real time")
    return int(peak_mb > MOST_MB)


if __name__ == "__main__":
    sys.exit(main())
