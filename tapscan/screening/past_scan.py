"""One earlier scan of a plate, and whether a later one's silence counts against what it found.

PastScan                     as far as it matters for what is still open
why_not_silent(later, earlier, found)   empty: it was tapped well, or played, could have found that finding again, and found nothing
same_taps(a, b)              two scans are of one recording, or of a copy of it
room_unread(scan, not_run)   a reading that took a microphone for a pickup
same_limits(now, then)       two readings, by the hashes of their settings
is_before(day, other)        of two days of scans, DATE[-n]

What a change is measured against may hold the change itself: against a scan that was made after it, the plate is silent for ever. So of a change only
a scan counts that was held against scans from before it.
"""

from collections.abc import Collection, Sequence
from functools import cache
from itertools import pairwise

from msgspec import Struct

from tapscan.records import Disposition, Indication, Scan
from tapscan.records.heard import Heard, Tap, day_of
from tapscan.records.scan import same_place
from tapscan.screening.rules import RULE_LIMITS, change_in_piano, change_since_baseline, force_dependence
from tapscan.settings import Settings, settings_sha256

CHANGES = (change_since_baseline.NAME, change_in_piano.NAME)
NEAR = 0.05  # of the layout's picture: a spot that was measured twice
SAME_TIME_S = 0.005  # from blow to blow: no hand is so even, and no codec moves a blow by more
SAME_LEVEL_DB = 0.3  # from the mean difference: the blows of a hand differ by more, and no codec changes them by more
LEAST_TAPS = 5  # fewer may be alike by chance
NOTHING_HEARD = Heard()
FOUND_ITSELF = "it found something itself"
NOT_MADE = "that check was not made"
ROOM_UNREAD = "a microphone listened, and it was read as a pickup's; read it anew"
ELSEWHERE = "it did not listen at the same places or keys, by the same layout"
BESIDE_LATER = "it was not held against a baseline that counts and is from before the finding"
OTHER_LIMITS = "it was read by other limits; read it anew"
NO_ANSWER = "it gave no answer, or nobody says that the plate was out of its piano"


class PastScan(Struct, frozen=True):
    """One scan of the plate."""

    name: str
    date: str  # ISO 8601
    disposition: Disposition
    relevant: tuple[Indication, ...]
    outcomes: tuple[str, ...] = ()  # what later examinations found, in words
    part_named: bool = False  # one of them names the part that caused the finding
    flaws: tuple[str, ...] = ()  # those of the outcomes that count as a flaw
    played: bool = False  # keys were played, nothing was tapped
    not_run: tuple[str, ...] = ()  # rules; what could not be made clears nothing
    doubt: str = ""  # why it may not be a scan of this plate, in a sentence
    heard: Heard = NOTHING_HEARD
    part_from_elsewhere: bool = False  # the part was named while the scan was another plate's

    def names_part_of(self, earlier: "PastScan", found: Indication) -> bool:
        """Of what caused that finding: what was noted with a scan that found something else was noted of that."""
        if not self.part_named or self is earlier:
            return self.part_named
        mine = [i for i in self.relevant if i.rule == found.rule and same_place(i.stations, found.stations)]
        return not self.part_from_elsewhere and (bool(mine) or not self.relevant)


def why_not_silent(later: PastScan, earlier: PastScan, found: Indication) -> str:
    """The first reason; empty where it is silent."""
    reasons = (
        (bool(later.relevant), FOUND_ITSELF),
        (found.rule in later.not_run, NOT_MADE),
        (later.heard.room_unread, ROOM_UNREAD),
        (not _listened_where(later.heard, earlier, found), ELSEWHERE),
        (found.rule in CHANGES and not _beside_what_was_before(later.heard, earlier), BESIDE_LATER),
        (not same_limits(later.heard.settings_sha256, earlier.heard.settings_sha256), OTHER_LIMITS),
        (not later.played and later.disposition != "no relevant indication", NO_ANSWER),
    )  # notes never say of a plate that nothing is relevant
    return next((why for so, why in reasons if so), "")


def same_taps(a: Heard, b: Heard) -> bool:
    """By their files; else by the times between the blows and by how hard these were."""
    if set(a.files) & set(b.files):
        return True
    if len(a.taps) != len(b.taps) or len(a.taps) < LEAST_TAPS:
        return False
    levels = [x.level_db - y.level_db for x, y in zip(a.taps, b.taps, strict=True)]
    middle = sum(levels) / len(levels)
    times = zip(_between(a.taps), _between(b.taps), strict=True)
    return all(abs(x - y) <= SAME_TIME_S for x, y in times) and all(abs(x - middle) <= SAME_LEVEL_DB for x in levels)


def is_before(day: str, other: str) -> bool:
    """Strictly."""
    return _in_order(day) < _in_order(other)


def _in_order(day: str) -> tuple[str, int]:
    return day[:10], int(day[11:] or 1)


def room_unread(scan: Scan, not_run: Collection[str]) -> bool:
    """By what is known now of what listened: a room may be in the sound, and the checks were made as if there were none."""
    return bool(scan.room_left_in) and force_dependence.NAME not in not_run


def same_limits(now: str, then: str) -> bool:
    """By settings_sha256: those of the finding, or those that tapscan comes with; laxer ones find nothing anywhere."""
    return now in (then, _as_shipped())


@cache
def _as_shipped() -> str:
    return settings_sha256(Settings(), RULE_LIMITS)


def _listened_where(later: Heard, earlier: PastScan, found: Indication) -> bool:
    """At every place that the finding names; where keys were played, at every key of that day, since the finding names none."""
    named = earlier.heard.where if earlier.played else found.stations
    return all(_at(place, later, earlier.heard) for place in named)


def _at(place: str, later: Heard, earlier: Heard) -> bool:
    """The same name may lie elsewhere, by another layout or by one that was drawn anew."""
    if place not in later.where or later.where[place] != earlier.where.get(place):
        return False
    now, was = later.spots.get(place), earlier.spots.get(place)
    return now is None or was is None or all(abs(x - y) <= NEAR for x, y in zip(now, was, strict=True))


def _beside_what_was_before(later: Heard, earlier: PastScan) -> bool:
    day = day_of(earlier.name)
    return bool(later.beside) and all(is_before(one, day) for one in later.beside)


def _between(taps: Sequence[Tap]) -> list[float]:
    """From blow to blow, s; 0 from one recording to the next."""
    pairs = pairwise(taps)
    return [b.onset_s - a.onset_s if a.recording == b.recording else 0.0 for a, b in pairs]
