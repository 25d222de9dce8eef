"""The recorder against what it must never do: lose a tap, take one twice, take talk for one, grow, miss sound.

    python -m bench.recording [--taps 500] [--device SECONDS]     adds to bench/results/recording.txt

Taps (T60 up to 0.2 s, two a second) with talk, steps and spoilt taps in the pauses are fed to the recorder as fast as it takes them. With
--device the same sound runs through PortAudio, ALSA and a PulseAudio sink of its own for so long, beside a process that keeps a core busy;
memory, lost pieces and accepted taps are counted. All sounds are computed; no iron was tapped.
"""

from __future__ import annotations

import argparse
import collections
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from msgspec import Struct

from bench import study
from bench.simulate.nuisance import babble, footsteps
from tapscan.recording.trigger import Trigger
from tapscan.settings import Settings
from tapscan.workflow.judging import judge

RATE = 48000
RESULTS = Path(__file__).parent / "results" / "recording.txt"
GROUP = 12  # taps between two pauses
NEAR_S = 0.02


class Played(Struct, frozen=True, eq=False):
    """Sound with what is in it: onsets of good taps, and (onset, reasons that are right) of spoilt ones."""

    samples: np.ndarray
    good_s: list[float]
    bad: list[tuple[float, frozenset[str]]]


def tap(rng: np.random.Generator, t60_s: float) -> np.ndarray:
    """A blow of 0.4 ms and eight modes."""
    t = np.arange(round(1.5 * t60_s * RATE)) / RATE
    f = np.exp(rng.uniform(np.log(250), np.log(4000), 8))
    rates = 6.9 / (t60_s * np.sqrt(f.min() / f))
    x = sum(rng.uniform(0.3, 1) * np.exp(-d * t) * np.sin(2 * np.pi * g * t) for g, d in zip(f, rates, strict=True))
    x[:19] += 2 * np.sin(np.pi * np.arange(19) / 19)
    return np.asarray(x * rng.uniform(0.1, 0.5) / np.abs(x).max())


