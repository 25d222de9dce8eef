"""A plate's life: its scans, what was found, its photos, what is begun and not stored."""

import re
from collections.abc import Sequence
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from tapscan.errors import UnknownName
from tapscan.page.forms import asked, file_name, receive
from tapscan.page.opened import register_of
from tapscan.page.shown import show
from tapscan.places import State
from tapscan.wording import listed
from tapscan.workflow.as_listed import headings
from tapscan.workflow.at_a_glance import standing_of
from tapscan.workflow.baseline import advice, baseline_told
from tapscan.workflow.draft import drafts_of
from tapscan.workflow.photos import MOST_BYTES, keep_photo, photo_of
from tapscan.workflow.plate import find_plate
from tapscan.workflow.reading import shop_of
from tapscan.workflow.scan import list_scans, unfinished_scans
from tapscan.workflow.still_open import OpenFinding, plainly, plate_on_record, state_now, unexamined
from tapscan.workflow.taken import what_of
from tapscan.workflow.visit import BY_MISTAKE, REGIONS, Visit, list_visits
from tapscan.workflow.visit import Look as LookAt


def plate(request: Request) -> Response:
    """Newest scan first."""
    register = register_of(request)
    found = find_plate(register, asked(request, "name"), exact=True)
    scans = list_scans(register, found.name, void=True)
    marked = sum(s.baseline and not s.crossed_out for s in scans)
    record = plate_on_record(register, found.name)
    now = standing_of(register, record)
    opened = now.opened
    return show(
        request,
        "plate.html",
        plate=found,
        scans=scans[::-1],
        headings=headings(register, found.name, record),
        now=now,
        counting=[e.name for e in scans if not e.crossed_out and not e.played],
        marked=marked,
        compared_with=baseline_told(register, found.name, shop_of(register)),
        beside=any(not (e.crossed_out or e.played or e.baseline) for e in scans),
        advice=_advice(marked, opened, state_now(record)),
        open_findings=plainly(register, found.name, opened),
        visits=[(v, _seen_on(v)) for v in list_visits(register, found.name)[::-1]],
        drafts=drafts_of(register, found.name),
        unfinished=[(u, what_of(u)) for u in unfinished_scans(register, found.name)],
    )


def _advice(marked: int, opened: Sequence[OpenFinding], state: State | None) -> str:
    if marked:
        return advice(marked, still_open=unexamined(opened), state=state)
    return "No baseline yet: later scans have nothing to be compared with."


def _seen_on(visit: Visit) -> str:
    """What an examination found, what the eye saw and what became of it, what was noted; empty where nothing was."""

    def told(looks: Sequence[LookAt]) -> str:
        return listed([f"{REGIONS[look.region]}: {look.told}" for look in looks])

    seen = [look for look in visit.suspects if not look.flaws]
    noted = [look for look in visit.round if look.answer == "note" and not look.suspect]
    flaws = [f"{REGIONS[look.region]}: {o.told}" for look in visit.round for o in look.weighed if o.flaw]
    rows = (
        (flaws, f"An examination found a flaw: {'; '.join(flaws)}."),
        (seen, f"The eye saw what may be a crack: {told(seen)}."),
        (visit.explained and not seen, "What the eye saw has been explained by an examination."),
        (noted, f"Noted: {told(noted)}."),
        *((True, f"{BY_MISTAKE} {one.told.rstrip('.')}.") for one in visit.taken_back),
    )
    return " ".join(said for there, said in rows if there)


def photo(request: Request) -> Response:
    """Only one of this plate's, found by its hash; its kind is told from its bytes."""
    register = register_of(request)
    sha256 = asked(request, "sha")
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        raise UnknownName("there is no such photo")
    path, kind = photo_of(register, asked(request, "plate"), sha256)
    headers = {"content-disposition": "inline", "content-security-policy": "default-src 'none'; sandbox"}
    return FileResponse(Path(path), media_type=kind, headers={**headers, "cache-control": "private, max-age=86400"})


async def add_photo(request: Request) -> Response:
    """The photo is the body."""
    register = register_of(request)
    with keep_photo(register, asked(request, "plate"), file_name(request)) as taken:
        await receive(request, taken.file)
        await run_in_threadpool(taken.keep)
    return JSONResponse({"kept": taken.name})


ROUTES = [
    Route("/plate", plate),
    Route("/plate/photo", photo, methods=["GET"]),
    Route("/plate/photo", add_photo, methods=["PUT"]),
]
SIZES = {"/plate/photo": MOST_BYTES}
