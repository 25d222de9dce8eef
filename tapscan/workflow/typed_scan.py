"""How a scan was made, as a person filled it into a form, read as records.

FIELDS                              names of the form's fields, in order
conditions_of(typed)                ScanConditions; what was left empty is unknown
new_scan(typed, register, plate)    NewScan
known_state(text)                   the state that is chosen so far
as_typed(entry)                     the same fields of a stored scan, to be changed
as_before(register, plate, typed)    of these what stands as at the plate's last scan, with words that say so
of_its_visit(register, plate, typed, taken)   the same with the state that the visit of its day noted, where nobody has chosen one
first_typed(register, plate)        what a new scan's form begins with: the shop's defaults, else as the plate was scanned last
"""

import datetime as dt
from collections.abc import Mapping

from msgspec.structs import asdict, replace

from tapscan.errors import BadRequest
from tapscan.places import IN_PIANO, STATES, State
from tapscan.records import ScanConditions
from tapscan.register.database import Register
from tapscan.register.entries import NewScan, ScanEntry
from tapscan.register.scans import list_scans
from tapscan.sensors import HEAVIEST_G, OWN_WORDS, Sensor, SensorKind, read_kind
from tapscan.workflow.defaults import read_defaults
from tapscan.workflow.eye_list import checklist_of
from tapscan.workflow.own_layouts import name_of
from tapscan.workflow.report import IN_WORDS
from tapscan.workflow.standing import may_be_compared
from tapscan.workflow.typed import celsius, day, number, state, words
from tapscan.workflow.visit import state_on

FIELDS = (
    "date",
    "state",
    "supports",
    "air_c",
    "iron_c",
    "iron_end_c",
    "hours",
    "sensor",
    "sensor_note",
    "sensor_mass_g",
    "sensor_place",
    "hammer",
    "fittings",
    "bare",
    "operator",
    "notes",
)
AGAIN = ("supports", "sensor", "sensor_note", "sensor_mass_g", "sensor_place", "hammer", "operator")  # as the last time
MOST_HOURS = 1e5


def conditions_of(typed: Mapping[str, str]) -> ScanConditions:
    """Raises BadRequest with one line."""
    return ScanConditions(
        state=state(typed.get("state"), "State of the plate"),
        supports=words(typed.get("supports")),
        air_c=celsius(typed.get("air_c"), "Temperature of the air"),
        iron_c=celsius(typed.get("iron_c"), "Temperature of the iron"),
        iron_end_c=celsius(typed.get("iron_end_c"), "Temperature of the iron at the other end"),
        hours_in_room=number(typed.get("hours"), "Hours in the room", 0, MOST_HOURS, "hours"),
        sensor=Sensor(
            kind=_kind(typed.get("sensor")),
            note=words(typed.get("sensor_note")),
            mass_g=number(typed.get("sensor_mass_g"), "Mass of the sensor", 0, HEAVIEST_G, "grams"),
            place=words(typed.get("sensor_place")),
        ),
        hammer=words(typed.get("hammer")),
        fittings=_fittings(words(typed.get("fittings")), bool(typed.get("bare"))),
    )


def known_state(text: str | None) -> State | None:
    """None too for what is no state: a form that is shown again tells of that itself."""
    return next((s for s in STATES if s == text), None)


def _kind(text: str | None) -> SensorKind | None:
    told = words(text)
    return None if told is None else read_kind(told, OWN_WORDS)


def _fittings(named: str | None, bare: bool) -> tuple[str, ...] | None:
    """None: nobody looked."""
    if named and bare:
        raise BadRequest("'Nothing was left on it' is ticked, and something is named; leave one of them out")
    return () if bare else tuple(one.strip() for one in named.split(",") if one.strip()) if named else None


def new_scan(typed: Mapping[str, str], register: Register, plate: str) -> NewScan:
    """Supports that the form began with are left out in the piano, where no plate lies on them. Raises BadRequest with one line."""
    conditions = conditions_of(typed)
    inside = conditions.state in IN_PIANO or typed.get("what") == "played"
    if inside and conditions.supports == _supports_begun_with(register, plate):
        conditions = replace(conditions, supports=None)
    return NewScan(
        date=day(typed.get("date"), "Day it was tapped", register.folder),
        conditions=conditions,
        operator=words(typed.get("operator")),
        notes=words(typed.get("notes")),
        baseline=bool(typed.get("baseline")) and may_be_compared(conditions),  # before a recording is begun
        checklist=checklist_of(typed),
        baseline_although=words(typed.get("although")),
    )


