"""What can be listened to in the page of a stored scan: the strikes themselves, and a named tone of the right pitch."""

import io

import numpy as np
import pytest
import soundfile

from tapscan.recording.files import mp3_bytes
from tapscan.report.page import Beside, render_page
from tapscan.report.players import Sound
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
