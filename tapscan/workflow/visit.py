"""A visit to a piano, as the command line and the page use it: facts and looks as typed, photos, and all that is known of it.

typed_visit(register, plate, date, fields)   Visit from a form's fields
note_outcome(register, visit, region, kind, told)   what an examination found of what was seen there
keep_photos_of(register, visit, region, paths)   photos from files
state_on(register, plate, date)              State as it was noted with the visit of that day, if any
known_of(register, visit)                    Known: the visit with the day's scans as they stand, and what is open from before
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct, field
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import IN_PIANO, KEYS, REGIONS, State
from tapscan.records import Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import BY_MISTAKE, CLEAN, Finding, Outcome, ScanEntry, TakenBack, explained_as, suspects
from tapscan.register.on_record import PlateOnRecord
from tapscan.register.plates import find_plate
from tapscan.register.scans import list_scans
from tapscan.register.taken_back import both_noted
from tapscan.register.visit_entries import LOOK_ANSWERS, Look, LookAnswer, Visit, sound_look
from tapscan.register.visits import (
    FACTS,
    add_look_outcome,
    add_look_photo,
    edit_visit,
    find_visit,
    keep_visit,
    list_visits,
    remove_look_photo,
    visit_on,
)
from tapscan.screening.disposition import NOTES
from tapscan.screening.next_steps import stopped
from tapscan.screening.open_findings import OpenFinding, asking
from tapscan.screening.played_notes import NO_ANSWER
from tapscan.screening.rules import note_buzz, ringing_on
from tapscan.screening.visit_advice import BUZZ, Advice, VisitKnown, advise
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.photos import looked_at
from tapscan.workflow.standing import as_it_stands
from tapscan.workflow.still_open import (
    EYE_RULE,
    most_care,
    open_findings,
    plate_on_record,
    plate_steps,
    record_opened,
    state_now,
    unexplained,
)
from tapscan.workflow.typed import state, words

__all__ = [
    "BY_MISTAKE", "FACTS", "KEYS", "LOOK_ANSWERS", "REGIONS", "Look", "Visit", "add_look_outcome", "add_look_photo", "both_noted", "edit_visit", "find_visit", "keep_visit", "list_visits", "remove_look_photo", "sound_look", "visit_on",
]  # fmt: skip


LASTING = ("maker", "piano_number")  # of the piano, whoever visits it


class Known(Struct, frozen=True, eq=False):
    """All that a visit's document is written from."""

    visit: Visit
    scans: tuple[tuple[ScanEntry, Screening], ...]  # of that day, oldest first, none crossed out
    opened: tuple[OpenFinding, ...]  # from earlier days
    seen_before: tuple[tuple[dt.date, Look], ...]  # what the eye saw on earlier visits, may be a crack and is open
    state: State | None
    before: bool  # an earlier scan by taps is there to be compared with
    advice: Advice
    taken_back: tuple[tuple[dt.date, TakenBack], ...] = ()  # of this day and earlier ones
    lasting: Mapping[str, tuple[str, dt.date]] = field(
        default_factory=dict
    )  # of LASTING what this visit does not say, and the newest that does
    noted_before: tuple[
        tuple[dt.date, Look], ...
    ] = ()  # on earlier visits, and no sign of a crack; of a region the newest
    explained: tuple[tuple[dt.date, Look], ...] = ()  # as seen_before, and named by an examination since
    later: tuple[OpenFinding, ...] = ()  # of days after this visit, by now
    on_lists: tuple[
        Finding, ...
    ] = ()  # of the day's scans: what the eye saw, and no examination has named or found to be a flaw

    @property
    def tapped(self) -> tuple[tuple[ScanEntry, Screening], ...]:
        """Those of the scans that were made by taps."""
        return tuple((e, s) for e, s in self.scans if s.scan.played is None)

    @property
    def notes(self) -> tuple[tuple[ScanEntry, Screening], ...]:
        """Those for which keys were played and recorded."""
        return tuple((e, s) for e, s in self.scans if s.scan.played is not None)

    @property
    def nothing(self) -> str:
        """In the place of findings; where nobody examined the plate it is no result."""
        unseen = self.advice.code in ("keys-only", "not-examined")
        return "No region was looked at and no tap was heard." if unseen else "No finding came of this."

    @property
    def stop(self) -> bool:
        """Whether the piano is to be left as it is."""
        return stopped(self.advice.given)

    @property
    def relevant(self) -> tuple[Indication, ...]:
        """Of all scans of the day."""
        return tuple(i for _, s in self.scans for i in s.indications if i.interpretation == "relevant")


