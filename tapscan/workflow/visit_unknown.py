"""What could not be known on a visit: every line follows from what was not seen, not tapped, not run or not told.

unknown_of(known)   Unknown after Unknown, what weighs most first
"""

from collections.abc import Sequence

from tapscan.places import IN_PIANO, KEYS, REGIONS
from tapscan.records import Screening
from tapscan.register.entries import ScanEntry
from tapscan.register.visit_entries import Look
from tapscan.report.rule_words import not_run_by_reason, rule_title
from tapscan.report.visit_page import Unknown
from tapscan.report.words import STATES
from tapscan.screening.played_notes import limitations
from tapscan.wording import counted, listed
from tapscan.workflow.visit import Known

NO_SOUND = "No tap test was made on this visit, so nothing is known of the plate by sound."

SMALL = Unknown(
    "small-change",
    "Small changes of the plate: in the piano, what screws and wood do hides them.",
)
BEFORE = Unknown(
    "before", "Whether a flaw was there at the earlier scan already: a comparison shows only what has changed since."
)


def unknown_of(k: Known) -> tuple[Unknown, ...]:
    """At least one line: a visit never knows all."""
    lines = [*_state(k), *_eye(k), *_by_sound(k), *_change(k), *_keys(k)]
    return tuple(lines)


def _state(k: Known) -> list[Unknown]:
    if k.state is None:
        return [Unknown("state", "The state of the plate was not written down, so it is treated as one under tension.")]
    told = {k.visit.state, *(e.conditions.state for e, _ in k.scans)} - {None}
    if len(told) < 2:
        return []
    named = listed(sorted(STATES[s] for s in told if s))
    return [Unknown("states-differ", f"Which state the plate was in: {named} are both written down.")]


def _eye(k: Known) -> list[Unknown]:
    round_ = [look for look in k.visit.round if look.region != KEYS]
    hidden = [look for look in round_ if look.answer == "hidden"]
    missed = [look for look in round_ if look.answer is None]
    bare = [look for look in k.visit.suspects if not look.photos and look.region != KEYS]
    found = []
    if hidden:
        why = "; ".join(f"{_title(look)}: {look.note or 'why was not noted'}" for look in hidden)
        found.append(Unknown("hidden", f"Could not be seen: {_titles(hidden)}.", why))
    if missed:
        found.append(Unknown("not-looked", f"Not looked at: {_titles(missed)}."))
    if bare:
        found.append(Unknown("no-photo", f"How the finding looks: there is no photo of {_titles(bare)}."))
    return found


def _by_sound(k: Known) -> list[Unknown]:
    if not k.tapped:
        return [Unknown("no-taps", NO_SOUND)]
    found = []
    for entry, s in k.tapped:
        found += [*_heard(s), *_places(entry, s), *_listened(entry), *_checks(s)]
    if k.state in IN_PIANO:
        found.append(
            Unknown(
                "in-piano",
                "How much taps can show in a piano: that was worked out on simulated pianos, and never measured on a real one.",
            )
        )
    return list({(u.code, u.text): u for u in found}.values())


def _heard(s: Screening) -> list[Unknown]:
    told = [Unknown("doubt", d.sentence) for d in s.doubts]
    if not any(strike.usable for strike in s.scan.strikes):
        told.append(
            Unknown("no-usable-tap", "No tap could be used, so nothing is known of the plate by sound.", s.summary)
        )
    return told


def _places(entry: ScanEntry, s: Screening) -> list[Unknown]:
    layout, state = s.scan.map, entry.conditions.state
    if layout is None:
        return [Unknown("no-layout", "Where the plate was tapped: no layout was given.")]
    heard = {strike.station for strike in s.scan.strikes if strike.usable}
    allowed = layout.allowed(state)
    missed = [x for x in allowed if x.name not in heard]
    barred = [x for x in layout.stations if x not in allowed and x.name not in heard]
    found = []
    if missed:
        places = "; ".join(f"{x.name}, {x.where}" for x in missed)
        found.append(
            Unknown(
                "not-tapped",
                f"What taps would tell at {listed([x.name for x in missed], 12)}: no usable tap there.",
                places,
            )
        )
    if barred and state:
        places = "; ".join(f"{x.name}, {x.where}" for x in barred)
        found.append(
            Unknown(
                "barred",
                f"{counted(len(barred), 'place')} of the plan {'was' if len(barred) == 1 else 'were'} left out: no tap may fall there while the plate is {STATES[state]}.",
                places,
            )
        )
    return found


def _listened(entry: ScanEntry) -> list[Unknown]:
    sensor = entry.conditions.sensor
    if sensor.kind is None:
        return [Unknown("sensor", "What listened, a microphone or a pickup on the iron, was not written down.")]
    if sensor.kind == "microphone":
        return [
            Unknown(
                "microphone",
                "Small changes of tone: a microphone hears the room too, and knows frequencies less exactly than a pickup on the iron.",
            )
        ]
    return []


def _checks(s: Screening) -> list[Unknown]:
    if not s.rules_not_run:
        return []
    names = "; ".join(rule_title(r.rule).lower() for r in s.rules_not_run)
    why = ". ".join(f"{titles}: {reason}" for titles, reason in not_run_by_reason(s.rules_not_run))
    return [Unknown("checks", f"{counted(len(s.rules_not_run), 'check')} by sound could not be made: {names}.", why)]


def _change(k: Known) -> list[Unknown]:
    if not k.tapped:
        return []
    compared = k.tapped[-1][1].comparison
    if compared is not None and not compared.rules_not_run:
        return [SMALL, BEFORE] if compared.around else [BEFORE]
    if compared is not None:
        return [
            Unknown(
                "change",
                "Whether the plate has changed: the comparison with earlier scans gave no answer.",
                compared.rules_not_run[0].reason,
            )
        ]
    why = "no earlier scan of it is marked as its baseline" if k.before else "there is no earlier scan of it"
    return [Unknown("change", f"Whether the plate has changed: {why}.")]


def _keys(k: Known) -> list[Unknown]:
    keys = next(look for look in k.visit.round if look.region == KEYS)
    if k.notes:
        said = [*(Unknown("notes", text) for _, s in k.notes for text in limitations(s.scan))]
        said += [u for _, s in k.notes for u in _checks(s)]
        return list({(u.code, u.text): u for u in said}.values())
    if keys.answer in ("nothing", "note"):
        return []
    return [Unknown("keys", "Whether anything buzzes under the keys: they were not played.", keys.note or "")]


def _title(look: Look) -> str:
    return REGIONS[look.region]


def _titles(looks: Sequence[Look]) -> str:
    """Parted by semicolons: the titles hold commas."""
    return "; ".join(_title(look) for look in looks)
