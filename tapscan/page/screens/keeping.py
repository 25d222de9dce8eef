"""The register as a whole: is it whole, a copy of it, a copy taken back, its content for other programs."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

from msgspec import Struct
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.forms import Form
from tapscan.page.opened import has_register, register_of
from tapscan.page.shown import go, show, to
from tapscan.workers import Progress
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.last_register import remember
from tapscan.workflow.register import back_up, check_register, restore
from tapscan.workflow.rescreen_all import Rescreened, rescreen_all, waiting
from tapscan.workflow.settings import read_settings
from tapscan.workflow.typed import day, words

MOST_LINES = 40


def keeping(request: Request) -> Response:
    """Names for the next copy and for what other programs get are offered, beside the register."""
    place = request.app.state.place
    beside = place.absolute().parent if isinstance(place, Path) else Path.home()
    today = dt.date.today().isoformat()
    state = request.app.state
    return show(
        request,
        "keeping.html",
        folder=place.absolute() if isinstance(place, Path) else place.shown,
        there=has_register(request),
        offered=beside / f"tapscan-backup-{today}",
        export=beside / f"tapscan-{today}",
        waits=getattr(state, "waits", None),
        checked=getattr(state, "checked", None),
        anew=getattr(state, "anew", None),
        most=MOST_LINES,
    )


def backup(request: Request) -> Response:
    """Into a folder that does not exist yet; other windows may go on meanwhile."""
    register, target = register_of(request), _target(Form(request).text("target"))

    def do(progress: Progress) -> str:
        made = back_up(register, target, lambda done, total: progress("Copying files", done, total))
        told = f"Copied to {made.folder}: {made.files} files."
        if made.missing:
            told += f" Missing or damaged before: {', '.join(made.missing[:MOST_LINES])}."
        return to("/register", said=told)

    return _begin(request, "Copying the register", do, f"backup {target}")


def take_back(request: Request) -> Response:
    """Only into a place where there is no register: nothing is ever overwritten."""
    source, folder = _target(Form(request).text("source")), request.app.state.place
    if not isinstance(folder, Path):
        raise BadRequest("a backup is put on a server by: tapscan register move ADDRESS --files URL --register BACKUP")

    def do(progress: Progress) -> str:
        made = restore(source, folder, lambda done, total: progress("Copying files", done, total))
        remember(made.folder)
        return to(
            "/",
            said=f"Restored: {made.files} files." + (f" Missing: {', '.join(made.missing)}." if made.missing else ""),
        )

    return _begin(request, "Restoring the register", do, f"restore {folder}")


def check(request: Request) -> Response:
    """Every file against its hash; nothing is changed."""
    register, state = register_of(request), request.app.state

    def do(progress: Progress) -> str:
        state.checked = check_register(register, lambda done, total: progress("Looking at every file", done, total))
        return to("/register") + "#checked"

    return _begin(request, "Looking whether everything is there", do, "check")


class Anew(Struct, frozen=True):
    """What came of reading scans anew."""

    of: int
    done: list[Rescreened]

    @property
    def changed(self) -> list[Rescreened]:
        """Another answer than before."""
        return sorted((one for one in self.done if one.changed), key=lambda one: one.scan)

    @property
    def failed(self) -> list[Rescreened]:
        """As they were."""
        return [one for one in self.done if one.trouble]


def anew(request: Request) -> Response:
    """All that this version has not read yet; each is stored as it comes."""
    form, register, state = Form(request), register_of(request), request.app.state
    settings = read_settings(None)
    since = day(form.text("since"), "Day", register.folder) if form.text("since") else None
    pattern = words(form.text("pattern"))
    if not waiting(register, settings, pattern, since):
        of_these = " of those asked for" if pattern or since else ""
        return go(to("/register", said=f"No scan{of_these} is left that this version has not read."))

    def do(progress: Progress) -> str:
        done: list[Rescreened] = []
        left = waiting(register, settings, pattern, since)  # by now, after what was begun before
        progress("Reading scans", 0, len(left))
        for one in rescreen_all(register, left, settings, None, state.jobs):
            done.append(one)
            progress("Reading scans", len(done), len(left))
        state.anew = Anew(len(left), done)
        return to("/register") + "#anew"

    return _begin(request, "Reading scans anew", do, f"anew {pattern} {since}")


def export(request: Request) -> Response:
    """One JSON file, or a folder of CSV."""
    form, register = Form(request), register_of(request)
    target, kind = _target(form.text("target")), form.text("kind")

    def do(progress: Progress) -> str:
        progress("Writing", 0, 0)
        if kind == "json":
            export_json(register, target)
        else:
            export_csv(register, target)
        return to("/register", said=f"Written to {target}.")

    return _begin(request, "Writing the register's content", do, f"export {target}")


def _target(text: str) -> Path:
    if not text:
        raise BadRequest("name a folder, with its whole path")
    path = Path(text).expanduser()
    if not path.is_absolute():
        raise BadRequest(f"{text}: give the whole path, for example {Path.home() / 'tapscan-backup'}")
    return path


def _begin(request: Request, title: str, do: Callable[[Progress], str], key: str) -> Response:
    return go(to("/progress", id=request.app.state.works.begin(title, do, key, "/register").id))


ROUTES = [
    Route("/register", keeping, methods=["GET"]),
    Route("/register/backup", backup, methods=["POST"]),
    Route("/register/restore", take_back, methods=["POST"]),
    Route("/register/check", check, methods=["POST"]),
    Route("/register/export", export, methods=["POST"]),
    Route("/register/anew", anew, methods=["POST"]),
]