def typed_visit(plate: str, date: dt.date, fields: Mapping[str, str], signs: Mapping[str, Sequence[str]]) -> Visit:
    """`fields` : by the names of Visit, answers as look-REGION, notes as note-REGION; `signs` by region. Raises BadRequest."""
    facts: dict[str, Any] = {name: words(fields.get(name)) for name in FACTS if name != "state"}
    looks = []
    for region in REGIONS:
        note, ticked = words(fields.get(f"note-{region}")), tuple(signs.get(region, ()))
        answer = _answer(fields.get(f"look-{region}", ""), region)
        if (note or ticked) and answer is None:
            raise BadRequest(f"{REGIONS[region]}: something is noted, but no answer is ticked; tick one")
        if answer is not None:
            looks.append(sound_look(Look(region, answer, ticked, note)))
    facts = {**facts, "state": state(fields.get("state"), "State of the plate")}
    return replace(Visit(plate, date, looks=tuple(looks)), **facts)


def _answer(text: str, region: str) -> LookAnswer | None:
    known = next((a for a in LOOK_ANSWERS if a == text), None)
    if text and known is None:
        raise BadRequest(f"{REGIONS[region]}: {text!r} is no answer; one of {', '.join(LOOK_ANSWERS)}")
    return known


KINDS = ("flaw", "clean", "seen")


def note_outcome(register: Register, visit: Visit, region: str, kind: str, told: Outcome) -> tuple[Visit, str]:
    """`kind` : of KINDS; seen: `told.found` names what had been seen, which closes it. The visit, and what that means in a sentence. Raises BadRequest."""
    if kind not in KINDS:
        raise BadRequest("say what came out: a flaw, nothing, or what it was that had been seen")
    if not told.found.strip():
        raise BadRequest("say what was found, what was looked at, or what it was that had been seen")
    seen = next((look.told for look in visit.round if look.region == region), "")
    found = {"flaw": told.found, "clean": CLEAN + told.found, "seen": explained_as(seen, told.found)}[kind]
    kept = add_look_outcome(register, visit, region, replace(told, found=found))
    look = next(look for look in kept.round if look.region == region)
    if look.flaws:
        return kept, "An examination has found a flaw: that stands in every later document of this plate."
    if look.open:
        return kept, "It stays open until an examination names what it was that had been seen."
    return kept, "It is explained: later visits tell it and do not stop for it."


def keep_photos_of(register: Register, plate: str, date: dt.date, region: str, paths: Sequence[Path]) -> None:
    """Raises BadRequest for what is no photo, before anything is kept."""
    looked_at(paths)
    for path in paths:
        add_look_photo(register, plate, date, region, register.files.keep_file(path, path.name))


def state_on(register: Register, plate: str, date: dt.date) -> State | None:
    """None too where that day has no visit."""
    found = visit_on(register, find_plate(register, plate, exact=True).name, date)
    return found.state if found else None


def known_of(register: Register, visit: Visit) -> Known:
    """Read anew each time: what was found later by an examination counts."""
    entries = list_scans(register, visit.plate)
    today = [e for e in entries if e.date == visit.date]
    scans = tuple((e, as_it_stands(register, e, stored_screening(register, e))) for e in today)
    last = scans[-1] if scans else None
    number = last[0].number if last else 1
    opened = open_findings(
        register, visit.plate, (visit.date, number), last[1] if last else None, last[0] if last else None
    )
    ours = {i.rule for _, s in scans for i in s.indications if i.interpretation == "relevant"}
    opened = tuple(o for o in opened if o.date < visit.date.isoformat() or o.rule not in ours | {EYE_RULE})
    opened = tuple(o for o in opened if not (o.visit and o.rule == EYE_RULE))  # those are in `seen_before`
    past = [v for v in list_visits(register, visit.plate) if v.date < visit.date]
    earlier = tuple((v.date, look) for v in past for look in v.suspects)
    explained = tuple((v.date, look) for v in past for look in v.explained)
    before = any(e.date < visit.date and not e.played for e in entries)
    back = tuple((v.date, one) for v in (*past, visit) for one in v.taken_back)
    told = (lasting_of(visit, past), _noted_before(visit, past), explained)
    known = Known(visit, scans, opened, earlier, _state(visit, scans), before, _NO_ADVICE, back, *told)
    record = plate_on_record(register, visit.plate)
    known = replace(known, on_lists=_on_lists(record, visit.date))
    return _by_now(record, replace(known, advice=advise(_for_advice(known))))


