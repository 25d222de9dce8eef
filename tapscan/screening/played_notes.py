"""What played notes say of the piano, in words: which keys were heard, what weakens the reading, what it comes to.

told_of(played)            sentences on keys that are missing, doubled or others than wanted
limitations(scan)          what weakens the reading
why_no_answer(scan, not_run)   (reason, what would mend it) where too little was heard, or None
silence(scan, not_run)     what was listened for where nothing was found
KEYBOARD                   names of all keys, from the left
SILENT, NO_ANSWER          headlines

Played notes say nothing of cracks: a crack adds loss and rings less. Nothing found is never good news about the plate.
"""

from collections.abc import Sequence

from tapscan.records import IN_PIANO, PlayedNote, PlayedNotes, RuleNotRun, Scan
from tapscan.screening.compressed import limitation
from tapscan.screening.rules import NOTE_RULES, note_buzz, ringing_on
from tapscan.signal.notes.strings import KEYS, key_name
from tapscan.wording import counted, listed

KEYBOARD = tuple(key_name(k) for k in range(KEYS))
SILENT = "No buzz and no tone that rings on in what was played; nothing is known of cracks"
NO_ANSWER = "No answer from the notes"
NOT_OF_CRACKS = "Played notes find loose or freely ringing parts and leaking dampers. A crack cannot be told by them: it adds loss, and rings less."


def told_of(played: PlayedNotes) -> tuple[str, ...]:
    """A key is told by its sound alone and never moved to fit."""
    known = [n for n in played.notes if n.key]
    keys = list(dict.fromkeys(n.key or "" for n in known))
    said = [
        f"{counted(len(played.notes), 'note')} heard, {counted(len(keys), 'key')}" + (f": {_few(keys)}" if keys else "")
    ]
    if open_ := [n for n in played.notes if not n.key]:
        said.append(f"key not told for {counted(len(open_), 'note')}, {_when(open_, played.notes)}")
    if played.missing:
        said.append(f"to be played and not heard: {_few(played.missing)}")
    if played.doubled:
        said.append(f"heard more than once: {_few(played.doubled)}")
    if played.besides:
        said.append(f"heard although not named: {_few(played.besides)} (another key played, or another sound)")
    return tuple(said)


def _when(open_: Sequence[PlayedNote], notes: Sequence[PlayedNote]) -> str:
    """Of a recording each, by the one before: such times would tell nothing."""
    if len({n.recording for n in notes}) < len(notes):
        return f"at {_few([f'{n.onset_s:.1f} s' for n in open_])}"
    before = [notes[k - 1].key or "another such note" if k else "the beginning" for k in map(notes.index, open_)]
    return f"after {_few(list(dict.fromkeys(before)))}"


def _few(names: Sequence[str]) -> str:
    return listed(names, 12)


def limitations(scan: Scan) -> tuple[str, ...]:
    """In order of weight."""
    played = scan.played
    if played is None:
        return ()
    said = [NOT_OF_CRACKS]
    said += [lossy] if (lossy := limitation(scan)) else []
    said += [f"{played.foreign_reason[0].upper()}{played.foreign_reason[1:]}."] if played.foreign_reason else []
    unheard = [n for n in played.notes if n.listened_s is None and not played.foreign_reason]
    if unheard:
        why = listed(list(dict.fromkeys(n.tones_reason or "" for n in unheard)))
        said.append(
            f"{counted(len(unheard), 'note')} could not be listened to after the damper: {why}. Leave a second and a half between keys."
        )
    if any("clipped" in r.faults for r in scan.recordings):
        said.append(
            "The recording is clipped in places, and clipping can sound like a buzz: turn the input down and play again."
        )
    if scan.state not in IN_PIANO:
        said.append("The state of the plate was not given as strung; keys can be played only on a strung piano.")
    said.append("How well this works was counted on simulated pianos only, whose levels are guesses.")
    return tuple(said)


def why_no_answer(scan: Scan, not_run: Sequence[RuleNotRun]) -> tuple[str, str] | None:
    """Where nothing at all could be judged: no key was heard, or neither check could be made."""
    if scan.played is None or (
        any(n.key for n in scan.played.notes) and len({r.rule for r in not_run}) < len(NOTE_RULES)
    ):
        return None
    reasons = [f"{r.reason[0].upper()}{r.reason[1:].rstrip('.')}." for r in not_run]
    heard = any(n.key for n in scan.played.notes)
    return (
        " ".join(dict.fromkeys(reasons)) if heard else "No key of a piano was heard.",
        "Play each key short and firm, one after the other, with a second and a half between them, and record it again nearer and louder.",
    )


def silence(scan: Scan, not_run: Sequence[RuleNotRun]) -> str:
    """A summary where no rule spoke: of the checks that were made."""
    notes = scan.played.notes if scan.played else ()
    left_out = {r.rule for r in not_run}
    made = {
        note_buzz.NAME: f"a buzz in {counted(sum(n.buzz_share_db is not None for n in notes), 'note')}",
        ringing_on.NAME: f"what rings on after the damper in {counted(sum(n.listened_s is not None for n in notes), 'note')}",
    }
    told = listed([words for rule, words in made.items() if rule not in left_out])
    rest = " The other check could not be made; why stands below." if left_out else ""
    return f"Listened for: {told}. Nothing was found.{rest} {NOT_OF_CRACKS}"
