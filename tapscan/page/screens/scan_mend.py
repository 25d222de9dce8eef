"""A scan is crossed out, counts again, goes to another plate, becomes a baseline, or is read anew. Nothing is ever deleted."""

import datetime as dt
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workers import Progress, Workers
from tapscan.workflow.baseline import choose_baseline
from tapscan.workflow.crossed_out import cross_out
from tapscan.workflow.history import baseline_of
from tapscan.workflow.import_scan import rescreen
from tapscan.workflow.keep_draft import MOST_TAPS
from tapscan.workflow.layout import read_assign, read_order, read_skip
from tapscan.workflow.moved import entry_of, read_moved
from tapscan.workflow.own_layouts import layout_names, named_layout
from tapscan.workflow.plate import list_plates
from tapscan.workflow.register import Register
from tapscan.workflow.scan import ScanEntry, find_scan, move_scan, restore_scan
from tapscan.workflow.settings import read_settings
from tapscan.workflow.sharing import shared_work
from tapscan.workflow.standing import against_baseline, no_baseline
from tapscan.workflow.typed import day, number, words


def mend(request: Request) -> Response:
    """All that can be put right."""
    register = register_of(request)
    entry = find_scan(register, asked(request, "name"))
    return show(
        request,
        "scan_mend.html",
        e=entry,
        barred=no_baseline(entry),
        against=against_baseline(register, entry),
        plates=[p.name for p, _, _ in list_plates(register) if p.name != entry.plate],
        layouts=[(name, name) for name in layout_names(register.folder)],
        like=asked(request, "plate"),
        given_back=asked(request, "assign"),
    )


def void(request: Request) -> Response:
    """With a reason that others can read later."""
    form = Form(request)
    entry, told = cross_out(register_of(request), form.text("name"), form.text("why"), dt.date.today())
    said = " ".join(["Crossed out. It is kept, and its taps do not count any more.", *told])
    return go(to("/scan", name=entry.name, said=said))


def restore(request: Request) -> Response:
    """Undo of `void`."""
    entry = restore_scan(register_of(request), Form(request).text("name"))
    return go(to("/scan", name=entry.name, said="It counts again."))


def move(request: Request) -> Response:
    """To another plate or day. What was doubted beside the old plate's scans is asked anew beside the new one's."""
    form, register = Form(request), register_of(request)
    other = day(form.text("day"), "Day", register.folder) if form.text("day") else None
    entry = move_scan(register, form.text("name"), form.text("plate"), form.text("why"), dt.date.today(), other)
    if entry.crossed_out:  # nothing is read
        return go(to("/scan", name=entry.name, said=read_moved(register, entry, read_settings(None)).told))

    def do(progress: Progress) -> str:
        with _work(request, entry, progress) as workers:
            return to("/scan", name=entry.name, said=read_moved(register, entry, read_settings(None), workers).told)

    return _begin(request, entry, do, to("/scan", name=entry.name))


def baseline(request: Request) -> Response:
    """One scan more, or less, in the baseline."""
    form, register = Form(request), register_of(request)
    entry = find_scan(register, form.text("name"))
    names = [e.name for e in baseline_of(register, entry.plate) if e.name != entry.name]
    if form.text("act") == "add":
        names.append(entry.name)
    choose_baseline(register, entry.plate, names, words(form.text("although")))
    told = "It is part of the baseline." if form.text("act") == "add" else "It is no baseline scan any more."
    return go(to("/scan", name=entry.name, said=told))


def anew(request: Request) -> Response:
    """From the kept recordings, with present settings; earlier results are kept."""
    form, register = Form(request), register_of(request)
    entry = find_scan(register, form.text("name"))
    changes: dict[str, Any] = {}
    if form.text("layout"):
        changes["layout"] = named_layout(register.folder, form.text("layout"))
    if form.text("order"):
        changes["order"] = read_order(form.text("order"))
    if form.text("per_station"):
        changes["per_station"] = round(
            number(form.text("per_station"), "Taps at each place", 1, MOST_TAPS, "taps") or 1
        )
    if form.text("assign"):
        changes["assign"] = tuple(read_assign(word) for word in form.text("assign").split(","))
    if form.text("skip"):
        changes["skip"] = tuple(read_skip(form.text("skip")))
    if form.ticked("sure"):
        changes["sure"] = True
    back = to("/scan/mend", name=entry.name) + "#anew"

    def do(progress: Progress) -> str:
        read = _rescreened(request, register, entry, changes, progress)
        return to("/scan", name=read.name, said="Read anew; the earlier reading is kept.")

    return _begin(request, entry, do, back)


def _rescreened(
    request: Request, register: Register, entry: ScanEntry, changes: dict[str, Any], progress: Progress
) -> ScanEntry:
    with _work(request, entry, progress) as workers:
        return entry_of(rescreen(register, entry.name, read_settings(None), workers, changes))


def _work(request: Request, entry: ScanEntry, progress: Progress) -> AbstractContextManager[Workers]:
    return shared_work(request.app.state.jobs, sum(f.size_bytes for f in entry.files), progress)


def _begin(request: Request, entry: ScanEntry, do: Callable[[Progress], str], back: str) -> Response:
    work = request.app.state.works.begin(f"Reading {entry.name} anew", do, f"anew {entry.name}", back)
    return go(to("/progress", id=work.id))


ROUTES = [
    Route("/scan/mend", mend, methods=["GET"]),
    Route("/scan/void", void, methods=["POST"]),
    Route("/scan/restore", restore, methods=["POST"]),
    Route("/scan/move", move, methods=["POST"]),
    Route("/scan/baseline", baseline, methods=["POST"]),
    Route("/scan/anew", anew, methods=["POST"]),
]
