"""What can be listened to in the page of a stored scan: the strikes themselves, and a named tone of the right pitch."""

import io

import numpy as np
import pytest
import soundfile

from tapscan.recording.files import mp3_bytes
from tapscan.report.extras import Extras, Sound
from tapscan.report.page import render_page
from tapscan.report.time_frequency import time_frequency_of
from tests.register import built

pytestmark = pytest.mark.usefixtures("drawn_once")

RATE = 44100


@pytest.mark.parametrize("rate", [8000, 44100, 48000, 50000, 96000, 192000])
def test_a_tone_keeps_its_pitch_and_length_through_mp3(rate):
    t = np.arange(rate) / rate
    back, got = soundfile.read(io.BytesIO(mp3_bytes(0.5 * np.sin(2 * np.pi * 700 * t), rate)))
    peak = np.fft.rfftfreq(len(back), 1 / got)[np.argmax(np.abs(np.fft.rfft(back * np.hanning(len(back)))))]
    assert peak == pytest.approx(700, abs=2)
    assert len(back) / got == pytest.approx(1, abs=0.12)


def test_forty_players_stay_small_and_inside_the_page():
    tone = 0.5 * np.sin(2 * np.pi * 440 * np.arange(2 * RATE) / RATE)
    sounds = tuple(Sound("A <place>", f"S{i}, this scan", "as recorded", mp3_bytes(tone, RATE)) for i in range(16))
    page = render_page(built.screening(("ab" * 32,)), None, Extras(sounds=sounds))
    assert page.count("<audio controls") == 16
    assert "A &lt;place&gt;" in page and "media-src data:" in page
    assert len(page.encode()) < 3_000_000
    assert 'src="http' not in page


def test_the_levels_are_high_where_the_tone_is_and_after_it_began():
    """A tone of 1 kHz that begins half a second in, the onset said to be there."""
    t = np.arange(2 * RATE) / RATE
    x = np.where(t > 0.5, np.sin(2 * np.pi * 1000 * t) * np.exp(-2 * (t - 0.5)), 0) + 1e-6 * np.cos(np.arange(len(t)))
    found = time_frequency_of(x, RATE, 0.5)
    assert found is not None
    ringing = found.level_db[:, np.searchsorted(found.time_s, 0.4)]
    assert found.frequency_hz[ringing.argmax()] == pytest.approx(1000, rel=0.03)
    assert found.level_db[:, np.searchsorted(found.time_s, -0.2)].max() < -60 < -10 < ringing.max()
    fall = np.interp([0.2, 1.0], found.time_s, found.level_db.max(axis=0))
    assert fall[0] - fall[1] == pytest.approx(0.8 * 2 * 20 / np.log(10), abs=0.5)
    assert time_frequency_of(x[:100], RATE, 0.0) is None


@pytest.mark.parametrize("hz", [60.0, 250.0, 500.0, 2000.0])
def test_a_steady_tone_reads_alike_through_every_window(hz):
    t = np.arange(2 * RATE) / RATE
    found = time_frequency_of(np.sin(2 * np.pi * hz * t) + np.sin(2 * np.pi * 3500 * t), RATE, 0.0)
    assert found is not None
    row = np.abs(found.frequency_hz - hz).argmin()
    assert found.level_db[row - 1 : row + 2, 80].max() == pytest.approx(
        0, abs=1.5
    )  # rows lie up to 2 % beside the tone


def test_a_page_of_forty_stations_with_its_sounds_stays_under_six_megabytes():
    rng = np.random.default_rng(1)
    ring = rng.standard_normal(2 * RATE) * np.exp(-3 * np.arange(2 * RATE) / RATE)
    sound = Sound(
        "A change: S1", "S1, this scan", "as recorded", mp3_bytes(0.2 * ring, RATE), time_frequency_of(ring, RATE, 0.0)
    )
    page = render_page(
        built.screening(("ab" * 32,), modes=180, stations=40, pictures=40), None, Extras(sounds=(sound,) * 16)
    )
    assert len(page.encode()) < 6_000_000
