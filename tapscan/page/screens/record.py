"""A new scan by live recording: how and with what, the room's noise, round the plate, on to the reading. One at a time, and by any window."""

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from tapscan.errors import BadRequest, TapscanError
from tapscan.page.events import stream
from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.recordings import Recordings, told
from tapscan.page.shown import go, show, to
from tapscan.workers import Progress
from tapscan.workflow.at_the_plate import WISHES, View
from tapscan.workflow.bars import list_bars
from tapscan.workflow.left_alone import still_stopped, stop_of
from tapscan.workflow.mic import WARNING
from tapscan.workflow.own_layouts import layout_names
from tapscan.workflow.plate import find_plate
from tapscan.workflow.record import USUAL_LAYOUT, USUAL_ORDER
from tapscan.workflow.scan import Unfinished, find_unfinished, unfinished_scans
from tapscan.workflow.settings import read_settings
from tapscan.workflow.sheet import way_map
from tapscan.workflow.taken import complete, give_up, is_played, missing_stations, what_of
from tapscan.workflow.typed_recording import at_rest, begin_typed, finish_typed, input_of, session_of, undo_last
from tapscan.workflow.typed_scan import as_before, first_typed, known_state

INPUT_KEYS = ("device", "channel", "rate", "beeps")


def _recordings(request: Request) -> Recordings:
    found: Recordings = request.app.state.recordings
    return found


def new(request: Request) -> Response:
    """As the plate was scanned last, and as the shop does it always."""
    register = register_of(request)
    plate = find_plate(register, asked(request, "plate"), exact=True).name
    typed = {**first_typed(register, plate), "beeps": "yes", **_recordings(request).typed}
    typed["layout"], typed["order"] = typed["layout"] or USUAL_LAYOUT, typed["order"] or USUAL_ORDER
    return _form(request, plate, typed)


def look(request: Request) -> Response:
    """For inputs that were plugged in since; the form comes back as it was typed."""
    form = Form(request)
    return _form(request, form.text("plate"), _typed(request, form), anew=True)


def _form(
    request: Request, plate: str, typed: dict[str, str], status: int = 200, *, anew: bool = False, **more: object
) -> Response:
    recordings, register = _recordings(request), register_of(request)
    devices, no_input = recordings.inputs(anew=anew)
    names = {
        "plate": plate,
        "t": typed,
        "before": as_before(register, plate, typed),
        "stop": stop_of(register, plate, known_state(typed.get("state"))),
        "layouts": [(name, name) for name in layout_names(register.folder)],
        "bars": list_bars(register),
        "devices": devices,
        "no_input": no_input,
        "busy": recordings.now,
        "stopped": [(u, what_of(u)) for u in unfinished_scans(register, plate) if u.kept],
        "warning": WARNING,
        "problem": None,
        "heard": [],
    }
    return show(request, "record_new.html", status, **{**names, **more})


def _typed(request: Request, form: Form) -> dict[str, str]:
    """What concerns the input is offered again the next time."""
    typed = form.typed()
    _recordings(request).typed = {key: typed.get(key, "") for key in INPUT_KEYS}
    return typed


def level(request: Request) -> Response:
    """The room and the input, before anybody taps; the form comes back as it was typed."""
    form = Form(request)
    typed, plate = _typed(request, form), form.text("plate")
    try:
        heard = _recordings(request).quiet(input_of(typed), read_settings(None))
    except TapscanError as problem:
        return _form(request, plate, typed, 409, problem=str(problem))
    return _form(request, plate, typed, heard=heard)


def begin(request: Request) -> Response:
    """Nothing is begun where the input cannot be opened."""
    form, register = Form(request), register_of(request)
    typed, plate = _typed(request, form), form.text("plate")
    try:
        with _recordings(request).held():
            _recordings(request).free()
            unfinished = begin_typed(register, plate, typed)
        return _start(request, unfinished, typed)
    except TapscanError as problem:
        return _form(request, plate, typed, 409, problem=str(problem))


def _start(request: Request, unfinished: Unfinished, typed: dict[str, str]) -> Response:
    register = register_of(request)
    _recordings(request).begin(
        unfinished.id,
        unfinished.plate,
        lambda workers: session_of(register, unfinished.id, typed, read_settings(None), workers),
    )
    return go(to("/record", id=unfinished.id))


def record(request: Request) -> Response:
    """Live while it runs; else where it stands and how to go on."""
    unfinished = _find(request, asked(request, "id"))
    running = _recordings(request).of(unfinished.id)
    if running and not running.over:
        running.looked_at()
        view = running.newest
        return show(
            request,
            "record.html",
            plate=unfinished.plate,
            number=unfinished.id,
            now=told(view),
            map=_map(unfinished.id, view),
            hands=view.hands,
            what=what_of(unfinished),
            anew="Key anew" if is_played(unfinished) else "Place anew",
        )
    if unfinished.ended_how:
        return go(to("/plate", name=unfinished.plate, said=f"This recording has ended: {unfinished.ended_how}."))
    return _at_rest(request, unfinished, running.problem if running else "")


