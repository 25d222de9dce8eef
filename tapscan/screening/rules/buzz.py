"""A buzz: bursts late in the ring that no mode explains.

Reason: once the knock is over a plate is the sum of its modes. Parts that touch and let go again, a loose screw, hook or pad, or the faces of a
crack, add bursts. The usual cause is a loose part, so a buzz counts as relevant only once hook, screws and pads were held and it was tapped
again (scan.parts_held); until then the test is to be repeated.

Limits: chosen on simulated plates with and without a rattling screw (docs/rules.md). Needs rings of a quarter second, two places
or more, and a bare plate.
"""

from collections import Counter

from msgspec import Struct

from tapscan.records import Indication, Interpretation, LateSound, RuleNotRun, Scan
from tapscan.screening.in_words import NAMED_PLACES
from tapscan.screening.rule import Outcome, Plain, Rule, condition
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold
from tapscan.wording import listed


@stage("rules.buzz", counted_in=("single", "comparison"))
class BuzzLimits(Struct, frozen=True):
    """When this rule speaks."""

    late_db: float = threshold(8.0, "dB", "what is left late in the ring stands this far over the noise", SIMULATED)
    share_db: float = threshold(
        -22.0, "dB", "under this share of all that is heard it may be an error of the fit", SIMULATED
    )
    unevenness: float = threshold(
        1.0, "1", "bursts; noise through a fit is about 0.25, what a fit missed 0.4 to 1.7 but far fainter", SIMULATED
    )
    strikes: float = threshold(3.0, "taps", "one noise by chance is no buzz", JUDGEMENT)


NAME = "buzz"
OTHERS = (
    "a loose screw, hook, pad, pickup or tool on the plate or near it",
    "something in the room that rattles along",
    "faces of a crack that touch and let go",
    "a phone's or recorder's processing of the sound",
)


HELD_FIRST = "something buzzed, and a loose part changes {what} by itself: this check waits for taps during which hook, screws and pads were held still"


def held_first(scan: Scan, settings: Settings, what: str) -> str | None:
    """Why another rule cannot judge `what` yet; None where nothing buzzes or the parts were held."""
    return HELD_FIRST.format(what=what) if buzzing(scan, settings) and not scan.parts_held else None


def buzzing(scan: Scan, settings: Settings) -> list[LateSound]:
    """The strikes with a buzz in them, plainest first; empty where too few have it."""
    found = [
        s
        for s in scan.late_sounds
        if s.late_db >= settings.of(BuzzLimits).late_db
        and s.share_db >= settings.of(BuzzLimits).share_db
        and s.unevenness >= settings.of(BuzzLimits).unevenness
    ]
    return sorted(found, key=lambda s: -s.share_db) if len(found) >= settings.of(BuzzLimits).strikes else []


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication."""
    if scan.late_sounds_reason:
        return RuleNotRun(NAME, scan.late_sounds_reason)
    found = buzzing(scan, settings)
    if not found:
        return []
    stations = tuple(s for s, _ in Counter(s.station for s in found).most_common())
    first = listed([scan.where(s) for s in stations], NAMED_PLACES)
    heard = f"{len(found)} of {len(scan.late_sounds)} taps"
    told = (
        "Hook, screws and pads were held, and it is still there: look for faces that touch."
        if scan.parts_held
        else "Most often a loose part does that. If it stays while hook, screws, pads and pickup are held still, it counts as a finding."
    )
    sentence = f"A buzz goes on in {heard} after the knock is over, clearest at {first}. {told}"
    worst, limits = found[0], settings.of(BuzzLimits)
    conditions = (
        condition(limits, "late_db", "left over the noise", worst.late_db),
        condition(limits, "share_db", "left over all that is heard then", worst.share_db),
        condition(limits, "unevenness", "unevenness of it", worst.unevenness),
    )
    meaning: Interpretation = "relevant" if scan.parts_held else "nonrelevant"
    return [Indication("B1", NAME, meaning, None, stations, (), sentence, conditions, OTHERS)]


PLAIN = (
    (
        "",
        Plain(
            "a buzz that stays while parts are held",
            "The plate buzzes after the taps, although loose parts were held.",
            "Faces of a crack that touch can buzz, and so can a part that nobody thought of. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "A buzz",
    run,
    frozenset({"waveform"}),
    bare_only=True,
    rates="with and without a rattle",
    limits=(BuzzLimits,),
    plain=PLAIN,
)
