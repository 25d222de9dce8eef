"""A buzz along with played notes: short bursts between the partials of three notes or more.

Reason: a string's sound is lines. Loose parts that touch and let go fill the gaps between the lines while the key is held. Most often such a part is no piece of the plate at all: a
lamp, a key's lead, a string's own buzz at bridge or agraffe. A buzz at one note or two is mostly that note's own.

Limits: chosen on simulated notes of four scales (bench/notes.py --setting): over the noise by microphone the first unflawed take speaks at 5 dB. By pickup and by microphone.
"""

from msgspec import Struct

from tapscan.records import Indication, RuleNotRun, Scan
from tapscan.records.notes import PlayedNote
from tapscan.screening.in_words import NAMED_PLACES
from tapscan.screening.rule import Outcome, Plain, Rule, condition
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold
from tapscan.wording import counted, listed

NAME = "note-buzz"
OTHERS = (
    "something on or in the piano that rattles along: a lamp, a lid's hinge, a pencil",
    "a string that buzzes at its bridge or agraffe",
    "a key, hammer or damper part that is loose",
    "a loose screw of the plate or of the case",
    "a phone's or recorder's processing of the sound",
)


@stage("rules.note-buzz", counted_in=("notes",))
class NoteBuzzLimits(Struct, frozen=True):
    """When this rule speaks."""

    over_noise_db: float = threshold(
        8.0, "dB", "what lies between the partials stands this far over the noise", SIMULATED
    )
    share_db: float = threshold(
        -34.0, "dB", "under this share of the note it is the hammer's noise dying away", SIMULATED
    )
    most_db: float = threshold(-12.0, "dB", "a larger share of the note is no buzz but another sound", SIMULATED)
    notes: float = threshold(3.0, "notes", "a buzz at fewer is that note's own affair", JUDGEMENT)
    judged: float = threshold(5.0, "notes", "fewer that could be judged tell nothing", JUDGEMENT)


def buzzing_notes(scan: Scan, settings: Settings) -> list[PlayedNote]:
    """Plainest first, however few."""
    limits = settings.of(NoteBuzzLimits)
    found = [
        n
        for n in (scan.played.notes if scan.played else ())
        if n.buzz_share_db is not None
        and n.buzz_over_noise_db is not None
        and n.buzz_over_noise_db >= limits.over_noise_db
        and limits.share_db <= n.buzz_share_db <= limits.most_db
        and n.key is not None
        and scan.played is not None
        and n.key not in scan.played.besides  # talk can pass for a key
    ]
    return sorted(found, key=lambda n: -(n.buzz_share_db or 0.0))


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication."""
    limits = settings.of(NoteBuzzLimits)
    judged = [n for n in (scan.played.notes if scan.played else ()) if n.buzz_share_db is not None]
    if len(judged) < limits.judged:
        return RuleNotRun(
            NAME, f"a buzz could be listened for in {counted(len(judged), 'note')} only, {limits.judged:.0f} are needed"
        )
    found = buzzing_notes(scan, settings)
    keys = list(dict.fromkeys(n.key or "" for n in found))
    if len(keys) < limits.notes:
        return []
    sentence = (
        f"Something buzzes along with {len(found)} of {len(judged)} notes, plainest at {listed(keys, NAMED_PLACES)}. Most often a loose part does that, "
        "and often one that has nothing to do with the plate. By itself this is no sign of a crack."
    )
    worst = found[0]
    conditions = (
        condition(limits, "over_noise_db", "between the partials, over the noise", worst.buzz_over_noise_db),
        condition(limits, "share_db", "between the partials, over the whole note", worst.buzz_share_db),
        condition(limits, "notes", "keys with a buzz", float(len(keys))),
    )
    return [Indication("NB1", NAME, "relevant", None, (), (), sentence, conditions, OTHERS)]


PLAIN = (
    (
        "",
        Plain(
            "something buzzes along with some notes",
            "Something buzzes while certain keys are held.",
            "Most often a loose part does that, in the piano or on it. It is no sign of a crack by itself; this test cannot tell which part it is.",
        ),
    ),
)
RULE = Rule(
    NAME,
    "A buzz along with notes",
    run,
    frozenset({"waveform"}),
    bare_only=False,
    shows=frozenset(),
    rates="played notes",
    limits=(NoteBuzzLimits,),
    plain=PLAIN,
)
