"""Bad input: unreadable is an error, useless is inconclusive, the other files are still screened."""

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tapscan.workflow.check import Request, check
from tests.cli.commands import run
from tests.screened import screened
from tests.snapshots import same_as_before
from tests.sounds import encoded, noise, ring, taps_at, wav_bytes, written

RATE = 48000


@cache
def two_taps() -> np.ndarray:
    return taps_at([0.5, 2.5], 4, RATE)


def crowd(seconds: float) -> np.ndarray:
    """A ring in which no tone stands out: 60 modes of one loss factor."""
    f = np.geomspace(150, 5000, 60) * (1 + 0.01 * np.sin(np.arange(60) * 2.4))
    return ring(seconds, RATE, [(float(g), 2.2 / (0.005 * g), 0.01) for g in f])


def in_crowd(onsets: list[float], seconds: float) -> np.ndarray:
    x, one = noise(seconds, RATE, 1e-4), crowd(seconds)
    for onset in onsets:
        first = round(onset * RATE)
        x[first:] += one[: len(x) - first]
    return x


def hum(f: float) -> np.ndarray:
    t = np.arange(4 * RATE) / RATE
    return 0.3 * np.sin(2 * np.pi * f * t) + 0.03 * np.sin(2 * np.pi * 3 * f * t)


USELESS = {  # made when the test runs
    "silence": (lambda: np.zeros(4 * RATE), "silence", "microphone"),
    "constant": (lambda: np.full(4 * RATE, 0.3), "constant offset", "microphone"),
    "clipped": (lambda: np.clip(1000 * two_taps(), -1, 1 - 2**-15), "clipped", "[Tt]urn the input down"),
    "clipped noise": (
        lambda: np.clip(noise(4, RATE, 3.0), -1, 1 - 2**-15),
        "clipped throughout",
        "turn the input down",
    ),
    "clipped taps": (lambda: np.clip(20 * two_taps(), -1, 1 - 2**-15), "clipped", "[Tt]urn the input down"),
    "noise": (lambda: noise(4, RATE, 0.05), "no tap", "tap the iron"),
    "hum 50": (lambda: hum(50), "50 Hz mains hum", "away from leads"),
    "hum 60": (lambda: hum(60), "60 Hz mains hum", "away from leads"),
    "pure hum": (
        lambda: 0.3 * np.sin(2 * np.pi * 50 * np.arange(4 * RATE) / RATE),
        "50 Hz mains hum",
        "away from leads",
    ),
    "close": (lambda: in_crowd(list(np.arange(0.3, 3.8, 0.15)), 4), "too closely", "three seconds"),
    "one sample": (lambda: np.array([0.5]), "No tap", "microphone"),
}


@pytest.mark.parametrize("name", USELESS)
def test_useless_recordings_are_inconclusive_with_reason_and_remedy(name, tmp_path):
    made, reason, remedy = USELESS[name]
    screening = screened(written(tmp_path / f"{name}.wav", wav_bytes(made(), RATE)))
    assert screening.disposition == "inconclusive"
    words = " ".join([screening.summary, *screening.next_steps])
    assert reason in words
    assert any(r in words for r in (remedy, remedy.replace("[Tt]", "T"), remedy.replace("[Tt]", "t")))


def test_talk_is_not_called_a_hammer_that_touched_twice():
    """A voice that a program spoke: nobody can mend it by letting the hammer bounce."""
    told = screened(Path(__file__).parents[1] / "onsite" / "talk.flac")
    assert len(told.scan.strikes) > 5
    assert all("not a tap" in s.faults and "double hit" not in s.faults for s in told.scan.strikes)
    words = " ".join([told.summary, *told.limitations, *told.next_steps])
    assert "talk or handling" in words and "hammer" not in words and "three seconds between taps" not in words


@pytest.mark.parametrize("live", [0, 1])
@pytest.mark.parametrize("made", [np.zeros, lambda count: np.full(count, 0.2), lambda _: noise(4, RATE, 1e-4, 9)])
def test_the_live_channel_is_used(live, made, tmp_path):
    dead = made(len(two_taps()))
    pair = np.stack([two_taps(), dead] if live == 0 else [dead, two_taps()], axis=1)
    scan = screened(written(tmp_path / "two.wav", wav_bytes(pair, RATE))).scan
    assert scan.recordings[0].channel_used == live
    assert len(scan.strikes) == 2
    if np.ptp(dead) == 0:
        assert scan.recordings[0].faults == (f"channel {2 - live} is dead",)


