"""Where the partials of a piano's strings lie.

KEYS, key_name(k), key_number(text)    88 keys, 0 is A0; names with sharps, middle C is C4
key_words(name)                        where to find it on the keyboard
usual_stiffness(key)                   B of f_n = n f0 sqrt(1 + B n^2) (Fletcher, J. Acoust. Soc. Am. 36 (1964) 203, from memory)
usual_tuning()                         (88,) first partials in Hz, A4 = 440 Hz, octaves stretched as B asks
partials(first_hz, stiffness, count)   (count,) Hz

B along the keyboard: the mean of measured pianos by Rigaud, David and Daudet, J. Acoust. Soc. Am. 133 (2013) 3107 (two straight lines of ln B over the key; figures from
memory; at middle C 3.1e-4 beside Young's 3.5e-4, J. Acoust. Soc. Am. 24 (1952) 267). A small piano has two to three times more.
"""

import re
from typing import Any

import numpy as np

from tapscan.errors import WrongUsage
from tapscan.records import FloatArray

KEYS = 88
A4_KEY, A4_HZ = 48, 440.0
MIDI_OF_KEY_0 = 21
TREBLE_LINE, BASS_LINE = (0.0926, -13.64), (-0.0847, -5.82)  # slope per key, ln B at MIDI note 0
SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
NAME = re.compile(r"([a-g])([#b♯♭]?)([0-8])", re.IGNORECASE)
BEATLESS = ((20, 3), (44, 2))  # keys below which an octave is tuned 6:3 and 4:2; above 2:1 (common practice)


def key_name(key: int) -> str:
    """Such as C#4."""
    midi = key + MIDI_OF_KEY_0
    return f"{SHARPS[midi % 12]}{midi // 12 - 1}"


def key_number(text: str) -> int:
    """0 to 87. Raises WrongUsage for what is no key."""
    found = NAME.fullmatch(text.strip())
    if found:
        bend = {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(found[2], 0)
        key = STEPS[found[1].lower()] + bend + 12 * (int(found[3]) + 1) - MIDI_OF_KEY_0
        if 0 <= key < KEYS:
            return key
    raise WrongUsage(f"{text.strip()!r} is no key; write A0 to C8, such as A3, C#4 or Bb2 (middle C is C4)")


def key_words(name: str) -> str:
    """For one who looks for it."""
    key = key_number(name)
    besides = {key_number("C4"): ", middle C", 0: ", the lowest", KEYS - 1: ", the highest"}.get(key, "")
    return f"{'black' if '#' in key_name(key) else 'white'} key, number {key + 1} of {KEYS} from the left{besides}"


def usual_stiffness(key: Any) -> FloatArray:
    """(n,) B of keys (n,), good to a factor of three."""
    midi = np.asarray(key) + MIDI_OF_KEY_0
    return np.asarray(sum(np.exp(slope * midi + start) for slope, start in (TREBLE_LINE, BASS_LINE)))


def usual_tuning() -> FloatArray:
    """(88,) first partials in Hz, octaves without beats between the partials that tuners listen to."""
    key = np.arange(KEYS, dtype=float)
    stiff = usual_stiffness(key)
    low = np.arange(KEYS - 12)
    upper = np.select([low < edge for edge, _ in BEATLESS], [ratio for _, ratio in BEATLESS], 1)
    own, above = stiff[low], stiff[low + 12]
    octave = 1 + 0.5 * np.log2((1 + own * 4 * upper**2) / (1 + own) * (1 + above) / (1 + above * upper**2))
    up = np.concatenate([[0.0], np.cumsum(np.interp(key[:-1] + 0.5, low + 6, octave) / 12)])
    return np.asarray(A4_HZ * 2.0 ** (up - up[A4_KEY]))


def partials(first_hz: Any, stiffness: Any, number: Any) -> FloatArray:
    """(n,) frequencies of partials `number` (halves too) of strings whose first partial is `first_hz`, broadcast."""
    return np.asarray(number * first_hz * np.sqrt((1 + stiffness * number**2) / (1 + stiffness)))
