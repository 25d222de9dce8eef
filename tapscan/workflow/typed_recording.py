"""A recording at the plate as a person filled it into a form: what is wanted is read, the input is opened, a session is made.

inputs()                              names to choose an input by; and a sentence where there are none
input_of(typed)                       device, rate in Hz or None, channel from 0
begin_typed(register, plate, typed)   Unfinished; nothing is begun without an input
session_of(register, number, typed, ...)   Session that goes on with an unfinished scan; other processes listen to places that are done
finish_typed(register, number, ...)   Kept: screened, compared and stored
at_rest(unfinished)                   View of a scan that nobody is recording now
undo_last(register, number)           the last strike or note back, where no sound comes in; what was said of it
"""

from collections.abc import Mapping

from tapscan.errors import BadRequest, MicrophoneTrouble
from tapscan.layouts.assignment import read_order
from tapscan.records import Force
from tapscan.register.database import Register
from tapscan.register.recording_entries import Unfinished
from tapscan.register.unfinished import find_unfinished
from tapscan.sensors import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from tapscan.settings import Settings
from tapscan.workers import ALONE, Progress, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.at_the_plate import NOT_YET, Session, View, barred_of
from tapscan.workflow.bar import WHERE
from tapscan.workflow.bars import named_bar
from tapscan.workflow.guide import AnyKeys, Guide, KeyGuide
from tapscan.workflow.import_scan import Kept
from tapscan.workflow.left_alone import may_be_tapped, may_go_on
from tapscan.workflow.mic import Beeper, Microphone, input_devices, look_again
from tapscan.workflow.own_layouts import layout_of
from tapscan.workflow.record import USUAL_LAYOUT, USUAL_ORDER, Recorder, begin_recording, places_ahead
from tapscan.workflow.record_notes import NoteRecorder, key_told
from tapscan.workflow.sharing import shared_work
from tapscan.workflow.taken import finish, guide_of, is_played, keys_guide, rate_of, settled, unfinished_layout, what_of
from tapscan.workflow.typed import number, words
from tapscan.workflow.typed_scan import new_scan

Input = tuple[str | None, int | None, int]
MOST_CHANNELS = 64


def inputs(*, anew: bool = False) -> tuple[list[tuple[str, str]], str | None]:
    """What is sent and what is shown; of two alike the number is sent. `anew` : what was plugged in since counts; no input may be open."""
    try:
        if anew:
            look_again()
        devices = input_devices()
    except MicrophoneTrouble as problem:
        return [], str(problem)
    names = [d.name for d in devices]
    told = [
        (
            d.name if names.count(d.name) == 1 else str(d.number),
            f"{d.name} ({d.host}, {d.sample_rate_hz} Hz{', the usual one' if d.usual else ''})",
        )
        for d in devices
    ]
    return told, None if told else "no sound input was found; plug a microphone or an interface in"


def open_briefly(input_: Input) -> int:
    """Sample rate in Hz of an input that can be opened; one that was plugged in since is found, too. Raises MicrophoneTrouble."""
    try:
        with Microphone(*input_) as microphone:
            return microphone.sample_rate_hz
    except MicrophoneTrouble:
        look_again()
    with Microphone(*input_) as microphone:
        return microphone.sample_rate_hz


def input_of(typed: Mapping[str, str]) -> Input:
    """Raises BadRequest with one line."""
    rate = number(typed.get("rate"), "Sample rate", LOWEST_RATE_HZ, HIGHEST_RATE_HZ, "Hz", "given in kHz? ")
    channel = number(typed.get("channel"), "Channel", 1, MOST_CHANNELS, "channels") or 1
    return words(typed.get("device")), round(rate) if rate else None, round(channel) - 1


def begin_typed(register: Register, plate: str, typed: Mapping[str, str]) -> Unfinished:
    """Raises BadRequest, BadLayout, MicrophoneTrouble before anything is written."""
    new, order = new_scan(typed, register, plate), read_order(typed.get("order") or USUAL_ORDER)
    layout = layout_of(register.folder, typed.get("layout") or USUAL_LAYOUT)
    bar = named_bar(register, words(typed.get("bar_name"))) if typed.get("bar") else None
    may_be_tapped(register, plate, new, _allowed_by(typed))
    open_briefly(input_of(typed))
    return begin_recording(register, plate, new, layout, order, bar, _allowed_by(typed))


