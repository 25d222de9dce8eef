"""A new scan from files: drop them in, say how it was tapped, see where every tap went, move what is wrong, store."""

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.draft_parts import places_of
from tapscan.page.forms import Form, asked, file_name, receive, whole_number
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workers import Progress
from tapscan.workflow.bar import BAR_TURNS, WHERE
from tapscan.workflow.bars import list_bars
from tapscan.workflow.baseline import baseline_told
from tapscan.workflow.draft import (
    PLATE,
    Draft,
    begin_draft,
    change,
    find_draft,
    give_up,
    incoming,
    remove_file,
    set_part,
)
from tapscan.workflow.keep_draft import (
    beside_earlier,
    found_in,
    is_played,
    keep_draft,
    listen_to,
    look,
    moved,
    notes_in,
    typed_of,
)
from tapscan.workflow.known_since import may_be_compared
from tapscan.workflow.left_alone import stop_of
from tapscan.workflow.own_layouts import layout_names
from tapscan.workflow.phone_take import asked_of
from tapscan.workflow.reading import shop_of
from tapscan.workflow.register import Register
from tapscan.workflow.typed_scan import as_before, conditions_of, first_typed, of_its_visit

MOST_BYTES = 1_000_000_000  # of one recording
FEW_FILES = 4  # of more their list is folded: nothing in it waits for an answer
TEXT_KEYS = {"token", "id", "seen", "tap", "station", "act", "of"}
ANEW = ("date", "state", "iron_c")  # asked for each time
DROPPED = "dropped"  # they came in just now: nobody has gone on to the taps yet
OTHER_DAY = "The state of the plate is now as the visit of that day says, or unknown where it says nothing: look at it under 2, then store the scan."
PART_WORDS = {PLATE: "", **{part: WHERE[part] for part in BAR_TURNS}}


def begin(request: Request) -> Response:
    """Begins it at once, so that nothing is lost from here on."""
    register, form = register_of(request), Form(request)
    draft = begin_draft(register, form.text("plate"))
    first = {**first_typed(register, draft.plate), "state": ""}
    change(draft, draft.version, _with_visit(register, draft, first))
    return go(to("/draft", id=draft.id))


def draft(request: Request) -> Response:
    """Recordings, how they were tapped, where the taps went."""
    register = register_of(request)
    found = find_draft(register, asked(request, "id"))
    return _shown(request, found)


def _shown(request: Request, draft: Draft, problem: str | None = None, status: int = 200) -> Response:
    heard = looked = notes = None
    earlier: dict[str, str] = {}
    try:
        notes = notes_in(draft) if is_played(draft) else None
        heard = None if is_played(draft) else found_in(draft)
        looked = look(draft, heard) if heard else None
        earlier = beside_earlier(register_of(request), draft, looked) if looked else {}
    except BadRequest as trouble:  # a mistake in the form: the form tells it
        problem = problem or str(trouble)
    return show(
        request,
        "draft.html",
        status,
        draft=draft,
        t=_ticked(typed_of(draft)),
        before={**as_before(register_of(request), draft.plate, typed_of(draft)), **_asked_of_phones(draft)},
        look=looked,
        earlier=earlier,
        unsaid=_unsaid(draft),
        stop=stop_of(register_of(request), draft.plate),
        compared_with=baseline_told(register_of(request), draft.plate, shop_of(register_of(request))),
        heard=heard,
        notes=notes,
        played=is_played(draft),
        bars=list_bars(register_of(request)),
        PART_WORDS=PART_WORDS,
        few_files=FEW_FILES,
        places=places_of(looked, draft) if looked else None,
        layouts=[(name, name) for name in layout_names(draft.folder.parents[1])],
        problem=problem,
    )


def _ticked(typed: dict[str, str]) -> dict[str, str]:
    """The form begins with the baseline's tick; a scan that no later one is compared with does not keep it."""
    try:
        useful = may_be_compared(conditions_of(typed))
    except BadRequest:  # the form tells the mistake
        useful = True
    return typed if useful else {**typed, "baseline": ""}


def _asked_of_phones(draft: Draft) -> dict[str, str]:
    """By field: the form began with the shop's sensor before there was a file."""
    called = draft.called
    files = {path: called[path] for path in (str(draft.path(f)) for f in draft.of(PLATE))}
    told = asked_of(files, typed_of(draft).get("sensor"))
    return {"sensor": told} if told else {}


def _unsaid(draft: Draft) -> bool:
    """Whether one of them stands empty."""
    return not all(typed_of(draft).get(field) for field in ANEW)


