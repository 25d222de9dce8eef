"""Strikes cut out of running sound: each once, whole, whatever the blocks; and judged as strikes in files are.

Sounds are closed forms (tests/sounds.py); the talk is bench.simulate's, simulated.
"""

import io

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from bench.simulate.nuisance import babble, footsteps
from tapscan.faults import FAULTS
from tapscan.recording.trigger import Clip, Trigger
from tapscan.settings import Settings
from tapscan.workflow.judging import judge
from tests.sounds import noise, tap, taps_at

RATE = 48000
SHORT = ((412.0, 0.2, 0.10), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))


def clips_of(x: np.ndarray, block: int = 960, rate: int = RATE, lost_at: int | None = None) -> list[Clip]:
    trigger = Trigger(rate, Settings())
    found = []
    for i, start in enumerate(range(0, len(x), block)):
        found += trigger.feed(x[start : start + block], lost=int(i == lost_at))
    return found


def reasons(x: np.ndarray, **more) -> list[str | None]:
    return [judge(c, Settings()).refused for c in clips_of(x, **more)]


def test_every_tap_is_cut_once_with_the_quiet_before_it():
    onsets = [0.6 + 0.5 * i for i in range(12)]
    clips = clips_of(taps_at(onsets, 7.5, modes=SHORT))
    assert [c.at_s for c in clips] == pytest.approx(onsets, abs=0.002)
    for clip in clips:
        assert clip.onset_s == pytest.approx(0.35, abs=0.002)
        assert judge(clip, Settings()).refused is None


def test_the_clip_is_the_sound_itself():
    """To the last bit as it came in, and to half a 24 bit step as it is kept."""
    x = taps_at([0.7], 3.0).astype(np.float32)
    (clip,) = clips_of(x)
    first = round((clip.at_s - clip.onset_s) * RATE)
    assert np.array_equal(clip.samples, x[first : first + len(clip.samples)])
    back, rate = soundfile.read(io.BytesIO(judge(clip, Settings()).content))
    assert rate == RATE
    assert np.abs(back - clip.samples).max() <= 2.0**-23


@effort(max_examples=15, deadline=None)
@given(st.integers(1, 20_000), st.sampled_from([16000, 44100, 48000]))
def test_blocks_of_any_length_give_the_same_clips(block, rate):
    x = taps_at([0.6, 1.4], 2.6, rate, modes=SHORT)
    one, other = clips_of(x, len(x), rate), clips_of(x, block, rate)
    assert [c.at_s for c in one] == [c.at_s for c in other]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(one, other, strict=True))


def test_a_long_ring_ends_at_the_noise_or_after_four_seconds():
    lasting = ((400.0, 20.0, 0.2), (900.0, 20.0, 0.2))
    (clip,) = clips_of(taps_at([0.7], 6.0, modes=lasting))
    assert len(clip.samples) / RATE == pytest.approx(4.35, abs=0.01)
    (short,) = clips_of(taps_at([0.7], 6.0, modes=SHORT))
    assert len(short.samples) / RATE < 1.0


@pytest.mark.parametrize("seed", range(4))
def test_nothing_in_noise(seed):
    assert clips_of(noise(6, RATE, 10 ** (-seed - 1), seed)) == []


CASES = {
    "clipped": (lambda: np.clip(8 * taps_at([0.7], 3.0), -0.9, 0.9), "clipped"),
    "weak": (lambda: taps_at([0.7], 3.0) + 0.06 * np.sin(2 * np.pi * 100 * np.arange(3 * RATE) / RATE), "weak"),
    "double": (lambda: taps_at([0.7, 0.76], 3.0), "double hit"),
    "still ringing": (
        lambda: taps_at([0.7, 1.2], 8.0, modes=((400.0, 2.5, 0.1), (900.0, 2.0, 0.1)), knock=0.6),
        "cut off",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_what_is_refused_and_why(case):
    made, reason = CASES[case]
    assert reason in reasons(made())
    assert reason in FAULTS


def test_a_hole_in_the_sound_is_refused():
    x = taps_at([0.7], 3.0)
    assert reasons(x, block=960, lost_at=40) == ["lost"]
    assert reasons(x, block=960, lost_at=5) == [None]


def test_while_deaf_nothing_is_heard_and_before_and_afterwards_all():
    trigger = Trigger(RATE, Settings())
    x = taps_at([0.7, 1.6, 2.5], 3.5, modes=SHORT)
    cut = round(0.65 * RATE)
    found = trigger.feed(x[:cut])
    trigger.deaf_between(0.85, 1.1)
    assert trigger.deaf
    found += trigger.feed(x[cut:])
    assert [c.at_s for c in found] == pytest.approx([0.7, 2.5], abs=0.002)
    assert not trigger.deaf


@pytest.mark.parametrize("seed", range(6))
def test_talk_and_steps_are_never_taken_for_strikes(seed):
    rng = np.random.default_rng(seed)
    count = 8 * 16000
    talk = 0.05 * babble(rng, count, 16000, float(rng.uniform(90, 220))) + noise(8, 16000, 1e-4, seed)
    assert None not in reasons(talk, rate=16000, block=320)


def test_steps_are_dull_and_refused_or_not_heard():
    rng = np.random.default_rng(3)
    steps = footsteps(rng, 8 * 16000, 16000) * 0.02 + noise(8, 16000, 1e-4)
    assert None not in reasons(steps, rate=16000, block=320)


def test_hot_taps_after_the_trigger_learnt_the_room():
    """The first third of a second is for learning the noise: a tap within it is not cut, later ones are."""
    x = taps_at([0.1, 1.2], 3.0, modes=SHORT)
    assert [c.at_s for c in clips_of(x)] == pytest.approx([1.2], abs=0.002)


def test_tap_helper_is_a_tap():
    assert reasons(np.concatenate([noise(0.7, RATE, 1e-4), tap(2.0, RATE) + noise(2.0, RATE, 1e-4, 2)])) == [None]


def test_digital_silence_is_not_learnt_as_the_room():
    """A muted input, then the room and two taps: the taps, and not the room, are what is cut."""
    x = taps_at([1.5, 2.2], 3.2, modes=SHORT)
    x = np.concatenate([np.zeros(2 * RATE), x])
    assert [c.at_s for c in clips_of(x)] == pytest.approx([3.5, 4.2], abs=0.002)
