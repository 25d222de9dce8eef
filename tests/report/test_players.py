"""What can be listened to in the page of a stored scan: the strikes themselves, and a named tone of the right pitch."""

import base64
import io

import numpy as np
import pytest
import soundfile
from PIL import Image

from tapscan.recording.files import mp3_bytes
from tapscan.report.page import Beside, render_page
from tapscan.report.players import Sound
from tapscan.report.time_frequency import picture_of
from tests.register import built

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
    page = render_page(built.screening(("ab" * 32,)), None, Beside(sounds=sounds))
    assert page.count("<audio controls") == 16
    assert "A &lt;place&gt;" in page and "media-src data:" in page
    assert len(page.encode()) < 3_000_000
    assert 'src="http' not in page


def test_the_picture_is_dark_where_the_tone_is_and_after_it_began():
    """A tone of 1 kHz that begins at half a second, read back from the picture."""
    t = np.arange(2 * RATE) / RATE
    x = np.where(t > 0.5, np.sin(2 * np.pi * 1000 * t) * np.exp(-2 * (t - 0.5)), 0) + 1e-6 * np.cos(np.arange(len(t)))
    uri = picture_of(x, RATE)
    assert uri is not None
    rows = np.asarray(Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2]))))
    high, wide = rows.shape
    darkest = high - 1 - int(rows[:, int(0.6 * wide)].argmin())
    assert np.geomspace(50, 4000, high)[darkest] == pytest.approx(1000, rel=0.03)
    assert rows[:, int(0.1 * wide)].min() > 150 and rows[:, int(0.3 * wide)].min() < 60
    assert picture_of(x[:100], RATE) is None


def test_a_page_of_forty_stations_with_its_sounds_stays_under_six_megabytes():
    rng = np.random.default_rng(1)
    ring = rng.standard_normal(2 * RATE) * np.exp(-3 * np.arange(2 * RATE) / RATE)
    sound = Sound("A change: S1", "S1, this scan", "as recorded", mp3_bytes(0.2 * ring, RATE), picture_of(ring, RATE))
    page = render_page(
        built.screening(("ab" * 32,), modes=180, stations=40, pictures=40), None, Beside(sounds=(sound,) * 16)
    )
    assert len(page.encode()) < 6_000_000
