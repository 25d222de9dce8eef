"""The plate is unlike other castings of its pattern: its shapes of motion are others, or some of its modes lose far more.

Reason: castings of one pattern move alike. Thickness and modulus differ from one to the next and shift each mode by some tenths of a per cent, but leave what moves where. A severed
strut changes the shapes themselves, all over the plate. A crack pressed shut that rubs leaves shapes and frequencies, but takes energy from the modes that move it. A partial crack
mostly moves modes by less than castings differ: most are missed; an open corner is often found where castings differ little.

Limits: by the number of references, set on simulated plates of five patterns and counted on five others (bench/pattern.py, docs/patterns.md); no iron was measured. Where the
references themselves scatter more than the limits were set for, nothing is said. Source of the statistics: ours (screening/pattern/measure.py).
"""

from collections.abc import Sequence

from msgspec import Struct

from tapscan.records import Condition, Indication, PatternFigure, RuleNotRun, Scan
from tapscan.screening.rule import Outcome, Plain, Rule, condition, measured
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold
from tapscan.wording import counted, listed

NAME = "unlike-its-pattern"
COUNTED = "simulated castings of other patterns than are counted, never on real iron"
MOST_NAMED = 8
NONE = "no other plates of its pattern were given to hold it against"
SHAPE_OTHERS = (
    "the plate is of another pattern, or of a changed drawing of this one",
    "places tapped in another order, or marked in other spots",
    "a part that was cut away, added or welded",
    "something heavy left on the plate, or a pickup elsewhere than on the references",
)
LOSS_OTHERS = (
    "cloth, felt, tape or a hand touching the plate",
    "other supports than the references had",
    "a screw, hook or pickup that sits loose and rubs",
    "finish in another state than on the references",
)


@stage("rules.unlike-its-pattern", counted_in=("pattern",))
class Limits(Struct, frozen=True):
    """When a plate is unlike its sisters. A limit with `few` rises by that over the number of references."""

    references: float = threshold(3.0, "plates", "fewer say nothing of what is usual", "simulated study")
    places: float = threshold(8.0, "places", "fewer in common make no pattern of motion", JUDGEMENT)
    unlike: float = threshold(1.75, "1", "change of shape against the sisters, over what is usual among them", COUNTED)
    unlike_few: float = threshold(0.35, "1", "more for each part of a reference: this over their number", COUNTED)
    losses: float = threshold(2.55, "1", "mean of the ten largest rises of the loss, in the sisters' scatter", COUNTED)
    losses_few: float = threshold(0.6, "1", "more for each part of a reference: this over their number", COUNTED)
    scatter_percent: float = threshold(
        0.95, "%", "sisters whose modes lie further apart have shapes of their own", SIMULATED
    )
    loss_scatter_percent: float = threshold(15.0, "%", "sisters whose losses differ more hide a crack that rubs", SIMULATED)  # fmt: skip

    def unlike_for(self, references: int) -> float:
        """By their number."""
        return self.unlike + self.unlike_few / references

    def losses_for(self, references: int) -> float:
        """By their number."""
        return self.losses + self.losses_few / references


class Evidence(Struct, frozen=True):
    """All the rule looks at."""

    pattern: str
    references: tuple[str, ...]  # used
    unlike: PatternFigure
    losses: PatternFigure
    modes: tuple[str, ...]  # whose loss rose most, strongest first
    times: float | None  # loss over the sisters', middle of these modes
    scatter_percent: float | None
    loss_scatter_percent: float | None


def run(scan: Scan, settings: Settings) -> Outcome:
    """On a single scan there is nothing to hold it against."""
    return RuleNotRun(NAME, NONE)


def few_references(pattern: str, used: int, limits: Limits) -> str | None:
    """That they are too few to hold a plate against, or None."""
    if used >= limits.references:
        return None
    there = f"there {'is' if used == 1 else 'are'} {used or 'none'}"
    return f"needs three other plates of pattern {pattern}; {there} that can be used"


