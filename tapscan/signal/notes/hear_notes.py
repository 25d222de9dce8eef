"""Notes of one recording: when, which key, what buzzes along, what rings on.

    hear_notes(samples, rate, ...)   (notes, pitch of the piano)
    hear_pieces(pieces, rate, ...)   the same of one sound that lies in pieces: pitch, quiet and how long a key is held are those of all
    own_partials(...), keyboard_partials(pitch)   where the strings of one key, or of all, have their partials

Two rounds for the keys: every pitch within a quarter tone first; then only pitches near the middle of the plain ones, since a piano is as a whole sharp or flat.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.records.notes import PlayedNote, RingingTone
from tapscan.settings import Settings
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.notes.between_partials import buzz_of
from tapscan.signal.notes.onsets import NoteLevels, damper_falls, note_onsets
from tapscan.signal.notes.ringing_on import tones_after
from tapscan.signal.notes.strings import KEYS, key_name, partials, usual_stiffness, usual_tuning
from tapscan.signal.notes.which_key import Heard, key_scores

STEP_CENTS = 6.0  # pitches tried are so far apart
GRID = tuple(STEP_CENTS * k for k in range(-8, 9))
PITCH_CLEAR = 8.0  # dB ahead of the next key: such notes set the pitch of the piano
PITCH_KEYS = (20, 66)  # between these an octave is stretched alike in all pianos
LEAST_FOR_PITCH = 4
LONGEST_S, SHORTEST_S = 0.7, 0.15  # of a note; shorter is none
SOON_S, FAINT_DB = 1.0, 20.0  # a rise so soon after a note, and so much fainter, is no note of its own
TAIL_S, END_S = 1.0, 0.06  # longest stretch looked at; so long before the next note
NOISE_S = 0.5
OWN_PARTIALS = 48
UNDAMPED_FROM = 66  # dampers end above here, in all pianos (from memory: the top 18 to 20 notes have none)
BY_MICROPHONE = "heard by microphone: the board drowns what the iron radiates"
LINES_HZ = 2.0  # two tones so near cannot be told apart in a tail


Piece = tuple[str, FloatArray]  # of one sound: its recording, (n,) samples


class _Heard(Struct, frozen=True, eq=False):
    """One piece: its notes, when they begin and end, and when the damper falls."""

    recording: str
    samples: FloatArray
    levels: NoteLevels
    onsets: list[float]
    ends: list[float]
    falls: list[float | None]
    keys: list[Heard]


def hear_notes(
    samples: FloatArray, rate: int, recording: str, settings: Settings, *, contact: bool, first: int = 1
) -> tuple[list[PlayedNote], float | None]:
    """Of (n,) samples; `contact` : by a pickup on the iron; else what rings on is not looked for. `first` : number of the first note. Notes in order; the pitch in cents."""
    return hear_pieces([(recording, samples)], rate, settings, contact=contact, first=first)


def hear_pieces(
    pieces: Sequence[Piece],
    rate: int,
    settings: Settings,
    *,
    contact: bool,
    first: int = 1,
    pitch: float | None = None,
) -> tuple[list[PlayedNote], float | None]:
    """As `hear_notes`. `pitch` : of the piano, in cents, as told before; taken where these notes are too few to tell it."""
    long = [piece for piece in pieces if len(piece[1]) >= SHORTEST_S * rate]
    begun = [one for piece in long if (one := _begun(*piece, rate, settings)).onsets]
    if not begun:
        return [], None
    told = _pitch([key for one in begun for key in one.keys])
    pitch = pitch if told is None else told
    heard = [_told(one, rate, pitch, settings) for one in begun]
    held = _usual([fall for h in heard for fall in h.falls])
    noise = _noise(heard, rate) if contact else BY_MICROPHONE
    notes: list[PlayedNote] = []
    for one in heard:
        notes += [_note(first + len(notes) + k, one, k, rate, held, noise, settings) for k in range(len(one.onsets))]
    return notes, pitch


def _begun(recording: str, samples: FloatArray, rate: int, settings: Settings) -> _Heard:
    """With every rise, and keys at any pitch."""
    levels = NoteLevels(samples, rate)
    onsets = note_onsets(levels, settings)
    keys = _scored(samples, rate, onsets, GRID) if onsets else []
    return _Heard(recording, samples, levels, onsets, [], [], keys)


def _told(one: _Heard, rate: int, pitch: float | None, settings: Settings) -> _Heard:
    """Keys near the pitch of the piano, without echoes."""
    keys, levels = one.keys, one.levels
    if pitch is not None:
        many = round(settings.notes.pitch_cents / STEP_CENTS)
        steps = tuple(float(np.clip(pitch + k * STEP_CENTS, -60, 60)) for k in range(-many, many + 1))
        keys = _scored(one.samples, rate, one.onsets, steps)
    kept = _no_echoes(levels, one.onsets, keys, settings)
    onsets = [one.onsets[k] for k in kept]
    ends = [*onsets[1:], len(one.samples) / rate]
    keys = [keys[k] for k in kept]
    falls = [_fall(levels, *three, settings) for three in zip(onsets, ends, keys, strict=True)]
    return _Heard(one.recording, one.samples, levels, onsets, ends, falls, keys)


def _fall(levels: NoteLevels, onset_s: float, end_s: float, heard: Heard, settings: Settings) -> float | None:
    """None too where there is no damper: a top string's own fall would pass for one."""
    key, _, _ = _key(heard, settings)
    undamped = key is not None and key >= UNDAMPED_FROM
    return None if undamped else damper_falls(levels, onset_s, end_s, settings)