def _supports_begun_with(register: Register, plate: str) -> str | None:
    """As `first_typed` gives them; what somebody typed at a scan in the piano is no guess."""
    if kept := read_defaults(register.folder).supports:
        return kept
    last = _tapped(register, plate)[-1:]
    return last[0].conditions.supports if last and last[0].conditions.state not in IN_PIANO else None


def _tapped(register: Register, plate: str) -> list[ScanEntry]:
    """Oldest first."""
    return [e for e in list_scans(register, plate) if not e.played]


def as_typed(entry: ScanEntry) -> dict[str, str]:
    """Unknown is an empty field."""
    c = entry.conditions
    told = {
        "date": entry.date.isoformat(),
        "state": c.state,
        "supports": c.supports,
        "air_c": _figure(c.air_c),
        "iron_c": _figure(c.iron_c),
        "iron_end_c": _figure(c.iron_end_c),
        "hours": _figure(c.hours_in_room),
        "sensor": c.sensor.kind,
        "sensor_note": c.sensor.note,
        "sensor_mass_g": _figure(c.sensor.mass_g),
        "sensor_place": c.sensor.place,
        "hammer": c.hammer,
        "fittings": ", ".join(c.fittings or ()),
        "bare": "yes" if c.fittings == () else "",
        "operator": entry.operator,
        "notes": entry.notes,
    }
    return {key: value or "" for key, value in told.items()}


def _figure(value: float | None) -> str | None:
    return None if value is None else f"{value:g}"


def as_before(register: Register, plate: str, typed: Mapping[str, str]) -> dict[str, str]:
    """By field."""
    scans = _tapped(register, plate)
    last = as_typed(scans[-1]) if scans else {}
    same = [key for key in AGAIN if last.get(key) and typed.get(key) == last[key]]
    told = {key: f"As on {scans[-1].date.isoformat()}: change it if it is otherwise." for key in same}
    return {**told, **_as_visited(register, plate, typed)}


def _as_visited(register: Register, plate: str, typed: Mapping[str, str]) -> dict[str, str]:
    """What a visit of that day says of the state, beside the field; for a day that is none the form says so itself."""
    try:
        on = day(typed.get("date"), "Day it was tapped", register.folder)
    except BadRequest:
        return {}
    found, told = state_on(register, plate, on), typed.get("state")
    if found is None or told not in (None, "", found):
        return {}
    said = f"As noted with the visit of {on}: change it if it is otherwise."
    return {"state": said if told else f"The visit of {on} says: {IN_WORDS[found]}."}


def of_its_visit(
    register: Register, plate: str, typed: Mapping[str, str], taken: str | None
) -> tuple[dict[str, str], str | None]:
    """`taken` : day of the visit whose state was filled in before, ISO 8601, and so given back.

    It is filled in once: whoever has emptied or changed the field meant it. Where the day is another now, what was filled in for the old one goes.
    """
    told = dict(typed)
    try:
        on = day(told.get("date"), "Day it was tapped", register.folder)
    except BadRequest:  # the form tells of it
        return told, taken
    if on.isoformat() == taken:
        return told, taken
    if taken and told.get("state") == state_on(register, plate, dt.date.fromisoformat(taken)):
        told["state"] = ""
    if told.get("state") or (found := state_on(register, plate, on)) is None:
        return told, None
    return {**told, "state": found}, on.isoformat()


def first_typed(register: Register, plate: str) -> dict[str, str]:
    """Layout and order too. Nothing that is measured anew each time (day, temperatures, state) is taken from an earlier scan; the state is taken from a visit of today."""
    scans = _tapped(register, plate)
    last = {key: value for key, value in as_typed(scans[-1]).items() if key in AGAIN} if scans else {}
    shop = {key: value for key, value in asdict(read_defaults(register.folder)).items() if value}
    shop = {key: value for key, value in shop.items() if key in (*FIELDS, "layout", "order")}
    told = {**dict.fromkeys((*FIELDS, "layout", "order"), ""), **last, **shop}
    told["state"] = told["state"] or state_on(register, plate, dt.date.today()) or ""
    told["baseline"] = (
        "" if any(e.baseline for e in scans) else "yes"
    )  # or the next scan has nothing to be compared with
    if scans and not told["layout"]:
        told["layout"] = scans[-1].layout or ""
        told["order"] = told["order"] or ",".join(scans[-1].reading.get("order", ()))
    return {**told, "layout": name_of(register.folder, told["layout"])}