def judge(scan: Scan, evidence: Evidence, settings: Settings) -> Outcome:
    """At most one indication each for shapes and losses; not run where neither could be judged."""
    limits = settings.of(Limits)
    if too_few := few_references(evidence.pattern, len(evidence.references), limits):
        return RuleNotRun(NAME, too_few)
    if evidence.unlike.value is None and evidence.losses.value is None:
        return RuleNotRun(NAME, evidence.unlike.reason or evidence.losses.reason or "nothing could be judged")
    return [*_shapes(evidence, limits), *_losses(evidence, limits)]


def _shapes(evidence: Evidence, limits: Limits) -> list[Indication]:
    if not evidence.unlike.over:
        return []
    sentence = (
        f"This plate moves otherwise than {_beside(evidence)}: its shapes differ from theirs {evidence.unlike.value:.1f} times as much as theirs from each "
        "other's. A strut that is cut through does that; so does a plate of another pattern."
    )
    return [_indication("P1", (), sentence, _figures(evidence, limits), SHAPE_OTHERS)]


def _losses(evidence: Evidence, limits: Limits) -> list[Indication]:
    if not evidence.losses.over or evidence.times is None:
        return []
    sentence = (
        f"Beside {_beside(evidence)}, {counted(len(evidence.modes), 'mode')} of this plate die away faster: typically they lose {evidence.times:.1f} times "
        "as much energy. A crack whose faces rub does that, even one pressed shut."
    )
    return [_indication("P2", evidence.modes, sentence, _figures(evidence, limits), LOSS_OTHERS)]


def _beside(evidence: Evidence) -> str:
    named = listed(evidence.references, MOST_NAMED)
    return f"{counted(len(evidence.references), 'other plate')} of pattern {evidence.pattern} ({named})"


def _figures(evidence: Evidence, limits: Limits) -> list[Condition]:
    count = len(evidence.references)
    figures = [
        condition(limits, "references", "plates it is held against", float(count)),
        condition(limits, "unlike", "change of shape over the usual", evidence.unlike.value, limit=limits.unlike_for(count)),
        condition(limits, "losses", "ten largest rises of the loss", evidence.losses.value, limit=limits.losses_for(count)),
    ]  # fmt: skip
    if evidence.scatter_percent is not None:
        figures.append(measured("scatter of a mode among the sisters", evidence.scatter_percent, "%"))
    if evidence.loss_scatter_percent is not None:
        figures.append(measured("scatter of a loss among the sisters", evidence.loss_scatter_percent, "%"))
    return figures


def _indication(
    name: str, modes: tuple[str, ...], sentence: str, conditions: Sequence[Condition], others: tuple[str, ...]
) -> Indication:
    return Indication(name, NAME, "relevant", None, (), modes, sentence, tuple(conditions), others)


PLAIN = (
    (
        "P1",
        Plain(
            "the plate is unlike others of its pattern",
            "The plate moves in other ways than the other plates of its pattern.",
            "A strut may be cut through, or the plate may be of another pattern. This test cannot tell which.",
        ),
    ),
    (
        "P2",
        Plain(
            "some tones die away faster than on others of its pattern",
            "Some tones of the plate die away faster than on the other plates of its pattern.",
            "It may be a crack whose faces rub, or something soft or loose that touches the plate. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "Unlike its pattern",
    run,
    frozenset({"frequencies", "levels", "decays"}),
    bare_only=True,
    limits=(Limits,),
    rates="beside its pattern",
    beyond="It misses most partial cracks: castings differ by more. Where castings differ little, an open corner is often found.",
    meanings=(
        ("plates it is held against", "other plates of the pattern, in the same state and by the same kind of sensor"),
        ("change of shape over the usual", "how unlike this plate moves, over how unlike the other plates move among themselves"),
        ("ten largest rises of the loss", "how far the ten modes that lose most lie above the other plates', in the scatter of these"),
        ("scatter of a mode among the sisters", "how far a mode's frequency differs from casting to casting, standard deviation"),
        ("scatter of a loss among the sisters", "how far a mode's loss differs from casting to casting, standard deviation"),
    ),
    plain=PLAIN,
)  # fmt: skip