def _allowed_by(typed: Mapping[str, str]) -> str | None:
    """Who, where it is ticked that somebody has."""
    return (words(typed.get("allowed_by")) or "a qualified person who is not named") if typed.get("allowed") else None


def session_of(
    register: Register, number_: int, typed: Mapping[str, str], settings: Settings, workers: Workers = ALONE
) -> Session:
    """At the sample rate of the strikes so far. `workers` : not begun yet; the caller ends them. Raises BadRequest, MicrophoneTrouble, NotReached."""
    settled(register, number_)
    unfinished = find_unfinished(register, number_)
    if unfinished.ended_how:
        raise BadRequest(f"this recording has ended: {unfinished.ended_how}")
    may_go_on(register, unfinished, _allowed_by(typed))
    device, rate, channel = input_of(typed)
    before = rate_of(register, unfinished)
    if before and rate not in (None, before):
        raise BadRequest(
            f"the {what_of(unfinished, 2)} so far were taken at {before} Hz; leave the sample rate empty to go on with that"
        )
    if not is_played(unfinished):
        workers.start()  # before the microphone is opened; notes are read when all are played, by one
    rate = open_briefly((device, before or rate, channel))
    return Session(
        _recorder(register, unfinished, rate, settings, workers),
        Beeper(on=bool(typed.get("beeps"))),
        (device, rate, channel),
    )


def _recorder(
    register: Register, unfinished: Unfinished, rate_hz: int, settings: Settings, workers: Workers | None = None
) -> Recorder | NoteRecorder:
    """Without workers no place is listened to ahead."""
    if is_played(unfinished):
        return NoteRecorder(register, unfinished, rate_hz, settings)
    ahead = places_ahead(unfinished, settings, workers) if workers else None
    return Recorder(register, unfinished, rate_hz, settings, ahead)


def at_rest(unfinished: Unfinished) -> View:
    """Where it would go on."""
    layout, where, counts = None, "", ""
    guide: KeyGuide | AnyKeys | Guide[Force]
    if is_played(unfinished):
        guide = keys = keys_guide(unfinished)
        where, counts = key_told(keys), keys.told if isinstance(keys, AnyKeys) else ""
    else:
        guide, layout = guide_of(unfinished), unfinished_layout(unfinished)
        where = next((s.where for s in layout.stations if s.name == guide.station), WHERE.get(guide.station or "", ""))
        counts = guide.told
    taken = frozenset(s for s in guide.stations if not guide.missing(s))
    return View(
        guide.station, where, guide.force, counts, guide.done, len(guide.stations), "", "plain",
        NOT_YET, None, "NOT LISTENING", None, layout, taken, any_key=isinstance(guide, AnyKeys), barred=barred_of(layout, guide.stations),
    )  # fmt: skip


def undo_last(register: Register, number_: int, settings: Settings) -> str:
    """Raises BadRequest where nothing was taken."""
    settled(register, number_)
    unfinished = find_unfinished(register, number_)
    rate = rate_of(register, unfinished)
    if rate is None:
        raise BadRequest("There is nothing to take back.")
    words_ = _recorder(register, unfinished, rate, settings).key("undo")[0].words
    settled(register, number_)
    return words_


def finish_typed(
    register: Register,
    number_: int,
    settings: Settings,
    progress: Progress,
    jobs: int | None,
    ahead: PlacesAhead | None,
    *,
    held: bool,
) -> Kept:
    """`ahead` : what listened while it was recorded, where that is still there: its workers go on, and end here."""
    if ahead is None:
        kept = find_unfinished(register, number_).kept
        workers = shared_work(jobs, sum(s.file.size_bytes for s in kept), progress)
    else:
        workers = ahead.workers
        workers.progress = progress
    with workers:
        return finish(register, number_, settings, workers, held=held, ahead=ahead)
