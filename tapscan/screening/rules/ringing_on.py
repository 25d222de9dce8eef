"""A tone that rings on after the dampers, at the same pitch after five notes or more, and is no string that should sound.

Reason: screwed to wood the plate's modes die away with a loss factor of some .02 to .05, and the soundboard's with about .02 (Ege and Boutillon, arXiv 1212.3068). What is left of loss .01 under 300 Hz a
third of a second after the damper is fastened to nothing that damps it: a part that hangs loose or rings freely, or the string of a damper that leaks. A crack adds loss and rings less: this never
points to one. Top strings have no dampers (the top 18 to 20 notes); they ring above 1.3 kHz, where nothing is looked for.

Limits: chosen on simulated notes of four scales (bench/notes.py --setting, and the takes of an earlier count on them); counted on two others. By pickup on the iron only: by microphone the board drowns what the iron radiates.
"""

from msgspec import Struct

from tapscan import wording
from tapscan.records import Indication, RuleNotRun, Scan
from tapscan.records.notes import ForeignTone
from tapscan.screening.in_words import NAMED_PLACES
from tapscan.screening.rule import Outcome, Plain, Rule, condition
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold
from tapscan.wording import counted, listed

NAME = "ringing-on"
OTHERS = (
    "a damper that leaks or is set too high",
    "a loose or freely hanging part: a plate screw, a nose bolt, a lid prop, a pedal rod",
    "something in the room that rings along",
    "the pickup's own clamp or cable",
)


@stage("rules.ringing-on", counted_in=("notes",))
class RingingOnLimits(Struct, frozen=True):
    """When this rule speaks."""

    loss_factor: float = threshold(0.013, "1", "a plate on its screws and a soundboard lose more", SIMULATED)
    errors: float = threshold(5.0, "standard errors", "its loss lies this far under the limit", SIMULATED)
    notes: float = threshold(5.0, "notes", "the same tone after fewer is chance", SIMULATED)
    judged: float = threshold(8.0, "notes", "fewer that could be listened to after the damper tell nothing", JUDGEMENT)


def lasting(scan: Scan, settings: Settings) -> list[ForeignTone]:
    """Most notes first."""
    limits = settings.of(RingingOnLimits)
    return [
        f
        for f in (scan.played.foreign if scan.played else ())
        if len(f.notes) >= limits.notes and f.loss_factor + limits.errors * f.loss_factor_sd <= limits.loss_factor
    ]


def _errors_under(tone: ForeignTone, limits: RingingOnLimits) -> float:
    return (limits.loss_factor - tone.loss_factor) / tone.loss_factor_sd


def run(scan: Scan, settings: Settings) -> Outcome:
    """One indication for all tones."""
    limits = settings.of(RingingOnLimits)
    played = scan.played
    if played is None or played.foreign_reason:
        return RuleNotRun(NAME, (played.foreign_reason if played else None) or "no notes were played")
    heard = [n for n in played.notes if n.listened_s is not None]
    if len(heard) < limits.judged:
        return RuleNotRun(
            NAME, f"{counted(len(heard), 'note')} could be listened to after the damper, {limits.judged:.0f} are needed"
        )
    found = lasting(scan, settings)
    if not found:
        return []
    first = found[0]
    strings = list(dict.fromkeys(f.string_of for f in found if f.string_of))
    leak = (
        f" Such tones are those of {listed(strings, NAMED_PLACES)}: look at {'that damper' if len(strings) == 1 else 'these dampers'} first."
        if strings
        else ""
    )
    others = f" {counted(len(found) - 1, 'further tone')} in the list of notes." if len(found) > 1 else ""
    sentence = (
        f"After {len(first.notes)} of {len(heard)} notes a tone of {wording.within(first.frequency, places=1)} Hz goes on when all should be silent: "
        f"a loose or freely ringing part, or a leaking damper.{leak}{others}"
    )
    conditions = (
        condition(limits, "loss_factor", "loss factor", first.loss_factor),
        condition(limits, "errors", "how far that lies under the limit", _errors_under(first, limits)),
        condition(limits, "notes", "notes after which it rings", float(len(first.notes))),
    )
    return [Indication("NR1", NAME, "relevant", None, (), (), sentence, conditions, OTHERS)]


PLAIN = (
    (
        "",
        Plain(
            "a tone rings on after the dampers",
            "After many notes the same tone goes on when all should be silent.",
            "That is a loose or freely ringing part, or a damper that leaks. It is no sign of a crack, which rings less and not more.",
        ),
    ),
)
RULE = Rule(
    NAME,
    "A tone that rings on",
    run,
    frozenset({"decays"}),
    bare_only=False,
    shows=frozenset(),
    rates="played notes",
    limits=(RingingOnLimits,),
    plain=PLAIN,
)
