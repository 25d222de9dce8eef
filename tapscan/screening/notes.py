"""Nearest note name of a mode, A4 = 440 Hz, equal temperament (ISO 16:1975).

with_notes(modes)   the same modes with `note` and `cents` filled in
"""

from collections.abc import Sequence
from dataclasses import replace

from tapscan.records import Mode


def with_notes(modes: Sequence[Mode]) -> tuple[Mode, ...]:
    """Note and deviation in cents (-50..50) for each mode."""
    if not modes:
        return ()
    import librosa

    numbers = librosa.hz_to_midi([m.frequency_hz for m in modes])
    names = librosa.midi_to_note(numbers.round(), unicode=False)
    return tuple(
        replace(m, note=str(name), cents=float(100 * (number - round(float(number)))))
        for m, name, number in zip(modes, names, numbers, strict=True)
    )
