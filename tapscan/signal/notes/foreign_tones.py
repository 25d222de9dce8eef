"""Tones that come again after one note and another, and belong to no damped string.

    foreign_tones(notes, pitch, settings)   ForeignTone after ForeignTone, most notes first

Tones of different notes are one where their frequencies lie within part of a linewidth, or within their errors, and their decays agree. A tone at a partial of the key that was
played does not count: that string may ring by itself. Where the same holds for two tones or more at partials of one key, its damper may leak.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec.structs import replace

from tapscan.records import FloatArray
from tapscan.records.notes import ForeignTone, PlayedNote, RingingTone
from tapscan.settings import Settings
from tapscan.signal.notes.hear_notes import keyboard_partials
from tapscan.signal.notes.strings import KEYS, key_name, key_number

LINEWIDTHS = 2.0  # a partial so near drives a mode
SURE = 0.5  # relative error of a decay rate beyond which it tells nothing
DECAYS_ALIKE = 1.6  # ratio
LIKE_IT = 1.5  # a string loses less and less up its partials; a plate mode that chances to lie there loses more
STRING_CENTS, STRING_TONES, STRING_PARTIALS = 12.0, 2, 8


def foreign_tones(notes: Sequence[PlayedNote], pitch_cents: float | None, settings: Settings) -> list[ForeignTone]:
    """Whatever their decay; a rule says which count."""
    heard = [(n, t) for n in notes for t in n.tones if not t.own_string and _told(t)]
    groups = _grouped(heard, settings)
    own = keyboard_partials(pitch_cents)
    order = {n.id: k for k, n in enumerate(notes)}
    found = [_one(group, own, order) for group in groups]
    found.sort(key=lambda f: (-len(f.notes), f.frequency_hz))
    return [replace(f, id=f"R{k + 1}", string_of=_string_of(f, found, own, notes)) for k, f in enumerate(found)]


def _told(tone: RingingTone) -> bool:
    return tone.decay_rate_sd_per_s < SURE * tone.decay_rate_per_s


def _grouped(
    heard: list[tuple[PlayedNote, RingingTone]], settings: Settings
) -> list[list[tuple[PlayedNote, RingingTone]]]:
    """Greedy, from the clearest tone on; one tone a note."""
    rest = sorted(heard, key=lambda pair: -pair[1].snr_db)
    groups = []
    while rest:
        _, seed = rest[0]
        mine: dict[str, tuple[PlayedNote, RingingTone]] = {}
        for note, tone in rest:
            if note.id not in mine and _alike(seed, tone, settings.notes.together):
                mine[note.id] = (note, tone)
        taken = {id(t) for _, t in mine.values()}
        rest = [pair for pair in rest if id(pair[1]) not in taken]
        groups.append(list(mine.values()))
    return [g for g in groups if len(g) > 1]


def _alike(a: RingingTone, b: RingingTone, share: float) -> bool:
    width = max(a.decay_rate_per_s, b.decay_rate_per_s) / np.pi
    error = 3 * float(np.hypot(a.frequency_sd_hz, b.frequency_sd_hz))
    ratio = a.decay_rate_per_s / b.decay_rate_per_s
    spread = 3 * float(np.hypot(a.decay_rate_sd_per_s / a.decay_rate_per_s, b.decay_rate_sd_per_s / b.decay_rate_per_s))
    return abs(a.frequency_hz - b.frequency_hz) < max(share * width, error) and abs(np.log(ratio)) < max(
        np.log(DECAYS_ALIKE), spread
    )


def _one(group: list[tuple[PlayedNote, RingingTone]], own: list[FloatArray], order: Mapping[str, int]) -> ForeignTone:
    """`order` : of the notes, by their ids."""
    tones = [t for _, t in group]
    frequency, frequency_sd = _middle([t.frequency_hz for t in tones], [t.frequency_sd_hz for t in tones])
    decay, decay_sd = _middle([t.decay_rate_per_s for t in tones], [t.decay_rate_sd_per_s for t in tones])
    reach = LINEWIDTHS * decay / np.pi
    near = tuple(n.id for n, _ in group if n.key and np.any(np.abs(own[key_number(n.key)] - frequency) < reach))
    ids = tuple(sorted((n.id for n, _ in group), key=order.__getitem__))
    loss = decay / (np.pi * frequency)
    return ForeignTone("", frequency, frequency_sd, decay, decay_sd, loss, loss * decay_sd / decay, ids, near, None)


def _middle(values: list[float], errors: list[float]) -> tuple[float, float]:
    """Weighted mean; its error from the errors or from the scatter, whichever is larger."""
    value, weight = np.array(values), 1 / (np.array(errors) ** 2 + (0.03 * np.median(errors)) ** 2 + 1e-12)
    weight = np.minimum(weight, 9 * np.median(weight))
    mean = float(np.sum(weight * value) / np.sum(weight))
    scatter = np.sqrt(np.sum(weight * (value - mean) ** 2) / np.sum(weight) / max(1, len(value) - 1))
    return mean, float(max(scatter, 1 / np.sqrt(np.sum(weight))))


def _string_of(
    tone: ForeignTone, found: Sequence[ForeignTone], own: list[FloatArray], notes: Sequence[PlayedNote]
) -> str | None:
    """A key at whose partials lie this tone and another, or that rang on at two of its own when it was played."""
    best, most = None, 0
    for key in range(KEYS):
        mine = own[key][:STRING_PARTIALS]
        if not _at(tone.frequency_hz, mine):
            continue
        others = sum(1 for f in found if f.loss_factor < LIKE_IT * tone.loss_factor and _at(f.frequency_hz, mine))
        itself = sum(_like(t, tone) for n in notes if n.key == key_name(key) for t in n.tones)
        many = max(others, itself)
        if many > most and many >= STRING_TONES:
            best, most = key, many
    return None if best is None else key_name(best)


def _like(own: RingingTone, tone: ForeignTone) -> bool:
    return own.own_string and own.decay_rate_per_s < LIKE_IT * np.pi * own.frequency_hz * tone.loss_factor


def _at(frequency_hz: float, partials_hz: FloatArray) -> bool:
    return bool(np.any(np.abs(1200 * np.log2(partials_hz / frequency_hz)) < STRING_CENTS))
