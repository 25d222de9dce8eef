"""The list of what the eye saw, as it is asked on a form: only what can be looked at in the plate's state, with the places of this scan to choose from.

asked_of(entry, offered)           Asked after Asked, in the list's order
as_sent(items, typed)              the same with what a form that was not kept had in it
places_of(screening)               places to choose from in groups, those that the scan named first
checklist_of(typed)                Findings from fields `eye-ITEM`, `place-ITEM` and `note-ITEM`

A place is kept in front of the note, as `PLACE: NOTE`, where a person who writes it by hand puts it too.
"""

from collections.abc import Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import CHECKLIST, KEYS, REGIONS
from tapscan.records import Screening
from tapscan.register.entries import ANSWERS, IN_IRON, Answer, Finding, ScanEntry, checklist_in
from tapscan.workflow.typed import words

BETWEEN = ": "
NAMED, TAPPED, PARTS = "Named by this scan", "Other places that were tapped", "Parts of the plate"
Groups = tuple[tuple[str, tuple[str, ...]], ...]  # title, places in words


class Asked(Struct, frozen=True):
    """One item of the form."""

    item: str
    title: str
    answer: Answer
    place: str  # one of those offered, or empty
    note: str


def asked_of(entry: ScanEntry, offered: Groups) -> list[Asked]:
    """`offered` : of places_of."""
    every = [place for _, places in offered for place in places]
    return [_asked(f, every) for f in checklist_in(entry.conditions.state, entry.checklist)]


def as_sent(items: Sequence[Asked], typed: Mapping[str, str]) -> list[Asked]:
    """With what was filled in, sound or not."""

    def sent(one: Asked) -> Asked:
        answer = next((a for a in ANSWERS if a == typed.get(f"eye-{one.item}")), one.answer)
        return replace(
            one, answer=answer, place=typed.get(f"place-{one.item}", ""), note=typed.get(f"note-{one.item}", "")
        )

    return [sent(one) for one in items]


def _asked(f: Finding, every: list[str]) -> Asked:
    note = f.note or ""
    place = max((p for p in every if note == p or note.startswith(p + BETWEEN)), key=len, default="")
    return Asked(
        f.item, CHECKLIST[f.item], f.answer, place, note.removeprefix(place).removeprefix(BETWEEN) if place else note
    )


def places_of(screening: Screening) -> Groups:
    """Each place once, where it stands first."""
    relevant = [i for i in screening.indications if i.interpretation == "relevant"]
    likely = screening.comparison.places if screening.comparison else ()
    parts = [f"{p.member}, {p.where}" if p.where else p.member for p in likely]
    named = dict.fromkeys([*parts, *(screening.scan.where(s) for i in relevant for s in i.stations)])
    tapped = dict.fromkeys(screening.scan.where(s.station) for s in screening.scan.strikes)
    regions = [told for region, told in REGIONS.items() if region != KEYS]
    groups = ((NAMED, tuple(named)), (TAPPED, tuple(t for t in tapped if t not in named)), (PARTS, tuple(regions)))
    return tuple(g for g in groups if g[1])


def checklist_of(typed: Mapping[str, str]) -> tuple[Finding, ...]:
    """An item without an answer was not looked at. Raises BadRequest with one line, and for a line in the iron that is told but not answered."""
    found = []
    for item, title in CHECKLIST.items():
        answer, note = typed.get(f"eye-{item}", ""), _note(typed, item)
        if note and (not answer or (item == IN_IRON and answer == "not looked at")):
            raise BadRequest(f"{title}: something is written beside it, but not whether it was seen; choose one")
        if answer:
            found.append(Finding(item, _answer(answer), note))
    return tuple(found)


def _note(typed: Mapping[str, str], item: str) -> str | None:
    place, note = words(typed.get(f"place-{item}")), words(typed.get(f"note-{item}"))
    return BETWEEN.join(filter(None, [place, note])) or None


def _answer(text: str) -> Answer:
    for known in ANSWERS:
        if known == text:
            return known
    raise BadRequest(f"{text!r} is no answer; one of {', '.join(ANSWERS)}")
