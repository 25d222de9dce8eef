"""Which scans later ones are compared with.

advice(marked, still_open, state)            what a plate with so many baseline scans lacks; empty where nothing
baseline_told(register, plate, shop)         what a new scan is compared with by itself, in words; empty where with nothing
choose_baseline(register, plate, names, why) these scans and no others; refused where something speaks against one and nobody says why, or nothing can be compared with it
"""

from collections.abc import Sequence

from tapscan.errors import BadRequest
from tapscan.places import IN_PIANO, State
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.scans import find_scan, list_scans, set_baseline
from tapscan.report.shop import Shop
from tapscan.wording import each_day_once, listed
from tapscan.workflow.standing import against_baseline, no_baseline

ENOUGH = 3
TELLS = "One baseline scan shows large changes, three show small ones"
FIRST = "First comes what is still open; more baseline scans can wait until it is settled."
MORE = {1: "twice more", 2: "once more"}
NOT_LIFTED = "in its piano it is never lifted"
INSIDE = {1: f"{NOT_LIFTED}: scan the same places once more at the same visit", 2: NOT_LIFTED}


def advice(marked: int, *, still_open: bool = False, state: State | None = None) -> str:
    """`marked` : scans that are the baseline, one or more; `still_open` : something was found, and then no more scans are asked for; `state` : of the plate, where it is told."""
    counted = f"{marked} baseline scans." if marked > 1 else ""
    if marked >= ENOUGH:
        return counted
    if still_open:
        return f"{counted} {FIRST}".lstrip()
    if state in IN_PIANO:
        return f"{counted} {INSIDE[marked][0].upper()}{INSIDE[marked][1:]}.".lstrip()
    inside = f"; {INSIDE[marked]}" if state is None else ""
    return f"{counted} {TELLS}: out of the piano, lift the plate, set it down and scan it, {MORE[marked]}{inside}.".lstrip()


def baseline_told(register: Register, plate: str, shop: Shop) -> str:
    """Days as the shop writes them."""
    days = [shop.day(e.date) for e in list_scans(register, plate) if e.baseline]
    if len(days) > ENOUGH:
        return f"its {len(days)} baseline scans"
    return f"the {'scan' if len(days) == 1 else 'scans'} of {listed(each_day_once(days))}" if days else ""


def choose_baseline(register: Register, plate: str, names: Sequence[str], why: str | None) -> list[ScanEntry]:
    """The reason is kept only where it was needed; one that is baseline for a reason already is not asked about again. Raises BadRequest."""
    chosen = [find_scan(register, n) for n in names]
    for e in chosen:
        if not e.baseline and (barred := no_baseline(e)):
            raise BadRequest(f"{e.name}: {barred}")
    asked = [e for e in chosen if why or not (e.baseline and e.baseline_although)]
    against = {e.name: told for e in asked if (told := against_baseline(register, e))}
    if against and not why:
        name, told = next(iter(against.items()))
        raise BadRequest(
            f"{name}: {'; '.join(told)}. Later scans would take this for the plate's normal state. Choose another scan, or say why it "
            'may be the baseline all the same: --although "reason"'
        )
    return set_baseline(register, plate, names, why if against else None)