def _at_rest(request: Request, unfinished: Unfinished, problem: str, status: int = 200) -> Response:
    recordings, view = _recordings(request), at_rest(unfinished)
    devices, no_input = recordings.inputs(anew=bool(asked(request, "look")))
    return show(
        request,
        "record_rest.html",
        status,
        u=unfinished,
        stop=still_stopped(register_of(request), unfinished),
        plate=unfinished.plate,
        now=told(view),
        map=_map(unfinished.id, view),
        played=is_played(unfinished),
        what=what_of(unfinished),
        open_end=view.any_key,
        complete=complete(unfinished),
        missing=missing_stations(unfinished),
        problem=problem,
        devices=devices,
        no_input=no_input,
        busy=recordings.now,
        t={"beeps": "yes", **recordings.typed},
    )


def _map(number: int, view: View) -> Markup:
    """Empty where keys are played."""
    return way_map(view.layout, view.station, view.taken, f"way-{number}", view.barred) if view.layout else Markup()


def _find(request: Request, number: str) -> Unfinished:
    if not (number.isascii() and number.isdecimal() and len(number) < 10):
        raise BadRequest("no such scan is being recorded; look at the plate's page for what is begun")
    return find_unfinished(register_of(request), int(number))


def drawing(request: Request) -> Response:
    """The map alone, whenever the place has changed."""
    unfinished = _find(request, asked(request, "id"))
    running = _recordings(request).of(unfinished.id)
    return HTMLResponse(_map(unfinished.id, running.newest if running else at_rest(unfinished)))


def events(request: Request) -> Response:
    """Ten times a second."""
    running = _recordings(request).of(_find(request, asked(request, "id")).id)
    if running is None:
        raise BadRequest("this scan is not being recorded at this moment; load the page again")
    answer = stream(running.channel, request)
    answer.body_iterator = running.watched(answer.body_iterator)
    return answer


def level_events(request: Request) -> Response:
    """While the room is listened to."""
    return stream(_recordings(request).listening, request)


def wish(request: Request) -> Response:
    """One of the words of the recorder: undo, skip, ..."""
    form = Form(request)
    unfinished, word = _find(request, form.text("id")), form.text("wish")
    running = _recordings(request).of(unfinished.id)
    known = next((w for w in WISHES if w == word), None)
    if known is None:
        raise BadRequest(f"{word!r} is no wish; one of {', '.join(WISHES)}")
    if running is not None and not running.over:
        running.wish(known)
        if known == "stop":
            running.wait()
    if form.ticked("quiet"):
        return Response(status_code=204)
    return go(to("/record", id=unfinished.id))


def go_on(request: Request) -> Response:
    """With the input that is chosen now."""
    form = Form(request)
    unfinished, typed = _find(request, form.text("id")), _typed(request, form)
    try:
        return _start(request, unfinished, typed)
    except TapscanError as problem:
        return _at_rest(request, unfinished, str(problem), 409)


def take_back(request: Request) -> Response:
    """The last strike of a recording that rests."""
    unfinished = _resting(request)
    said = undo_last(register_of(request), unfinished.id, read_settings(None))
    return go(to("/record", id=unfinished.id, said=said))


def store(request: Request) -> Response:
    """Screened, compared and stored like files."""
    unfinished, register = _resting(request), register_of(request)
    back, held, recordings = to("/record", id=unfinished.id), Form(request).ticked("held"), _recordings(request)

    def do(progress: Progress) -> str:
        ahead = recordings.listened(unfinished.id)
        kept = finish_typed(register, unfinished.id, read_settings(None), progress, recordings.jobs, ahead, held=held)
        if kept.entry is None:
            raise BadRequest(
                "; ".join(kept.unreadable) or f"the {what_of(unfinished, 2)} could not be screened; they are kept"
            )
        return to("/scan", name=kept.entry.name, said=f"Stored as {kept.entry.name}.")

    title = f"Reading the scan of {unfinished.plate}"
    work = request.app.state.works.begin(title, do, f"finish {unfinished.id}", back)
    return go(to("/progress", id=work.id))


def leave(request: Request) -> Response:
    """Given up: it is not offered again."""
    unfinished = _resting(request)
    give_up(register_of(request), unfinished.id)
    if running := _recordings(request).of(unfinished.id):
        running.forget()
    return go(
        to(
            "/plate",
            name=unfinished.plate,
            said=f"Given up; its {what_of(unfinished, 2)} stay in the register's files.",
        )
    )


def _resting(request: Request) -> Unfinished:
    """Raises BadRequest while it is recorded, or where it has ended."""
    unfinished = _find(request, Form(request).text("id"))
    running = _recordings(request).of(unfinished.id)
    if running and not running.over:
        raise BadRequest(_recordings(request).busy(running))
    if unfinished.ended_how:
        raise BadRequest(f"this recording has ended: {unfinished.ended_how}")
    return unfinished


ROUTES = [
    Route("/record/new", new, methods=["GET"]),
    Route("/record/new", begin, methods=["POST"]),
    Route("/record/look", look, methods=["POST"]),
    Route("/record/level", level, methods=["POST"]),
    Route("/record/level/events", level_events, methods=["GET"]),
    Route("/record", record, methods=["GET"]),
    Route("/record/events", events, methods=["GET"]),
    Route("/record/map", drawing, methods=["GET"]),
    Route("/record/wish", wish, methods=["POST"]),
    Route("/record/go-on", go_on, methods=["POST"]),
    Route("/record/take-back", take_back, methods=["POST"]),
    Route("/record/store", store, methods=["POST"]),
    Route("/record/give-up", leave, methods=["POST"]),
]
