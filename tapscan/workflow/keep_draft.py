"""A scan put together from files (workflow/draft.py) is looked at, then stored like any import.

request_of(draft)                   Request: how its recordings are to be understood
listen_to(draft, progress)          what is heard in the recordings, once: taps, or notes where keys were played
found_in(draft), notes_in(draft)    that, where somebody has listened to just these recordings
look(draft, found)                  Look: which tap goes where, and what is amiss; nothing is screened
beside_earlier(register, draft, look)   what would keep it from being compared, while it can still be mended
keep_draft(register, draft, ...)    Kept; the draft goes once the scan is stored
"""

import json
import re
from collections.abc import Sequence
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.layouts.assignment import read_order
from tapscan.layouts.tap_corrections import AssignedTap
from tapscan.places import Layout
from tapscan.plain_values import plain, revived
from tapscan.register.database import Register
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.targets import write_text
from tapscan.wording import listed
from tapscan.workers import Progress, quiet
from tapscan.workflow.bar import FIRST, LAST, BarFiles
from tapscan.workflow.bars import named_bar
from tapscan.workflow.check import Found, Request, assigned, find_taps
from tapscan.workflow.draft import PLATE, Draft, DraftFile, end_stored, see_unharmed
from tapscan.workflow.import_scan import Kept, import_scan
from tapscan.workflow.own_layouts import named_layout
from tapscan.workflow.played import HeardNotes, hear_notes, read_keys
from tapscan.workflow.report import IN_WORDS
from tapscan.workflow.sharing import bytes_of, shared_work
from tapscan.workflow.typed import number, words
from tapscan.workflow.typed_scan import conditions_of, new_scan

OUT, BACK = "-out-", "-back-"  # in the place of a station
FOUND, NOTES = "found.json", "notes.json"
MOST_NAMED = 4  # places
MOST_TAPS = 50  # at one place; more is a slip of the hand


class Look(Struct, frozen=True):
    """Where every tap goes, before anything is screened."""

    taps: tuple[AssignedTap, ...]
    remarks: tuple[str, ...]  # what is missing, double or not as the layout asks
    unreadable: tuple[str, ...]
    layout: Layout | None
    out: tuple[tuple[str, float], ...] = ()  # taps that are left out, by hand or because they grew: name, onset in s


def typed_of(draft: Draft) -> dict[str, str]:
    """What was filled into its form."""
    return dict(draft.answers.get("typed", {}))


def is_played(draft: Draft) -> bool:
    """Whether keys were played, and nothing was tapped."""
    return typed_of(draft).get("what") == "played"


def request_of(draft: Draft) -> Request:
    """What is said of taps stays unread where keys were played. Raises BadLayout, BadRequest."""
    told = typed_of(draft)
    state = conditions_of(told).state
    if is_played(draft):
        keys = ",".join(read_keys(told["keys"])) if told.get("keys") else ""
        return Request(played=True, keys=keys, state=state, called=draft.called)
    per = number(told.get("per_station"), "Taps at each place", 1, MOST_TAPS, "taps")
    return Request(
        layout=named_layout(draft.folder.parents[1], told["layout"]) if told.get("layout") else None,
        order=read_order(told["order"]) if told.get("order") else None,
        per_station=round(per) if per else None,
        assign=tuple((what, which) for what, which in draft.answers.get("assign", ())),
        skip=tuple(draft.answers.get("skip", ())),
        partial=bool(told.get("partial")),
        parts_held=bool(told.get("held")),
        state=state,
        called=draft.called,
    )


def bar_of(register: Register, draft: Draft) -> BarFiles | None:
    """Its recordings; None where there are none. Raises BadRequest where the shop has several bars and none is named, or where keys were played."""
    first, last = (_paths(draft, draft.of(part)) for part in (FIRST, LAST))
    if not (first or last):
        return None
    if is_played(draft):
        names = listed([f.name for part in (FIRST, LAST) for f in draft.of(part)], MOST_NAMED)
        raise BadRequest(
            f"{names}: of the reference bar, which goes with taps; take it out above, or say that taps were recorded"
        )
    return BarFiles(named_bar(register, words(typed_of(draft).get("bar_name"))), tuple(first), tuple(last))


def _paths(draft: Draft, files: Sequence[DraftFile]) -> list[str]:
    return [str(draft.path(f)) for f in files]


def listen_to(draft: Draft, progress: Progress = quiet, jobs: int | None = 1) -> None:
    """What was found lies in the draft's folder, so that it is done once."""
    see_unharmed(draft)
    paths = _paths(draft, draft.of(PLATE))
    with shared_work(jobs, bytes_of(paths), progress) as workers:
        if is_played(draft):
            told: object = hear_notes(paths, _hearing(draft), workers)
        else:
            told = find_taps(paths, Request(called=draft.called), workers)
    kept = {"files": _heard_of(draft), **plain(told)}
    write_text(draft.folder / (NOTES if is_played(draft) else FOUND), json.dumps(kept, ensure_ascii=False) + "\n")


