"""A scan put together from files (workflow/draft.py) is looked at, then stored like any import.

request_of(draft)                   Request: how its recordings are to be understood
look(draft, progress)               Look: which tap goes where, and what is amiss; nothing is screened
keep_draft(register, draft, ...)    Kept; the draft goes once the scan is stored
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from tapscan.errors import BadRequest
from tapscan.layouts.assignment import read_order
from tapscan.layouts.tap_corrections import AssignedTap
from tapscan.places import Layout
from tapscan.plain_values import plain, revived
from tapscan.register.database import Register
from tapscan.targets import write_text
from tapscan.workers import Progress, quiet
from tapscan.workflow.check import Found, Request, assigned, find_taps
from tapscan.workflow.draft import Draft, give_up
from tapscan.workflow.import_scan import Kept, import_scan
from tapscan.workflow.own_layouts import named_layout
from tapscan.workflow.sharing import bytes_of, shared_work
from tapscan.workflow.typed import number
from tapscan.workflow.typed_scan import conditions_of, new_scan

OUT, BACK = "-out-", "-back-"  # in the place of a station
FOUND = "found.json"
MOST_TAPS = 50  # at one place; more is a slip of the hand


@dataclass(frozen=True)
class Look:
    """Where every tap goes, before anything is screened."""

    taps: tuple[AssignedTap, ...]
    remarks: tuple[str, ...]  # what is missing, double or not as the layout asks
    unreadable: tuple[str, ...]
    layout: Layout | None


def request_of(draft: Draft) -> Request:
    """Raises BadLayout, BadRequest."""
    told = typed_of(draft)
    per = number(told.get("per_station"), "Taps at each place", 1, MOST_TAPS, "taps")
    return Request(
        layout=named_layout(draft.folder.parents[1], told["layout"]) if told.get("layout") else None,
        order=read_order(told["order"]) if told.get("order") else None,
        per_station=round(per) if per else None,
        assign=tuple((what, which) for what, which in draft.answers.get("assign", ())),
        skip=tuple(draft.answers.get("skip", ())),
        partial=bool(told.get("partial")),
        parts_held=bool(told.get("held")),
        state=conditions_of(told).state,
        called=draft.called,
    )


def typed_of(draft: Draft) -> dict[str, str]:
    """What was filled into its form."""
    return dict(draft.answers.get("typed", {}))


def find_in(draft: Draft, progress: Progress = quiet, jobs: int | None = 1) -> Found:
    """Listens to the recordings; what was found lies in the draft's folder, so that it is done once."""
    paths = [str(draft.path(f)) for f in draft.files]
    with shared_work(jobs, bytes_of(paths), progress) as workers:
        found = find_taps(paths, Request(called=draft.called), workers)
    write_text(draft.folder / FOUND, json.dumps({"files": _files(draft), **plain(found)}, ensure_ascii=False) + "\n")
    return found


def found_in(draft: Draft) -> Found | None:
    """None where nobody has listened to just these recordings yet."""
    try:
        told = json.loads((draft.folder / FOUND).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return revived(Found, told) if told.pop("files") == _files(draft) else None


def _files(draft: Draft) -> list[list[object]]:
    return [[f.number, f.name, f.size_bytes] for f in draft.files]


def look(draft: Draft, found: Found) -> Look:
    """Where the take is not what the layout asks for, a remark says so."""
    request = replace(request_of(draft), as_split=True)
    taps, remarks = assigned(found.tapped, request)
    return Look(tuple(taps), (*remarks, *found.repeated), found.unreadable, request.layout)


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
    new = new_scan(typed_of(draft), register.folder)
    paths = [str(draft.path(f)) for f in draft.files]
    with shared_work(jobs, bytes_of(paths), progress) as workers:
        kept = import_scan(register, draft.plate, paths, new, request_of(draft), workers, called=draft.called)
    if kept.entry is not None:
        give_up(draft)
    return kept
