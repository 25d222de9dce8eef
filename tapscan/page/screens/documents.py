"""The report, the summary for a buyer and the PDF of a scan: made when they are asked for, in a folder that goes with the program."""

import secrets
import tempfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from markupsafe import escape
from msgspec.structs import replace
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from tapscan.errors import BadRequest, UnknownName
from tapscan.page.forms import Form, asked, reading_number
from tapscan.page.opened import register_of
from tapscan.page.shown import go, to
from tapscan.workers import Progress
from tapscan.workflow.reading import shop_of
from tapscan.workflow.scan import find_scan
from tapscan.workflow.write_report import Wish, page_name, write_report

KINDS = {
    "report": Wish(),
    "summary": Wish(summary=True),
    "pdf": Wish(pdf=True),
    "full": Wish(full=True),
    "summary-pdf": Wish(summary=True, pdf=True),
}
TITLES = {
    "report": "The report",
    "summary": "One page for a buyer",
    "pdf": "The report as PDF",
    "full": "Every figure",
    "summary-pdf": "One page for a buyer, as PDF",
}
WAYS_STYLE = ".ways { padding: .8rem 1.2rem; margin: 0; max-width: none; } .ways a { margin-right: 1.2rem; } @media print { .ways { display: none; } }"
OWN_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def make(request: Request) -> Response:
    """Drawing takes a while."""
    form, register = Form(request), register_of(request)
    entry, kind = find_scan(register, form.text("name")), form.text("kind")
    if kind not in KINDS:
        raise BadRequest(f"{kind!r} cannot be made; one of {', '.join(KINDS)}")
    wish = replace(KINDS[kind], shop=shop_of(register), whom=form.text("whom"))
    number = reading_number(form.text("reading"))
    return begin_document(
        request,
        f"{TITLES[kind]} of {entry.name}",
        page_name(entry.name, wish),
        to("/scan", name=entry.name),
        f"document {entry.name} {kind} {wish.whom} {number}",
        lambda path: write_report(register, entry.name, path, wish, number),
    )


def begin_document(
    request: Request, title: str, name: Path, back: str, key: str, write: Callable[[Path], object]
) -> Response:
    """`name` : as it is called when it is saved; `write` puts it into a file of that ending."""
    folder, number = _folder(request), secrets.token_hex(8)

    def do(progress: Progress) -> str:
        progress("Drawing it", 0, 0)
        write(folder / f"{number}{name.suffix}")
        request.app.state.ways_back[number] = back
        return to("/document", id=number, name=name)

    return go(to("/progress", id=request.app.state.works.begin(title, do, key, back).id))


def document(request: Request) -> Response:
    """By a number that nobody can guess; never by a path."""
    number = asked(request, "id")
    known = {p.stem: p for p in _folder(request).iterdir()}
    if number not in known:
        raise UnknownName("this document is not there any more; make it again from the scan's page")
    path = known[number]
    pdf = path.suffix == ".pdf"
    name = quote(asked(request, "name") or path.name, safe="")
    saved = "attachment" if asked(request, "save") else "inline"
    headers = {"content-disposition": f"{saved}; filename*=UTF-8''{name}", "content-security-policy": OWN_POLICY}
    if not pdf and not asked(request, "save"):
        return HTMLResponse(_with_ways(path.read_text(encoding="utf-8"), request), headers=headers)
    return FileResponse(path, media_type="application/pdf" if pdf else "text/html; charset=utf-8", headers=headers)


def _with_ways(page: str, request: Request) -> str:
    """A way back, and to a file of one's own; on the screen only, and not in what is saved."""
    back = request.app.state.ways_back[asked(request, "id")]
    save = to("/document", id=asked(request, "id"), name=asked(request, "name"), save="yes")
    ways = f'<p class="ways"><a href="{escape(back)}">Back</a> <a href="{escape(save)}">Save it as a file</a> <span>To print it: the browser\'s own Print, or the PDF.</span></p>'
    return page.replace("</style>", f"{WAYS_STYLE}</style>", 1).replace("<body>", f"<body>{ways}", 1)


def _folder(request: Request) -> Path:
    """Readable by this user only; removed when the program ends."""
    state = request.app.state
    if getattr(state, "documents", None) is None:
        state.documents = tempfile.TemporaryDirectory(prefix="tapscan-documents-")
        state.ways_back = {}  # by number: an address from outside would lead anywhere
    return Path(state.documents.name)


ROUTES = [Route("/document", document, methods=["GET"]), Route("/document", make, methods=["POST"])]