def _hearing(draft: Draft) -> Request:
    return replace(request_of(draft), contact=conditions_of(typed_of(draft)).sensor.contact)


def found_in(draft: Draft) -> Found | None:
    """None where nobody has listened to just these recordings yet."""
    told = _kept(draft, FOUND)
    return revived(Found, told) if told else None


def notes_in(draft: Draft) -> HeardNotes | None:
    """None where nobody has listened to just these recordings for just these keys yet."""
    told = _kept(draft, NOTES)
    return revived(HeardNotes, told) if told else None


def _kept(draft: Draft, name: str) -> dict[str, Any] | None:
    try:
        told: dict[str, Any] = json.loads((draft.folder / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return told if told.pop("files") == _heard_of(draft) else None


def _heard_of(draft: Draft) -> list[list[object]]:
    """What an answer of the ear depends on."""
    files: list[list[object]] = [[f.number, f.name, f.size_bytes] for f in draft.of(PLATE)]
    asked = _hearing(draft) if is_played(draft) else None
    return [*files, [asked.keys, asked.contact]] if asked else files


def look(draft: Draft, found: Found) -> Look:
    """Where the take is not what the layout asks for, a remark says so."""
    request = replace(request_of(draft), as_split=True)
    taps, remarks = assigned(found.tapped, request)
    onsets = [t for one in found.tapped for t in one.onsets_s]
    kept = {tap.name for tap in taps}
    out = tuple((f"T{n}", t) for n, t in enumerate(onsets, 1) if f"T{n}" not in kept)
    return Look(tuple(taps), (*remarks, *found.repeated), found.unreadable, request.layout, out)


def beside_earlier(register: Register, draft: Draft, look: Look) -> dict[str, str]:
    """A sentence by the field that mends it; of the newest baseline scan, else of the newest scan."""
    scans = [e for e in list_scans(register, draft.plate) if not e.played]
    earlier = ([e for e in scans if e.baseline] or scans)[-1:]
    if not earlier or not look.taps:
        return {}
    (entry,) = earlier
    places = {s.station for s in load_screening(register, entry.current.id).scan.strikes}
    here: set[str] = {t.station for t in look.taps}
    told: dict[str, str] = {}
    if not here & places:
        few = ", ".join(sorted(places, key=_by_number)[:MOST_NAMED])
        told["layout"] = (
            f"None of these places is one of {entry.name}'s ({few}, ...): choose the layout that it was tapped by above, else nothing can be compared"
        )
    if entry.conditions.state and not request_of(draft).state:
        told["state"] = (
            f"The state of the plate is not said; {entry.name} was made {IN_WORDS[entry.conditions.state]}: give it above, finish and parts move tones too"
        )
    return told


def _by_number(station: str) -> tuple[int, str]:
    return len(station), station


def moved(draft: Draft, taps: Sequence[str], station: str) -> dict[str, Any]:
    """The draft's answers once these taps lie at `station`; OUT leaves them out, BACK takes back what was said of them."""
    strange = [t for t in taps if not re.fullmatch(r"T[1-9]\d{0,4}", t)]
    if strange or not station.strip():
        raise BadRequest("choose a place for the marked taps")
    told = [(what, which) for what, which in draft.answers.get("assign", ()) if what not in taps]
    numbers = {int(t[1:]) for t in taps}
    out = set(draft.answers.get("skip", ())) - numbers
    if station == OUT:
        out |= numbers
    elif station != BACK:
        told += [(tap, station) for tap in taps]
    return {"assign": told, "skip": sorted(out)}


def keep_draft(register: Register, draft: Draft, progress: Progress = quiet, jobs: int | None = 1) -> Kept:
    """A scan that may be another plate's is stored as doubtful. Raises BadRequest where the take is not what the layout asks for and nobody said how it is to be read."""
    see_unharmed(draft)
    told = typed_of(draft)
    new = new_scan(told, register, draft.plate)
    if is_played(draft):
        new = replace(new, baseline=False)  # nobody was asked: later scans are compared by taps
    request = replace(request_of(draft), bar=bar_of(register, draft))
    paths = _paths(draft, draft.of(PLATE))
    with shared_work(jobs, bytes_of(paths), progress) as workers:
        kept = import_scan(
            register, draft.plate, paths, new, request, workers, again=bool(told.get("again")), called=draft.called
        )
    if kept.entry is not None:
        end_stored(draft)
    return kept