def _on_lists(record: PlateOnRecord, date: dt.date) -> tuple[Finding, ...]:
    return tuple(f for s in record.every if s.date == date and not s.flaws for f in unexplained(s, record.every))


def _by_now(record: PlateOnRecord, k: Known) -> Known:
    """What the visit found stays as it was; what is to be done goes by what has been found since."""
    opened = record_opened(record)
    later = tuple(o for o in opened if o.date > k.visit.date.isoformat())
    given = plate_steps(opened, state_now(record)) if later else ()
    if not given:
        return replace(k, later=later)
    advice = replace(k.advice, steps=tuple(s.line for s in given), given=given)
    return replace(k, later=later, advice=advice)


def lasting_of(visit: Visit, every: Sequence[Visit]) -> dict[str, tuple[str, dt.date]]:
    """By name: what does not change from visit to visit, and the day on which it was noted last before this one."""
    told: dict[str, tuple[str, dt.date]] = {}
    for v in every:  # oldest first
        if v.date < visit.date:
            told |= {name: (said, v.date) for name in LASTING if (said := getattr(v, name))}
    return {name: one for name, one in told.items() if not getattr(visit, name)}


def _noted_before(visit: Visit, past: Sequence[Visit]) -> tuple[tuple[dt.date, Look], ...]:
    """What this visit notes itself is not told again."""
    newest = {
        look.region: (v.date, look) for v in past for look in v.looks if look.answer == "note" and not look.suspect
    }
    own = {look.region: set(look.signs) for look in visit.looks if look.answer == "note"}
    return tuple(one for region, one in newest.items() if region not in own or set(one[1].signs) - own[region])


_NO_ADVICE = Advice("", "", "", (), ())


def _state(visit: Visit, scans: Sequence[tuple[ScanEntry, Screening]]) -> State | None:
    """Where visit and scans differ, the one that asks for most care."""
    return most_care([s for s in (visit.state, *(e.conditions.state for e, _ in scans)) if s])


def _for_advice(k: Known) -> VisitKnown:
    newest = k.tapped[-1][1] if k.tapped else None
    every = [i for _, s in k.scans for i in s.indications]
    signs = frozenset(s for look in k.visit.looks for s in look.signs)
    heard = [i.rule for e, s in k.scans for i in s.indications if i.interpretation == "relevant" and not e.flaws]
    said = heard + asking(k.opened)
    rules = [rule for rule in said if rule not in NOTES and rule != EYE_RULE]
    rules += [BUZZ] if BUZZ in signs or note_buzz.NAME in said or _buzzed(k, every) else []
    eyes = [look for look in k.visit.round if look.region != KEYS]
    return VisitKnown(
        state=k.state,
        eye=bool(
            any(not look.flaws for look in (*k.visit.suspects, *(look for _, look in k.seen_before)))
            or EYE_RULE in said
            or suspects(k.on_lists)
        ),
        rules=tuple(dict.fromkeys(rules)),
        earlier=bool(k.seen_before or any(o.rule not in NOTES or o.rule == note_buzz.NAME for o in k.opened)),
        heard=any(strike.usable for _, s in k.scans for strike in s.scan.strikes),
        disposition=newest.disposition if newest else None,
        recorded=bool(k.scans),
        headline=newest.headline if newest else "",
        scan_steps=newest.next_steps if newest else (),
        strings=any(i.rule == "string" for i in every),
        signs=signs,
        played=any(s.headline != NO_ANSWER for _, s in k.notes)
        or any(look.region == KEYS and look.answer in ("nothing", "note") for look in k.visit.looks),
        notes=k.notes[-1][1].headline if k.notes else "",
        rings=ringing_on.NAME in said,
        looked=sum(look.answer in ("nothing", "note") for look in eyes),
        unseen=sum(look.answer not in ("nothing", "note") for look in eyes),
        before=k.before,
    )


def _buzzed(k: Known, every: Sequence[Indication]) -> bool:
    """In the piano a buzz of the taps counts; out of it the scan's own steps say how to go on."""
    return (k.state is None or k.state in IN_PIANO) and any(i.rule == BUZZ for i in every)
