"""A new plate; what is known of one is changed; it leaves the list and comes back."""

import datetime as dt

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import Form, asked
from tapscan.page.opened import has_register, register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.last_register import last_register, may_begin, remember
from tapscan.workflow.plate import Plate, add_plate, edit_plate, find_plate, retire_plate
from tapscan.workflow.register import make_register, name_for_new
from tapscan.workflow.seen import mark_of, not_changed
from tapscan.workflow.still_open import left_open
from tapscan.workflow.typed import number, words

EMPTY = Plate("")


def new(request: Request) -> Response:
    """An empty form; where it would begin a register beside one that was used before, it asks whether that is meant."""
    beside = last_register() if not has_register(request) else None
    here = request.app.state.folder if beside else None
    return show(request, "plate_form.html", plate=EMPTY, is_new=True, begins=here, beside=beside)


def add(request: Request) -> Response:
    """The first plate makes the register; never beside one that was used before, unless a person says so."""
    form = Form(request)
    plate = Plate(name_for_new(form.text("name")), **_facts(form))
    if not has_register(request):
        place = request.app.state.place
        if not form.ticked("begin"):
            may_begin(place, named=False)
        remember(make_register(place).place)
    plate = add_plate(register_of(request), plate)
    return go(to("/plate", name=plate.name, said=f"Plate {plate.name} is added."))


def edit(request: Request) -> Response:
    """The form with what is known."""
    plate = find_plate(register_of(request), asked(request, "name"), exact=True)
    return show(
        request,
        "plate_form.html",
        plate=plate,
        mark=mark_of(*_known(plate)),
        is_new=False,
        begins=None,
    )


def _known(plate: Plate) -> tuple[object, ...]:
    return plate.name, plate.pattern, plate.serial, plate.kind, plate.mass_kg, plate.notes


def change(request: Request) -> Response:
    """An empty field clears a value."""
    form = Form(request)
    changes = _facts(form)
    if form.text("name") != form.text("was"):  # an older register's name may hold a slash; a new one may not
        changes["name"] = name_for_new(form.text("name"))
    plate = edit_plate(
        register_of(request), form.text("was"), lambda p: not_changed(form.text("seen"), *_known(p)), **changes
    )
    return go(to("/plate", name=plate.name, said="Changed."))


def retire(request: Request) -> Response:
    """Out of the list, or back into it; nothing is removed."""
    form, register = Form(request), register_of(request)
    if form.ticked("undo"):
        plate = edit_plate(register, form.text("name"), retired_on=None, retired_why=None)
        return go(to("/plate", name=plate.name, said="It is in the list again."))
    plate = retire_plate(register, form.text("name"), dt.date.today(), words(form.text("why")))
    said = " ".join(filter(None, ["It is out of the list; its scans are kept.", left_open(register, plate.name)]))
    return go(to("/plate", name=plate.name, said=said))


def _facts(form: Form) -> dict:
    told: dict = {key: words(form.text(key)) for key in ("pattern", "serial", "kind", "notes")}
    mass = number(form.text("mass_kg"), "Mass", 1.0, 1000.0, "kilograms", "given in grams or pounds? ")
    return {**told, "mass_kg": mass}


ROUTES = [
    Route("/plate/new", new, methods=["GET"]),
    Route("/plate/new", add, methods=["POST"]),
    Route("/plate/edit", edit, methods=["GET"]),
    Route("/plate/edit", change, methods=["POST"]),
    Route("/plate/retire", retire, methods=["POST"]),
]