def _scored(samples: FloatArray, rate: int, onsets: Sequence[float], cents: tuple[float, ...]) -> list[Heard]:
    ends = [*onsets[1:], len(samples) / rate]
    cuts = [samples[round(a * rate) : round(min(b, a + LONGEST_S) * rate)] for a, b in zip(onsets, ends, strict=True)]
    return [key_scores(c, rate, cents) for c in cuts]


def _no_echoes(levels: NoteLevels, onsets: Sequence[float], heard: Sequence[Heard], settings: Settings) -> list[int]:
    """Without rises soon after a note that are its own key coming back, or of no key at all."""
    kept: list[int] = []
    for k, onset in enumerate(onsets):
        key = _key(heard[k], settings)[0]
        if kept and onset - onsets[kept[-1]] < SOON_S:
            before = _key(heard[kept[-1]], settings)[0]
            fainter = levels.level_db(onsets[kept[-1]]) - levels.level_db(onset)
            poor = key == before or float(heard[k].score.max()) < settings.notes.soon_score
            if key is None or (poor and fainter > settings.notes.thump_db) or fainter > FAINT_DB:
                continue
        kept.append(k)
    return kept


def _pitch(heard: Sequence[Heard]) -> float | None:
    """Middle of the plain notes, None where they are too few."""
    told = []
    for one in heard:
        order = np.argsort(one.score)
        best = int(order[-1])
        if one.score[best] - one.score[order[-2]] > PITCH_CLEAR and PITCH_KEYS[0] <= best < PITCH_KEYS[1]:
            told.append(float(one.cents[best]))
    return float(6 * np.round(np.median(told) / 6)) if len(told) >= LEAST_FOR_PITCH else None


def _noise(heard: Sequence[_Heard], rate: int) -> NoiseDensity | str:
    """Of what is heard before the first note and just before the others: the quietest of them. Else why it is not known."""
    cuts = [h.samples[max(0, round((a - NOISE_S) * rate)) : round((a - 0.03) * rate)] for h in heard for a in h.onsets]
    long = [c for c in cuts if len(c) > 0.3 * rate]
    if not long:
        return "nothing quiet before any note"
    quiet = sorted(long, key=lambda c: float(np.mean(c**2)))[: max(1, len(long) // 5)]
    return NoiseDensity(quiet, rate)


def _note(
    number: int, one: _Heard, k: int, rate: int, usual: float, noise: NoiseDensity | str, settings: Settings
) -> PlayedNote:
    """`usual` : how long a key is held where no damper was heard."""
    onset, end, fall, heard = one.onsets[k], one.ends[k], one.falls[k], one.keys[k]
    key, clear, reason = _key(heard, settings)
    held = fall if fall is not None else usual
    since = onset - (one.onsets[k - 1] + (one.falls[k - 1] or held) if k else 0.0)
    buzz = buzz_of(one.samples, rate, onset, onset + held, end, since - 0.3 if k else onset)
    over, share, why_no_buzz = (None, None, buzz) if isinstance(buzz, str) else (*buzz, None)
    tones, listened, why_no_tones = _tones(one.samples, rate, onset + held, end, heard, key, noise, settings)
    return PlayedNote(
        f"N{number}", one.recording, onset, None if key is None else key_name(key), clear,
        None if key is None else float(heard.cents[key]), one.levels.level_db(onset), fall, over, share, tones, listened,
        reason, why_no_buzz, why_no_tones,
    )  # fmt: skip


def _key(heard: Heard, settings: Settings) -> tuple[int | None, float | None, str | None]:
    order = np.argsort(heard.score)
    best, clear = int(order[-1]), float(heard.score[order[-1]] - heard.score[order[-2]])
    if heard.score[best] < settings.notes.key_score:
        return None, None, "no partials of a piano string stand out: no key, or drowned by something else"
    if clear < settings.notes.key_clear:
        return None, clear, f"{key_name(best)} and {key_name(int(order[-2]))} fit alike"
    return best, clear, None


def _usual(falls: Sequence[float | None]) -> float:
    known = [f for f in falls if f is not None]
    return float(np.median(known)) if known else 0.5


def _tones(
    samples: FloatArray,
    rate: int,
    fall_s: float,
    end_s: float,
    heard: Heard,
    key: int | None,
    noise: NoiseDensity | str,
    settings: Settings,
) -> tuple[tuple[RingingTone, ...], float | None, str | None]:
    s = settings.notes
    if isinstance(noise, str):
        return (), None, noise
    first = fall_s + s.listen_after_s
    last = min(end_s - END_S, first + TAIL_S)
    if last - first < s.listen_s:
        return (), None, "the next key came too soon"
    if key is None:
        return (), None, "which key it was is not known"
    own = own_partials(heard.cents[key], heard.factor[key], key)
    found = tones_after(samples[round(first * rate) : round(last * rate)], rate, noise, settings)
    tones = [RingingTone(f, sd, d, 2 * np.pi * sd, q, _is_own(f, own, s.own_cents)) for f, sd, d, q in found]
    return tuple(tones), last - first, None


def own_partials(cents: float, factor: float, key: int) -> FloatArray:
    """(n,) where the partials of a key lie, Hz."""
    stiffness = usual_stiffness(np.array(key)) * factor
    return partials(usual_tuning()[key] * 2 ** (cents / 1200), stiffness, np.arange(1, OWN_PARTIALS + 1))


def _is_own(frequency_hz: float, own: FloatArray, cents: float) -> bool:
    away = np.abs(own - frequency_hz)
    return bool(np.any(away < np.maximum(LINES_HZ / 2, own * (2 ** (cents / 1200) - 1))))


def keyboard_partials(pitch_cents: float | None) -> list[FloatArray]:
    """(n,) each, of all keys with usual stiffness, Hz."""
    return [own_partials(pitch_cents or 0.0, 1.0, key) for key in range(KEYS)]
