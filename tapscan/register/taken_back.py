"""What may be a crack and was noted is not taken away by a later look: a person takes it back, says why, and it stays on record.

of_round(visit, looks, why)      TakenBack after TakenBack: what the visit had and these looks have no more
of_list(entry, checklist, why)   the same of a scan's own list
round_kept(visit, looks, why)    looks, with what was written there before of what may be a crack
list_kept(entry, checklist, why)   the same of a scan's own list
both_noted(was, now)             two looks at one region as one
both_notes(was, now)             the same of what is written

Signs are added. What was written before stays in front of what is written now, unless a person says why it was a mistake: a second line in the iron is not the first one. A note of which nobody had said the kind may be given one; where that is no sign of a crack, what stood
before is kept too.
"""

import datetime as dt
from collections.abc import Sequence
from typing import TypeVar

from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import REGIONS, SIGNS
from tapscan.register.entries import EYE_SUSPECTS, Finding, ScanEntry, TakenBack, in_words
from tapscan.register.visit_entries import MAY_BE_CRACK, Look, Visit
from tapscan.wording import argument, listed

T = TypeVar("T")


def of_round(before: Visit, looks: Sequence[Look], why: str | None) -> tuple[TakenBack, ...]:
    """Raises BadRequest where that needs a reason, or where an examination has its result there."""
    after = {look.region: look for look in looks}
    lost = [
        look
        for look in before.round
        if _lost(look, now := after.get(look.region, Look(look.region))) or _reworded(look, now)
    ]
    for look in lost:
        road = f"`tapscan visit outcome {argument(before.name)} --region {look.region}`"
        if look.outcomes:
            raise BadRequest(
                f"{_told(look)}: an examination has its result there ({look.outcomes[-1].told}), so it stays as it was noted; a further result: {road}"
            )
    kinds = {look.region: after[look.region].signs for look in lost if not look.signs and look.region in after}
    named = {
        region: f"its kind is told: {listed([SIGNS[s] for s in signs])}" for region, signs in kinds.items() if signs
    }
    wanting = [look for look in lost if look.region not in named]
    if wanting and not why:
        road = f"`tapscan visit outcome {argument(before.name)} --region {wanting[0].region}`"
        raise BadRequest(_refused([_told(look) for look in wanting], before.date, road))
    return tuple(_now(_told(look), why or named[look.region]) for look in _some(lost, why))


def round_kept(before: Visit, looks: Sequence[Look], why: str | None) -> list[Look]:
    """With a reason they are as they are given."""
    was = {look.region: look for look in before.round}
    return [look if why or _lost(was[look.region], look) else _with_note(was[look.region], look) for look in looks]


def _with_note(was: Look, now: Look) -> Look:
    return replace(now, note=both_notes(was.note, now.note)) if was.suspect else now


def both_noted(was: Look, now: Look) -> Look:
    """Typed in one go. A note of which nobody says the kind counts as what may be a crack, whatever else is told of the region."""
    if "note" not in (was.answer, now.answer) or was.answer != now.answer:
        return now
    both = replace(now, signs=tuple(dict.fromkeys((*was.signs, *now.signs))), note=both_notes(was.note, now.note))
    return both if both.suspect or not (was.suspect or now.suspect) else replace(both, signs=())


def list_kept(before: Sequence[Finding], checklist: Sequence[Finding], why: str | None) -> tuple[Finding, ...]:
    """With a reason it is as it is given."""
    was = {f.item: f.note for f in before if f.answer == "seen" and f.item in EYE_SUSPECTS and not why}
    return tuple(replace(f, note=both_notes(was.get(f.item), f.note)) if f.answer == "seen" else f for f in checklist)


def both_notes(was: str | None, now: str | None) -> str | None:
    """What is written now may say it all: the same, or more after it. Words are not looked for inside: "no crack" holds "crack"."""
    if was is None or now is None:
        return now or was
    old, new = was.casefold(), now.casefold()
    if new == old or new.startswith((f"{old};", f"{old},", f"{old}:")):
        return now
    return was if new in (part.strip() for part in old.split(";")) else f"{was}; {now}"


def _lost(was: Look, now: Look) -> bool:
    """One of the signs that may be a crack is gone, or all that made a note count as one."""
    return was.suspect and not (now.suspect and set(was.signs) & set(MAY_BE_CRACK) <= set(now.signs))


def _reworded(was: Look, now: Look) -> bool:
    """What was written is no longer there."""
    return was.suspect and both_notes(was.note, now.note) != now.note


def _told(look: Look) -> str:
    return f"{REGIONS[look.region]}: {look.told}"


def of_list(before: ScanEntry, checklist: Sequence[Finding], why: str | None) -> tuple[TakenBack, ...]:
    """Raises BadRequest where that needs a reason."""
    seen = {f.item: f.note for f in checklist if f.answer == "seen"}
    own = [f for f in before.checklist if f.item in EYE_SUSPECTS and f.answer == "seen"]
    lost = in_words(tuple(f for f in own if f.item not in seen or both_notes(f.note, seen[f.item]) != seen[f.item]))
    if lost and not why:
        raise BadRequest(_refused(lost, before.date, f"`tapscan scan outcome {argument(before.name)} --explains`"))
    return tuple(_now(told, why or "") for told in _some(lost, why))


def _some(lost: Sequence[T], why: str | None) -> Sequence[T]:
    if why and not lost:
        raise BadRequest(
            "a reason is given for taking back what may be a crack, but none is taken back here; leave it out: --mistake WHY"
        )
    return lost


def _refused(told: Sequence[str], on: dt.date, road: str) -> str:
    stays = f"{listed(told)}: noted on {on}, may be a crack, and a later look does not take that away"
    return f"{stays}. What an examination finds of it is noted with {road}. If it was never there, say why it was noted: --mistake WHY"


def _now(what: str, why: str) -> TakenBack:
    return TakenBack(what, dt.date.today().isoformat(), why)
