"""What a person may listen to in the page of a stored scan.

    sounds_of(register, entry, screening)   Sound after Sound: for each indication the strike, the named tone alone, and the
                                            same place in the baseline; one place at which nothing was found

Loudness is matched: every strike is brought to the same peak, and the page says so. The tone alone is computed from the mode's
frequency and decay. Recordings that cannot be read are left out.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.errors import UnreadableRecording
from tapscan.recording.files import mp3_bytes, open_sound
from tapscan.records import FloatArray, Mode, Scan, Screening
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.files import path_of
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.report import words
from tapscan.report.players import Sound
from tapscan.report.time_frequency import picture_of

MOST_INDICATIONS, SECONDS, PEAK = 5, 2.0, 0.7
TONE_RATE_HZ = 32000
MATCHED = "as recorded, brought to the same peak as the others"


def sounds_of(register: Register, entry: ScanEntry, screening: Screening) -> tuple[Sound, ...]:
    """In the order of the page."""
    scan, found = screening.scan, []
    before = _baseline(register, entry)
    by_id = {m.id: m for m in scan.modes}
    for i in screening.indications[:MOST_INDICATIONS]:
        group = f"{words.rule(i.rule)}: {words.listed(i.stations) or 'the plate as a whole'}"
        station = next(iter(i.stations), None) or _loudest_station(scan)
        found += _strike(register, scan, station, group, "this scan")
        if before is not None:
            found += _strike(register, before, station, group, "the baseline")
        found += _tone([by_id[m] for m in i.modes if m in by_id], group)
    named = {s for i in screening.indications for s in i.stations}
    quiet = next((s.station for s in scan.strikes if s.usable and s.station not in named), None)
    if quiet is not None:
        found += _strike(register, scan, quiet, "A place at which nothing was found", "this scan")
    return tuple(found)


def _baseline(register: Register, entry: ScanEntry) -> Scan | None:
    earlier = [e for e in list_scans(register, entry.plate) if e.baseline and e.name != entry.name]
    return load_screening(register, earlier[-1].current.id).scan if earlier and not entry.baseline else None


def _loudest_station(scan: Scan) -> str | None:
    usable = [s for s in scan.strikes if s.usable]
    return max(usable, key=lambda s: s.level_db).station if usable else None


def _strike(register: Register, scan: Scan, station: str | None, group: str, which: str) -> list[Sound]:
    mine = [s for s in scan.strikes if s.station == station and s.usable]
    if not mine:
        return []
    best = max(mine, key=lambda s: s.snr_db if s.snr_db is not None else s.level_db)
    recording = next(r for r in scan.recordings if r.id == best.recording)
    try:
        with open_sound(path_of(register.folder, recording.sha256)) as source:
            rate = source.sample_rate_hz
            first = max(0, round((best.onset_s - 0.05) * rate))
            x = source.read(first, round(SECONDS * rate))[:, recording.channel_used or 0]
    except UnreadableRecording:
        return []
    return [Sound(group, f"{station}, {which}", MATCHED, mp3_bytes(_shown(x, rate), rate), picture_of(x, rate))]


def _shown(x: FloatArray, rate: int) -> FloatArray:
    """Same peak, soft end."""
    fade = np.minimum(1.0, np.arange(len(x))[::-1] / (0.05 * rate))
    return np.asarray(x / (np.abs(x).max() + 1e-12) * PEAK * fade)


def _tone(modes: Sequence[Mode], group: str) -> list[Sound]:
    """The strongest named mode that has a decay."""
    known = [m for m in modes if m.decay_rate_per_s and m.level_db is not None]
    if not known:
        return []
    m = max(known, key=lambda k: k.level_db if k.level_db is not None else -1e3)
    t = np.arange(round(SECONDS * TONE_RATE_HZ)) / TONE_RATE_HZ
    x = np.sin(2 * np.pi * m.frequency_hz * t) * np.exp(-(m.decay_rate_per_s or 0.0) * t) * np.minimum(1, t / 0.005)
    title = f"{m.frequency_hz:.0f} Hz alone"
    return [
        Sound(
            group,
            title,
            "computed from its frequency and decay, not recorded",
            mp3_bytes(_shown(x, TONE_RATE_HZ), TONE_RATE_HZ),
        )
    ]
