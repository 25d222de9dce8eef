"""What is told from the bands of a scan in a room: for how long it rings, and one mode that two bands tell."""

import numpy as np
import pytest

from tapscan.records import Pole, RoomRing
from tapscan.screening.limitations import limitations
from tapscan.settings import Settings
from tapscan.signal.fit.state_space import StateFit
from tapscan.signal.fit.subbands import Band, Spectra
from tapscan.signal.plate import room_fit as reverberant
from tapscan.signal.plate.room_fit import RoomBand, narrowed, patterned, room_band, room_poles, room_ring
from tests.rule_scans import mode, scan

RATE, SECONDS, STRIKES = 8000, 1.5, 24


def band_of(driven, rate_hz=60.0, low_hz=200.0, rank=3):
    none = np.zeros((0, 0), complex)
    fit = StateFit(np.zeros(0, complex), np.zeros(0), none, none, np.asarray(driven), rank)
    return RoomBand(Band(low_hz, low_hz + 40), fit, rate_hz, low_hz, np.ones(1), Spectra(np.zeros((1, 100)), 100))


def falling(t60_s, level=1e9, rate_hz=60.0):
    return level * 10 ** (-6 * np.arange(90) / rate_hz / t60_s) + 6.0


def test_the_rooms_decay_is_read_off_what_drives_the_modes():
    """Truth: 60 dB in 0.5, 0.6 and 0.8 s by construction."""
    ring = room_ring([band_of(falling(t)) for t in (0.5, 0.6, 0.8)], 0.01)
    assert ring.share_db == pytest.approx(-20.0)
    assert ring.t60_s == pytest.approx(0.6, rel=0.01)
    assert (ring.t60_low_s, ring.t60_high_s) == (pytest.approx(0.55, rel=0.02), pytest.approx(0.7, rel=0.02))
    short = room_ring([band_of(falling(0.6)), band_of(np.ones(90))], 0.01)
    assert short.t60_s is None
    assert short.t60_reason.endswith(": 1")


def test_places_struck_alike_have_too_few_patterns():
    rng = np.random.default_rng(6)
    noise = (rng.standard_normal((300, 24, 2)) @ [1, 1j]) / 2**0.5
    rings = 1e3 * rng.standard_normal((300, 12))
    assert patterned(rings @ rng.standard_normal((12, 24)) + noise)
    assert not patterned(rings @ np.tile(rng.standard_normal((12, 3)), 8) + noise), "three taps, told of eight places"
    assert not patterned(noise)


def test_bands_are_cut_so_that_the_strikes_can_tell_their_modes():
    parts = narrowed([Band(1000.0, 1150.0)], 24)
    assert [(p.low_hz, p.high_hz) for p in parts] == [(1000.0, 1075.0), (1075.0, 1150.0)]
    assert narrowed([Band(1000.0, 1150.0)], 60) == [Band(1000.0, 1150.0)]


def rung(frequency_hz, decay_rate_per_s, rng, noise=1e-3):
    """Strikes of one mode each of its own strength at sample 0, in white noise."""
    t = np.arange(round(RATE * SECONDS)) / RATE
    strength = rng.standard_normal((STRIKES, 1))
    ring = strength * np.cos(2 * np.pi * frequency_hz * t) * np.exp(-decay_rate_per_s * t)
    return strength[:, 0], ring + noise * rng.standard_normal(ring.shape)


def test_a_mode_at_the_edge_of_two_bands_is_told_once_with_its_amplitudes():
    strength, samples = rung(240.0, 4.0, np.random.default_rng(1))
    spectra, scale = Spectra(samples, RATE), np.full(STRIKES, 1e3)
    bands = []
    for band in (Band(200.0, 240.0), Band(240.0, 280.0)):
        reach = reverberant.MARGIN * band.width_hz
        bins, values = spectra.bins(band.low_hz - reach, band.high_hz + reach)
        bands.append(room_band(band, bins, values * scale, scale, spectra))
    assert all(len(reverberant._poles(b, 10.0)) == 1 for b in bands), "each band tells it"
    ((_, pole),) = room_poles(bands, 10.0)
    assert pole.frequency_hz == pytest.approx(240.0, abs=0.01)
    assert pole.decay_rate_per_s == pytest.approx(4.0, rel=0.06)  # the cut of the band is one more thing that drives it
    assert np.array(pole.amplitudes).real == pytest.approx(strength, abs=0.05 * np.abs(strength).max())


def told(z_sd):
    """One band with one mode at 210 Hz, decay 5 /s, loud, whose pole is known so well."""
    z = np.exp((-5 + 2j * np.pi * 10) / 60 * np.ones(1))
    course = 1e3 * z[:, None] ** np.arange(60)
    energy = np.ones(59)
    fit = StateFit(z, np.array([z_sd]), np.ones((24, 1)) / 24**0.5 + 0j, course, energy, 1)
    return RoomBand(Band(200.0, 240.0), fit, 60.0, 200.0, np.ones(24), Spectra(np.zeros((24, 8000)), 8000))


def test_a_mode_known_worse_than_half_its_width_is_none():
    """Linewidth 5 / pi = 1.59 Hz; an error of log z times 60 / 2 pi is one of the frequency."""
    half = 0.5 * 5 / np.pi * 2 * np.pi / 60
    ((_, pole),) = room_poles([told(0.99 * half)], 10.0)
    assert pole.frequency_hz == pytest.approx(210.0)
    assert pole.frequency_sd_hz == pytest.approx(0.99 * 0.5 * 5 / np.pi)
    assert pole.decay_rate_per_s == pytest.approx(5.0)
    assert room_poles([told(1.01 * half)], 10.0) == []


def test_two_modes_so_near_of_unlike_pattern_stay_two():
    rng = np.random.default_rng(2)
    one, other = (tuple(rng.standard_normal(20) + 0j) for _ in range(2))
    a, b = Pole(240.0, 0.01, 4.0, 0.1, one, 30.0), Pole(240.5, 0.01, 4.0, 0.1, other, 30.0)
    assert not reverberant._same(a, b)
    assert reverberant._same(a, Pole(240.5, 0.01, 4.0, 0.1, one, 30.0))
    assert not reverberant._same(a, Pole(245.0, 0.01, 4.0, 0.1, one, 30.0))


def test_a_room_is_said_with_its_decay():
    (said,) = [
        s
        for s in limitations(scan([mode("M1", 300.0)], room=RoomRing(-20.0, 0.72, 0.61, 0.78)), Settings())
        if "Another sound continued" in s
    ]
    assert "0.61 to 0.78 s" in said
    assert not [s for s in limitations(scan([mode("M1", 300.0)]), Settings()) if "Another sound continued" in s]
