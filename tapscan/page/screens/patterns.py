"""Plates of one pattern as references: the shop's own, and sets of other shops."""

import tempfile
from pathlib import Path
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from tapscan.page.counts import count, count_of, counted_at
from tapscan.page.forms import Form, asked, receive
from tapscan.page.opened import register_of
from tapscan.page.shown import show, to
from tapscan.workflow.pattern import (
    export_set,
    find_pattern,
    import_set,
    left_out_words,
    patterns_of,
    standing_of,
    standing_rows,
    suggestions_of,
)
from tapscan.workflow.settings import read_settings
from tapscan.workflow.typed import words

MOST_BYTES = 100_000_000
NAMES = "names of patterns"


def patterns(request: Request) -> Response:
    """How many plates tell of each; names that seem to be one pattern or two."""
    register = register_of(request)
    suggestions, at = count_of(request, NAMES), counted_at(request, NAMES)
    return show(request, "patterns.html", patterns=patterns_of(register), suggestions=suggestions, counted_at=at)


def look(request: Request) -> Response:
    """From the modes of all plates."""
    register = register_of(request)
    title = "Looking whether names are one pattern or two"
    return count(request, title, NAMES, "/patterns", lambda: suggestions_of(register))


def pattern(request: Request) -> Response:
    """Its plates, and how each stands against the others where that was asked for."""
    found = find_pattern(register_of(request), asked(request, "name"))
    key = f"pattern {found.name}"
    lots = count_of(request, key)
    told = None if lots is None else [(lot.what, standing_rows(lot), left_out_words(lot)) for lot in lots]
    return show(request, "pattern.html", q=found, lots=told, counted_at=counted_at(request, key))


def hold(request: Request) -> Response:
    """Each reference against the others."""
    register = register_of(request)
    name = find_pattern(register, Form(request).text("name")).name
    title, back = f"Plates of pattern {name} held against each other", to("/pattern", name=name)
    return count(request, title, f"pattern {name}", back, lambda: standing_of(register, name, read_settings(None)))


def give(request: Request) -> Response:
    """A set for other shops: modes and outcomes; no sound, no names of plates."""
    form, register = Form(request), register_of(request)
    found = find_pattern(register, form.text("name"))
    with tempfile.TemporaryDirectory(prefix="tapscan-set-") as folder:
        path = Path(folder) / "set.json"
        export_set(register, found.name, path, words(form.text("called")), words(form.text("owner")))
        content = path.read_bytes()
    name = quote(f"{found.name} set.json", safe="")
    headers = {"content-disposition": f"attachment; filename*=UTF-8''{name}"}
    return Response(content, media_type="application/json", headers=headers)


async def take(request: Request) -> Response:
    """The file is the body. Whole or not at all."""
    register = await run_in_threadpool(register_of, request)
    with tempfile.TemporaryDirectory(prefix="tapscan-set-") as folder:
        path = Path(folder) / "set.json"
        with path.open("xb") as file:
            await receive(request, file)
        entry = await run_in_threadpool(import_set, register, path)
    return JSONResponse({"kept": entry.name})


ROUTES = [
    Route("/patterns", patterns, methods=["GET"]),
    Route("/pattern", pattern, methods=["GET"]),
    Route("/patterns", look, methods=["POST"]),
    Route("/pattern", hold, methods=["POST"]),
    Route("/pattern/set", give, methods=["POST"]),
    Route("/pattern/set", take, methods=["PUT"]),
]
SIZES = {"/pattern/set": MOST_BYTES}
