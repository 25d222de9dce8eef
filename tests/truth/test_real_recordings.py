"""Real struck sounds against two other roads, sorted before any estimator was tuned.

Reference: reference_recordings/real/provenance.csv (strongest peak of the zero-padded Fourier transform; its
decay by harminv, filter diagonalisation; see bench/real_reference.py). Tolerances, set in advance: 5 cents
and 10 %.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapscan.records import Mode, Screening
from tests.screened import screened as screened_anew
from tests.sounds import T60_NEPER, ring, wav_bytes, written

FOLDER = Path(__file__).parents[2] / "reference_recordings" / "real"
with (FOLDER / "provenance.csv").open(encoding="utf-8") as table:
    ROWS = list(csv.DictReader(table))
LASTING = [r for r in ROWS if r["class"] == "lasting tone"]
OTHERS = [r for r in ROWS if r["class"] == "no lasting tone"]


screened = cache(screened_anew)


def lasting_tones(screening: Screening) -> list[Mode]:
    return [m for m in screening.scan.modes if m.prominent and (m.t60_s or 0.0) > 0.3]


def dominant(screening: Screening) -> Mode:
    return max(lasting_tones(screening), key=lambda m: m.level_db or -999.0)


def name_of(row: dict[str, str]) -> str:
    return row["file"]


def test_both_classes_are_there():
    assert len(LASTING) >= 6
    assert len(OTHERS) >= 6


@pytest.mark.parametrize("row", LASTING, ids=name_of)
def test_dominant_mode_stands_at_the_fourier_peak(row):
    cents = 1200 * np.log2(dominant(screened(FOLDER / row["file"])).frequency_hz / float(row["fourier_peak_hz"]))
    assert cents == pytest.approx(0, abs=5)


@pytest.mark.parametrize("row", LASTING, ids=name_of)
def test_dominant_mode_dies_away_as_harminv_says(row):
    found = dominant(screened(FOLDER / row["file"])).t60_s
    assert found == pytest.approx(float(row["t60_harminv_s"]), rel=0.10)


@pytest.mark.parametrize("row", LASTING, ids=name_of)
def test_a_lasting_tone_is_a_relevant_indication(row):
    screening = screened(FOLDER / row["file"])
    assert screening.disposition == "relevant indication"
    named = {m for i in screening.indications if i.rule == "prominent-ringing" for m in i.modes}
    assert dominant(screening).id in named


@pytest.mark.parametrize("row", OTHERS, ids=name_of)
def test_no_other_sound_has_a_lasting_tone(row):
    screening = screened(FOLDER / row["file"])
    assert lasting_tones(screening) == []
    assert [i for i in screening.indications if i.rule == "prominent-ringing"] == []


@pytest.mark.parametrize("row", ROWS, ids=name_of)
def test_ten_decibels_less_change_no_prominence(row, tmp_path):
    x, rate = soundfile.read(FOLDER / row["file"], always_2d=True)
    quieter = written(tmp_path / row["file"], wav_bytes(x * 10**-0.5, rate, 32, floating=True))
    before, after = (screened(p).scan.modes for p in (FOLDER / row["file"], quieter))
    assert [m.prominent for m in after] == [m.prominent for m in before]
    # cents: an estimate that starts from other rounding ends within its own scatter
    assert [1200 * np.log2(b.frequency_hz / a.frequency_hz) for a, b in zip(before, after, strict=True)] == (
        pytest.approx([0.0] * len(before), abs=1.0)
    )


@pytest.mark.parametrize("name", ["cymbal-closed", "drum-damped-1", "drum-damped-6"])
@pytest.mark.parametrize("low_hz", [437.0, 1903.0])
def test_an_injected_pair_three_linewidths_apart_is_two_modes(name, low_hz, tmp_path):
    x, rate = soundfile.read(FOLDER / f"{name}.flac", always_2d=True)
    x = x[:, 0]
    width = T60_NEPER / 0.5 / np.pi  # Hz: -3 dB width of a mode with T60 0.5 s
    onset = int(np.argmax(np.abs(x) > 0.1 * np.abs(x).max()))
    y = np.zeros(onset + round(1.2 * rate))
    y[: min(len(x), len(y))] = x[: len(y)]
    pair = [(low_hz, 0.5, 0.1), (low_hz + 3 * width, 0.5, 0.1)]
    y[onset:] += np.abs(x).max() * ring((len(y) - onset) / rate, rate, pair)
    path = written(tmp_path / f"{name}.wav", wav_bytes(y, rate, 32, floating=True))
    modes = screened(path).scan.modes
    # A fifth of the linewidth, Hz, and 15 % in T60: the sound's own modes stand beside and under them.
    for f, _, _ in pair:
        near = [m for m in modes if abs(m.frequency_hz - f) < 0.2 * width]
        assert len(near) == 1
        assert near[0].t60_s == pytest.approx(0.5, rel=0.15)