def made(count: int, seed: int = 1) -> Played:
    """`count` good taps, in groups; after each group a pause with talk, steps or a spoilt tap."""
    rng = np.random.default_rng(seed)
    parts: list[tuple[float, np.ndarray]] = []
    good, bad, at = [], [], 1.0
    for i in range(count):
        good.append(at)
        parts.append((at, tap(rng, float(rng.uniform(0.08, 0.2)))))
        at += 0.5
        if (i + 1) % GROUP == 0:
            at = _pause(rng, (i // GROUP) % 5, at, parts, bad)
    x = 3e-5 * rng.standard_normal(round((at + 1) * RATE))
    for start, piece in parts:
        first = round(start * RATE)
        x[first : first + len(piece)] += piece[: len(x) - first]
    return Played(np.clip(x, -1, 1), good, bad)


def _pause(rng, kind, at, parts, bad) -> float:  # type: ignore[no-untyped-def]
    start = at + 0.6
    if kind in (0, 1):
        length = 3.0
        count = round(length * RATE)
        piece = (
            0.03 * babble(rng, count, RATE, float(rng.uniform(90, 220)))
            if kind == 0
            else 0.1 * footsteps(rng, count, RATE)
        )
        fade = np.minimum(1, np.arange(count) / (0.03 * RATE))  # talk begins like talk, not with a cut
        parts.append((start, piece * fade))
        return start + length + 1.0
    if kind == 2:
        piece = tap(rng, 0.15)
        later = round(float(rng.uniform(0.03, 0.08)) * RATE)
        both = np.concatenate([piece, np.zeros(later)])
        both[later : later + len(piece)] += 0.8 * piece
        parts.append((start, both))
        bad.append((start, frozenset({"double hit", "crowded"})))
    elif kind == 3:
        parts.append((start, 40 * tap(rng, 0.2)))
        bad.append((start, frozenset({"clipped", "not a tap"})))
    else:
        t = np.arange(round(0.3 * RATE)) / RATE
        parts.append((start, 0.2 * rng.standard_normal(len(t)) * np.exp(-t / 0.03)))
        bad.append((start, frozenset({"thud"})))
    return start + 1.5


class Count(Struct, frozen=True):
    """What the recorder made of it."""

    good: int
    once: int
    twice: int
    lost: int
    false: int
    spoilt: int
    right_reason: int
    wrong: tuple[str, ...]


def heard(played: Played, seconds: float = 0.02) -> list[tuple[float, str | None]]:
    """Onset and reason of every clip."""
    trigger, step, settings = Trigger(RATE, Settings()), round(seconds * RATE), Settings()
    clips = [c for i in range(0, len(played.samples), step) for c in trigger.feed(played.samples[i : i + step])]
    return [(c.at_s, judge(c, settings).refused) for c in clips]


def counted(played: Played, found: list[tuple[float, str | None]], shift_s: float = 0.0) -> Count:
    """Accepted clips against the taps that were played."""
    taken = [t - shift_s for t, reason in found if reason is None]
    near = collections.Counter(i for t in taken for i, g in enumerate(played.good_s) if abs(t - g) < NEAR_S)
    false = sum(all(abs(t - g) >= NEAR_S for g in played.good_s) for t in taken)
    right, wrong = 0, []
    for at, reasons in played.bad:
        said = [r for t, r in found if abs(t - shift_s - at) < 0.1]
        right += bool(said) and all(r in reasons for r in said)
        if not (said and all(r in reasons for r in said)):
            wrong.append(f"{'/'.join(sorted(reasons))}: {said}")
    once, twice = sum(v == 1 for v in near.values()), sum(v > 1 for v in near.values())
    return Count(
        len(played.good_s), once, twice, len(played.good_s) - len(near), false, len(played.bad), right, tuple(wrong)
    )


def lines_of(count: Count, how: str) -> list[str]:
    return [
        f"{how}: {count.good} good taps: accepted once {count.once}, twice {count.twice}, lost {count.lost}; "
        f"taken where none was {count.false}",
        f"{how}: {count.spoilt} spoilt taps: refused for the right reason {count.right_reason}"
        + (f" (else: {'; '.join(count.wrong[:4])})" if count.wrong else ""),
    ]


def through_the_device(seconds: float, count: int) -> list[str]:
    """The same through PulseAudio, in a process of its own whose memory is watched."""
    from tests.audio.conftest import Sink

    with tempfile.TemporaryDirectory() as folder:
        sink = Sink(Path(folder))
        sink.start()
        played = made(count)
        soundfile.write(Path(folder) / "long.wav", played.samples, RATE, subtype="FLOAT")
        (Path(folder) / "clips").mkdir()
        command = [sys.executable, "-m", "tests.audio.hearing", str(seconds), str(Path(folder) / "clips")]
        heard_file = (
            Path(folder) / "heard.txt"
        )  # a pipe that nobody empties would stop the listener after an hour's lines
        with heard_file.open("w", encoding="utf-8") as out:
            child = subprocess.Popen(command, env=sink.env, stdout=out)
        burner = subprocess.Popen(["nice", "-n", "5", sys.executable, "-c", "while True: pass"])
        try:
            rounds, memory = _played(sink, played, child, heard_file, seconds)
            if child.wait():
                raise RuntimeError(f"the listener ended with {child.returncode}")
        finally:
            burner.kill()
            sink.stop()
        told = heard_file.read_text(encoding="utf-8").splitlines()[1:]
    found = [
        (float(a), None if b == "None" else b)
        for a, b in (t.split(maxsplit=1) for t in told if not t.startswith("lost"))
    ]
    accepted = sum(reason is None for _, reason in found)
    lost = next(t for t in told if t.startswith("lost")).split()[1]
    settled = memory[min(len(memory) - 1, 6) :] or [0.0]
    return [
        f"device, {seconds:.0f} s, one core kept busy: {rounds} rounds of {count} good taps, accepted {accepted} of {rounds * count}; "
        f"pieces of sound lost {lost}; memory {min(settled):.0f} to {max(settled):.0f} MB"
    ]


def _played(sink: Any, played: Played, child: Any, heard_file: Path, seconds: float) -> tuple[int, list[float]]:
    """Play it over and over; rounds played, and the listener's memory in MB every 5 s."""
    while "begun" not in heard_file.read_text(encoding="utf-8"):
        if child.poll() is not None:
            raise RuntimeError(f"the listener ended with {child.returncode} before it began")
        time.sleep(0.1)
    began, rounds, memory = time.monotonic(), 0, []
    while time.monotonic() - began < seconds - len(played.samples) / RATE - 3:
        player = sink.play(played.samples, "long.wav")
        while player.poll() is None:
            memory.append(_memory_mb(child.pid))
            time.sleep(5)
        rounds += 1
    return rounds, memory


def _memory_mb(pid: int) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGESIZE") / 1e6


def main() -> None:
    """Print and add to the results."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--taps", type=int, default=500)
    options.add_argument("--device", type=float, default=0.0)
    given = options.parse_args()
    lines = [f"{study.head()}; computed sounds"]
    if given.device:
        lines += through_the_device(given.device, given.taps)
    else:
        played = made(given.taps)
        lines += lines_of(counted(played, heard(played)), "fed as fast as it goes")
    with RESULTS.open("a", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
