"""The signs of a mode over the places, from the phases of taps whose time is known to a fraction of a millisecond only."""

import numpy as np

from tapscan.records import Pole, Tone
from tapscan.signal.plate.merging import HeardPole, Joined
from tapscan.signal.plate.signs import with_signs

NO_TONE = Tone(None, None, None, "test")
MODES, PLACES, STRIKES = 40, 12, 3


def joined(seed=0, jitter_s=4e-4, noise=0.02, faint=0.0):
    """Closed-form amplitudes: sign, the sensor's phase, the tap's own time; and the true shapes."""
    rng = np.random.default_rng(seed)
    hz = np.sort(rng.uniform(60, 1500, MODES))
    shape = rng.standard_normal((MODES, PLACES))
    sensor = rng.uniform(0, 2 * np.pi, MODES)
    found = []
    times = rng.uniform(-jitter_s, jitter_s, (PLACES, STRIKES))
    force = np.exp(0.5 * rng.standard_normal((PLACES, STRIKES)))
    for i in range(MODES):
        heard = []
        for p in range(PLACES):
            if abs(shape[i, p]) < faint:
                continue
            turn = np.exp(1j * (sensor[i] + 2 * np.pi * hz[i] * times[p]))
            stray = noise * (rng.standard_normal(STRIKES) + 1j * rng.standard_normal(STRIKES))
            amplitudes = tuple(complex(a) for a in force[p] * (shape[i, p] * turn + stray))
            pole = Pole(hz[i], 0.01, 5.0, 0.1, amplitudes, 30.0)
            db = float(20 * np.log10(abs(shape[i, p])))
            heard.append(HeardPole(f"S{p}", pole, NO_TONE, db, -20.0, 0.1, 2.0))
        found.append(Joined(Pole(hz[i], 0.01, 5.0, 0.1, (), 30.0), heard))
    return found, shape


def test_signs_are_told_from_phases():
    found, shape = joined(faint=0.1)
    told = with_signs(found)
    for one, row in zip(told, shape, strict=True):
        strongest = np.sign(row[np.argmax(np.abs(row))])
        signs = {h.station: h.sign for h in one.heard}
        assert signs == {s: int(np.sign(row[int(s[1:])]) * strongest) for s in signs}


def test_what_lies_across_is_not_told():
    found, _ = joined(noise=30.0)
    told = [h.sign for one in with_signs(found) for h in one.heard]
    assert told.count(None) > 0.3 * len(told)


def test_too_few_modes_or_places_tell_none():
    found, _ = joined()
    assert all(h.sign is None for one in with_signs(found[:4]) for h in one.heard)
    alone = [Joined(one.pole, one.heard[:1]) for one in found]
    assert all(h.sign is None for one in with_signs(alone) for h in one.heard)


def test_nothing_else_of_a_mode_changes():
    found, _ = joined()
    for before, after in zip(found, with_signs(found), strict=True):
        assert after.pole == before.pole
        assert [(h.station, h.amplitude_db) for h in after.heard] == [(h.station, h.amplitude_db) for h in before.heard]