def test_same_content_counts_once_and_is_noted(tmp_path):
    first = written(tmp_path / "S1_1.wav", wav_bytes(two_taps(), RATE))
    second = written(tmp_path / "S2_1.wav", wav_bytes(two_taps(), RATE))
    result = check([str(first), str(second)], Request())
    assert result.screening is not None
    assert len(result.screening.scan.recordings) == 1
    assert len(result.screening.scan.strikes) == 2
    (told,) = result.repeated
    assert told.index(str(second)) < told.index(str(first))
    same_as_before("scan-import", told, {str(second): "SECOND", str(first): "FIRST"}, part="a file given twice")
    assert result.repeated[0] in result.screening.assignment


def as_a_command(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """A process of its own, as a person starts it; the other tests run the same `main` inside this one (`commands.run`)."""
    command = [sys.executable, "-m", "tapscan", *map(str, words)]
    return subprocess.run(
        command,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "COLUMNS": "100"},
    )


def test_good_beside_bad_is_still_screened(tmp_path):
    good = written(tmp_path / "S1.wav", wav_bytes(two_taps(), RATE))
    bad = written(tmp_path / "S2.wav", wav_bytes(two_taps(), RATE)[:1000])
    done = as_a_command("check", good, bad, tmp_path / "S3.wav", "--json", "-")
    assert done.returncode == 1
    lines = done.stderr.splitlines()
    assert len(lines) == 2
    assert "S2.wav: is cut off" in lines[0]
    assert "S3.wav: is not there" in lines[1]
    assert [Path(r["file"]).name for r in json.loads(done.stdout)["recordings"]] == ["S1.wav"]


@pytest.mark.parametrize("ending", ["wav", "mp3", "m4a", "aac", "ogg", "flac", "aiff"])
def test_unreadable_is_one_line_and_status_1_and_writes_nothing(tmp_path, ending):
    path = written(tmp_path / f"S1.{ending}", np.random.default_rng(5).bytes(5000))
    done = run("check", path, "--json", tmp_path / "out.json", "--report", tmp_path / "out.html")
    assert done.status == 1
    assert done.out == ""
    (line,) = done.err.splitlines()
    assert f"S1.{ending}" in line
    assert "Traceback" not in line
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"S1.{ending}"]


def test_a_cut_mp3_is_one_line(tmp_path):
    content = encoded(np.tile(two_taps(), 2), RATE, "mp3")
    done = run("check", written(tmp_path / "S1.mp3", content[: len(content) // 2]))
    assert done.status == 1
    assert len(done.err.splitlines()) == 1


@pytest.mark.parametrize(("strict", "status"), [((), 0), (("--strict",), 4)])
def test_useless_is_no_error_unless_strict(tmp_path, strict, status):
    path = written(tmp_path / "S1.wav", wav_bytes(np.zeros(RATE), RATE))
    done = run("check", path, *strict)
    assert done.status == status
    assert done.err == ""
    assert "Repeat the test" in done.out


def test_strict_tells_a_relevant_indication(tmp_path):
    done = run("check", written(tmp_path / "S1.wav", wav_bytes(two_taps(), RATE)), "--strict")
    assert done.status == 3
    assert "Something to look at" in done.out


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("--no-such-option",), 2),
        (("--per-station", "0"), 2),
        (("--state", "shiny"), 1),
        (("--layout", "gran"), 1),
        (("--order", "soft,loud"), 1),
        (("--json", "nowhere/out.json"), 1),
        (("--settings", "nowhere.toml"), 1),
    ],
)
def test_wrong_words_are_refused_without_a_traceback(tmp_path, words, status):
    done = run("check", written(tmp_path / "S1.wav", wav_bytes(np.zeros(RATE), RATE)), *words)
    assert done.status in (status, 2)
    assert "Traceback" not in done.err
    assert done.err


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be given to a Windows file")
def test_a_name_with_line_breaks_and_colours_stays_on_one_line(tmp_path):
    path = written(tmp_path / "two\nlines\x1b[31m.wav", b"no sound")
    done = run("check", path)
    assert len(done.err.splitlines()) == 1
    assert "\x1b" not in done.err
