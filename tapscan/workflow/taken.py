"""What was taken at the plate so far, and what becomes of it: strikes of taps, or notes of keys that were played.

finish(register, number, settings, ...)            Kept: screened, compared and stored like an import
settled(register, number)                          what waits of it on this bench for a server is sent
give_up(register, number)                          it is not gone on with; what was taken stays in the register
missing_stations(unfinished)                       what is still to be tapped, or played
complete(unfinished)                               whether all that was wanted is there
rate_of(register, unfinished)                      sample rate to go on with
unfinished_layout(unfinished), guide_of(unfinished)   of taps: its places, and where it stands
is_played, keys_of, keys_guide(unfinished)         of notes: whether it is of notes, which keys, and where it stands
"""

from tapscan.errors import BadRequest
from tapscan.layouts import Layout, layout_from_text
from tapscan.recording.files import open_sound
from tapscan.records import Force
from tapscan.register.database import Register
from tapscan.register.outbox import strikes_of
from tapscan.register.recording_entries import Unfinished
from tapscan.register.scans import scans_holding
from tapscan.register.unfinished import end, find_unfinished
from tapscan.settings import Settings
from tapscan.workers import ALONE, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.bar import BAR_TURNS, FIRST, LAST, BarFiles
from tapscan.workflow.check import Request
from tapscan.workflow.guide import KEY, AnyKeys, Guide, KeyGuide
from tapscan.workflow.import_scan import Kept, Sure, import_scan


def finish(
    register: Register,
    number: int,
    settings: Settings,
    workers: Workers = ALONE,
    sure: Sure = lambda _: None,
    *,
    held: bool = False,
    ahead: PlacesAhead | None = None,
) -> Kept:
    """Screen what was taken, compare it with the baseline and store it as a scan of its plate.

    sure : asked as by import_scan; without an answer a doubtful scan is stored as doubtful
    ahead : what the Recorder was given.

    Raises BadRequest where nothing was taken. A finish that was stopped half way may be done again.
    """
    settled(register, number)
    unfinished = find_unfinished(register, number)
    kept = unfinished.kept
    if not kept:
        raise BadRequest(f"no {what_of(unfinished)} was taken, so there is nothing to store")
    if not (of_plate := [s for s in kept if s.station not in BAR_TURNS]):
        raise BadRequest("no tap of the plate was taken, only of the bar, so there is nothing to store")
    if twins := scans_holding(register, [s.file.sha256 for s in of_plate]):
        end(register, number, twins[0])
        raise BadRequest(f"these {what_of(unfinished, 2)} are stored already, as {twins[0]}")
    paths = {str(register.files.path_of(s.file.sha256)): s.file.name for s in kept}
    request = _request_of(register, unfinished, settings, held)
    places = [str(register.files.path_of(s.file.sha256)) for s in of_plate]
    scan = (unfinished.plate, places, unfinished.facts, request)
    stored = import_scan(register, *scan, workers, sure=sure, called=paths, ahead=ahead)
    if stored.entry is not None:
        end(register, number, stored.entry.name)
    return stored


def settled(register: Register, number: int) -> None:
    """Every accepted strike of that recording is in the register. Raises NotReached where the server is away; then they are kept here and sent later."""
    strikes_of(register).settle(number)


def _request_of(register: Register, unfinished: Unfinished, settings: Settings, held: bool) -> Request:
    if is_played(unfinished):
        return Request(settings=settings, played=True, keys=",".join(keys_of(unfinished)), one_take=True)
    return Request(
        settings=settings,
        layout=unfinished_layout(unfinished),
        told=tuple((s.file.name, s.force) for s in unfinished.kept if s.force is not None),
        parts_held=held,
        partial=any(s not in BAR_TURNS for s in missing_stations(unfinished)),
        bar=_bar_of(register, unfinished),
    )


def _bar_of(register: Register, unfinished: Unfinished) -> BarFiles | None:
    """What was struck of it."""
    first, last = (
        tuple(str(register.files.path_of(s.file.sha256)) for s in unfinished.kept if s.station == turn)
        for turn in BAR_TURNS
    )
    return BarFiles(unfinished.plan["bar"], first, last) if first or last else None


def missing_stations(unfinished: Unfinished) -> list[str]:
    """Stations that lack a tap, or keys that were not played."""
    guide = keys_guide(unfinished) if is_played(unfinished) else guide_of(unfinished)
    return [name for name in guide.stations if guide.missing(name)]


def complete(unfinished: Unfinished) -> bool:
    """Never where any key would do: nobody has said which are wanted."""
    return not missing_stations(unfinished) and not (is_played(unfinished) and not keys_of(unfinished))


def is_played(unfinished: Unfinished) -> bool:
    """Keys are played, and nothing is tapped."""
    return bool(unfinished.plan.get("played"))


def what_of(unfinished: Unfinished, count: int = 1) -> str:
    """What one that was taken is called, or many."""
    return f"{'note' if is_played(unfinished) else 'tap'}{'s' * (count != 1)}"


def keys_of(unfinished: Unfinished) -> tuple[str, ...]:
    """Those that are to be played; empty: any."""
    return tuple(unfinished.plan.get("keys", ()))


def keys_guide(unfinished: Unfinished) -> KeyGuide | AnyKeys:
    """At the first key that was not played."""
    taken = [s.station for s in unfinished.kept]
    if not (wanted := keys_of(unfinished)):
        return AnyKeys(taken)
    return KeyGuide.resumed(wanted, (KEY,), [(station, KEY) for station in taken])


def rate_of(register: Register, unfinished: Unfinished) -> int | None:
    """Sample rate in Hz of the strikes so far, to go on with: strikes of two rates are not fitted together. None before the first."""
    if not unfinished.kept:
        return None
    with open_sound(register.files.path_of(unfinished.kept[0].file.sha256)) as sound:
        return sound.sample_rate_hz


def give_up(register: Register, number: int) -> None:
    """Nothing is deleted. Raises BadRequest where there is no such scan, NotReached where a strike waits that would come too late."""
    settled(register, number)
    end(register, find_unfinished(register, number).id, "given up")


def unfinished_layout(unfinished: Unfinished) -> Layout:
    """As it was when the scan was begun."""
    return layout_from_text(unfinished.plan["layout"], "the unfinished scan")


def guide_of(unfinished: Unfinished) -> Guide[Force]:
    """At the first place that lacks a tap."""
    names = [s.name for s in unfinished_layout(unfinished).allowed(unfinished.facts.conditions.state)]
    names = [FIRST, *names, LAST] if unfinished.plan.get("bar") else names
    taken = [(s.station, s.force) for s in unfinished.kept if s.force is not None]
    return Guide.resumed(names, unfinished.plan["order"], taken)