async def put_file(request: Request) -> Response:
    """One recording is the body."""
    register = register_of(request)
    found, name = find_draft(register, asked(request, "id")), file_name(request)
    with incoming(found, name, asked(request, "part") or PLATE) as file:
        await receive(request, file)
    return JSONResponse({"version": (await run_in_threadpool(find_draft, register, found.id)).version})


def act(request: Request) -> Response:
    """Whatever button was pressed: what stands in the form is kept first."""
    register, form = register_of(request), Form(request)
    found = find_draft(register, form.text("id"))
    typed = {key: value for key, value in form.typed().items() if key not in TEXT_KEYS}
    told = _with_visit(register, found, typed)
    found = change(found, whole_number(form.text("seen")), told)
    verb, _, what = form.text("act").partition(":")
    if verb == "store" and told["typed"] != typed:  # nothing is stored that nobody has seen
        return go(to("/draft", id=found.id, said=OTHER_DAY) + "#how")
    return VERBS.get(verb, _keep_words)(request, found, form, what)


def _with_visit(register: Register, draft: Draft, typed: dict[str, str]) -> dict[str, object]:
    """The draft's answers: `visited` is the day of the visit that the state was taken from."""
    told, taken = of_its_visit(register, draft.plate, typed, draft.answers.get("visited"))
    return {"typed": told, "visited": taken}


def _keep_words(request: Request, draft: Draft, form: Form, what: str) -> Response:
    return go(to("/draft", id=draft.id) + ("#files" if what == DROPPED else "#taps"))


def _remove(request: Request, draft: Draft, form: Form, what: str) -> Response:
    remove_file(draft, whole_number(what))
    return go(to("/draft", id=draft.id))


def _part(request: Request, draft: Draft, form: Form, part: str) -> Response:
    """A recording that came among the plate's is of the bar; or back."""
    part, _, number = part.partition(":")
    number = number or form.text("of")
    set_part(draft, whole_number(number), part)
    return go(to("/draft", id=draft.id))


def _move(request: Request, draft: Draft, form: Form, what: str) -> Response:
    """Marked taps to a place, out, or back in."""
    taps = form.every("tap")
    if not taps:
        raise BadRequest("no tap is marked: mark those that are to be moved, then choose their place")
    changed = moved(draft, taps, form.text("station"))
    change(draft, draft.version, changed)
    return go(to("/draft", id=draft.id) + "#taps")


def _listen(request: Request, draft: Draft, form: Form, what: str) -> Response:
    if not draft.of(PLATE):
        raise BadRequest("there is no recording yet: drop one in first")
    back = to("/draft", id=draft.id)

    def do(progress: Progress) -> str:
        listen_to(draft, progress, request.app.state.jobs)
        return back + ("#how" if what == DROPPED and _unsaid(draft) else "#taps")

    work = request.app.state.works.begin("Listening to the recordings", do, f"listen {draft.id} {draft.version}", back)
    return go(to("/progress", id=work.id))


def _store(request: Request, draft: Draft, form: Form, what: str) -> Response:
    register, back = register_of(request), to("/draft", id=draft.id) + "#taps"
    if (notes_in(draft) if is_played(draft) else found_in(draft)) is None:  # looked at first, whatever was changed
        return _listen(request, draft, form, what)

    def do(progress: Progress) -> str:
        kept = keep_draft(register, find_draft(register, draft.id), progress, request.app.state.jobs)
        if kept.entry is None:
            raise BadRequest("; ".join(kept.unreadable) or "nothing was stored")
        return to("/scan", name=kept.entry.name, said=f"Stored as {kept.entry.name}.")

    work = request.app.state.works.begin(f"Reading the scan of {draft.plate}", do, f"store {draft.id}", back)
    return go(to("/progress", id=work.id))


def _give_up(request: Request, draft: Draft, form: Form, what: str) -> Response:
    give_up(draft)
    return go(to("/plate", name=draft.plate, said="Given up; nothing was stored."))


VERBS = {
    "listen": _listen,
    "store": _store,
    "move": _move,
    "part": _part,
    "remove": _remove,
    "give-up": _give_up,
}
ROUTES = [
    Route("/draft/new", begin, methods=["POST"]),
    Route("/draft", draft, methods=["GET"]),
    Route("/draft", act, methods=["POST"]),
    Route("/draft/file", put_file, methods=["PUT"]),
]
SIZES = {"/draft/file": MOST_BYTES}
