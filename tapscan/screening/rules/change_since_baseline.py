"""Some modes fell, lost their ring, vanished or appeared since an earlier scan of the same plate.

Reason: an open crack takes stiffness away where it lies, so it lowers the modes that bend the iron there and leaves the rest; it
raises none (Rayleigh). A crack that is pressed shut and rubs shifts hardly any mode but damps those that move it. A severed part
changes the list of modes. Temperature moves all modes in one ratio and is taken out first.

Limits: against the plate's own repeatability, chosen on simulated plates of two patterns and tried on three others
(bench/compare.py, docs/comparison.md); no iron was measured. Source of the statistic: ours.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import AddedMass, Condition, Indication, RuleNotRun, Scan, StationChange, UnpairedMode, Whereabouts
from tapscan.records.places import From
from tapscan.screening.compare.change import Change
from tapscan.screening.compare.measure import Measured, limit_name
from tapscan.screening.compare.unpaired_modes import one_sided
from tapscan.screening.in_words import NAMED_PLACES, places_sentence
from tapscan.screening.location.nearest import nearest_stations
from tapscan.screening.rule import Outcome, Plain, Rule, condition, measured
from tapscan.settings import Settings
from tapscan.wording import counted, listed

NAME = "change-since-baseline"
MOST_ODDS = 1e6  # more is not told apart
CLEAR = 3.0  # standard deviations: a tone that moved by more is counted as risen or fallen
STRONG = 0.6  # places at which the changed modes move at least this share of the strongest place's

DROP_OTHERS = (
    "something left on the plate, or fitted since: a clamp, hook, screw or magnet",
    "the pickup or microphone moved, came loose, or is another one",
    "the plate was supported differently from the baseline scans",
    "a part of the plate warmer than the rest",
    "a repair, drilling or grinding since",
)
COAT = "the coat of finish that was put on or taken off since, thicker in one place than in another"
LOSS_OTHERS = (
    "cloth, felt, tape or a hand touching the plate",
    "the plate lay on a softer or wider support",
    "a screw, hook or pickup that sits loose and rubs",
    "fresh finish that is still soft",
)
LIST_OTHERS = (
    "a part that was added or came away",
    "taps in other places, or a sensor in another place",
    "a noisier recording in which faint modes are missed",
)


class Evidence(Struct, frozen=True, eq=False):
    """All the rule looks at."""

    measured: Measured
    lost: tuple[UnpairedMode, ...]
    gained: tuple[UnpairedMode, ...]
    mass: AddedMass | None
    where: tuple[StationChange, ...]  # where the modes that fell are strong, strongest first
    where_damped: tuple[StationChange, ...]  # the same of those that die away faster
    since: str  # the baseline in words
    loss_refused: str | None  # why the damping is not compared
    contact: bool  # all scans with a pickup on the iron
    frequency_refused: str | None = None  # why the frequencies are not judged
    located: tuple[Whereabouts, ...] = ()  # the likeliest parts of the plate, or why they cannot be told
    coated: bool = False  # or stripped, since


def run(scan: Scan, settings: Settings) -> Outcome:
    """On a single scan there is nothing to compare with."""
    return RuleNotRun(NAME, "no earlier scan of this plate was given to compare with")


def judge(scan: Scan, evidence: Evidence, settings: Settings) -> Outcome:
    """At most one indication each for frequencies, for damping, and for the list of modes."""
    if evidence.measured.frequency.statistic is None:
        few = int(evidence.measured.frequency.judged.sum())
        return RuleNotRun(
            NAME, f"only {few} modes could be matched with the earlier scan; needs {settings.compare.modes:.0f}"
        )
    if evidence.frequency_refused:  # other modes are heard, too: none counts as lost or new
        return _damped(scan, evidence, settings) or RuleNotRun(NAME, evidence.frequency_refused)
    return [
        *_fallen(scan, evidence, settings),
        *_damped(scan, evidence, settings),
        *_listed_modes(scan, evidence, settings),
    ]


def _passes(change: Change) -> bool:
    return change.statistic is not None and change.statistic > change.limit


def _fallen(scan: Scan, evidence: Evidence, settings: Settings) -> list[Indication]:
    found = evidence.measured.frequency
    if not _passes(found):
        return []
    order = _strongest(found)
    worst = order[0]
    fell = -100 * found.value[worst]
    hz = evidence.measured.later.frequency_hz[evidence.measured.later_index[worst]]
    weight = evidence.mass is not None and evidence.mass.likelier
    sentence = (
        f"Since {evidence.since}, {_how_many(found)}. (What all tones did together, as they do when iron warms, was taken out first.) The one that stands out most, now at {hz:.1f} Hz, fell by "
        f"{fell:.3f} % (± {200 * found.sd[worst]:.3f} %; a semitone is 5.9 %). {_where(scan, evidence, 'drops')} {_meaning(evidence.mass, *_both_ways(found))}"
    )
    conditions = [
        _how_far(evidence, settings),
        measured("largest drop", fell, "%"),
    ]
    if evidence.mass is not None:
        conditions.append(_odds_of_a_weight(evidence.mass, settings))
    others = (COAT,) * evidence.coated + (DROP_OTHERS if weight else (*DROP_OTHERS[1:], DROP_OTHERS[0]))
    stations = _stations(scan, evidence, "drops")
    return [_indication("C1", evidence, stations, order, sentence, conditions, others)]


def _how_far(evidence: Evidence, settings: Settings) -> Condition:
    found = evidence.measured.frequency
    if not found.by_likelihood_ratio or found.statistic is None:
        name = limit_name("drop", evidence.measured.seen)
        return condition(settings.compare, name, "three largest drops", found.statistic, limit=found.limit)
    odds = _odds(found.statistic)
    return condition(
        settings.compare, "fall_likelihood_ratio", "odds that some tones fell", odds, limit=_odds(found.limit)
    )


def _odds_of_a_weight(mass: AddedMass, settings: Settings) -> Condition:
    shown = condition(settings.compare, "mass_limit", "odds of a weight", _odds(mass.score), limit=_odds(mass.limit))
    return replace(shown, unit="to 1")  # the threshold is the logarithm of the odds


def _odds(log: float) -> float:
    return float(np.clip(np.exp(log), 1 / MOST_ODDS, MOST_ODDS))


def _how_many(found: Change) -> str:
    compared, single = int(found.judged.sum()), int(found.named.sum())
    usual = "by more than is usual between scans of an unchanged plate"
    if not found.by_likelihood_ratio:
        return f"{max(single, 1)} of the {compared} tones (modes) compared {'has' if single < 2 else 'have'} become lower, {usual}"
    alone = f", {single} of them plainly, and together" if single else ": none of them plainly, but together"
    return f"several of the {compared} tones (modes) compared have become a little lower{alone} {usual}"


def _both_ways(found: Change) -> tuple[int, int]:
    """How many of the judged tones rose, and how many fell, by more than CLEAR of their own scatter."""
    score = np.where(found.judged, found.value / found.sd, 0.0)
    return int((score > CLEAR).sum()), int((score < -CLEAR).sum())


def _meaning(mass: AddedMass | None, rose: int, fell: int) -> str:
    if rose > fell:
        return (
            f"But more tones rose ({rose}) than fell ({fell}), and a crack raises none: something may have come off the plate, it may be held "
            "differently, or one of the scans is of other iron. Find out which before anything is concluded."
        )
    if mass is not None and mass.likelier:
        return (
            f"The pattern is more like that of something left on the plate{_weighing(mass)}, than of a crack: look for a clamp, hook or tool. "
            "Unless such a thing is found, treat it as a crack."
        )
    return "It may be a crack; a loose part, other supports or a forgotten clamp can do the same."


def _weighing(mass: AddedMass) -> str:
    """As a range: where it lies is not known, and an edge moves more than the middle."""
    if mass.between is None:
        return ""
    low, high = (100 * x for x in mass.between)
    return f", of the order of {low:.1f} to {high:.1f} % of its weight"


def _damped(scan: Scan, evidence: Evidence, settings: Settings) -> list[Indication]:
    found = evidence.measured.loss
    if evidence.loss_refused or not _passes(found) or not found.named.any():
        return []
    order, name = _strongest(found), limit_name("loss", evidence.measured.baseline.scans)
    times = float(np.exp(np.median(found.value[order])))
    sentence = (
        f"Since {evidence.since}, {counted(len(order), 'mode')} of {int(found.judged.sum())} die away faster: typically they lose "
        f"{times:.1f} times as much energy. A crack whose faces rub does that, even one pressed shut that moves no mode. "
        f"{_where(scan, evidence, 'losses')}"
    )
    conditions = [
        condition(settings.compare, name, "five largest rises of the loss", found.statistic, limit=found.limit),
        measured("loss now over then, middle of the modes named", times, "1"),
    ]
    stations = _stations(scan, evidence, "losses")
    return [_indication("C2", evidence, stations, order, sentence, conditions, LOSS_OTHERS)]


def _listed_modes(scan: Scan, evidence: Evidence, settings: Settings) -> list[Indication]:
    counting = [u for u in (*evidence.lost, *evidence.gained) if u.counts]
    if not evidence.contact:  # a room hides modes and lends its own (docs/comparison.md)
        return []
    if len(counting) < settings.compare.lost_or_new or one_sided(evidence.lost, evidence.gained, settings):
        return []
    shown = ", ".join(f"{u.frequency_hz:.0f}" for u in counting[:6])
    sentence = (
        f"Since {evidence.since}, {len(counting)} strong modes have gone or are new (near {shown} Hz{' and more' if len(counting) > 6 else ''}), "
        "and were too strong to be missed by chance. A part that has come away, or a large crack, changes the list of modes."
    )
    modes = tuple(u.mode for u in evidence.gained if u.counts)  # of the later scan; the lost are not in it
    conditions = (condition(settings.compare, "lost_or_new", "lost or new modes that count", float(len(counting))),)
    return [Indication("C3", NAME, "relevant", "new", (), modes, sentence, conditions, LIST_OTHERS)]


def _strongest(change: Change) -> list[int]:
    """Pairs named, by score; the largest alone where none passes the control of false discoveries."""
    named = np.nonzero(change.named)[0]
    if not len(named):
        named = np.array([np.argmax(np.where(change.judged, change.score, -np.inf))])
    return [int(k) for k in named[np.argsort(-change.score[named])]]


def _indication(
    name: str,
    evidence: Evidence,
    stations: tuple[str, ...],
    order: Sequence[int],
    sentence: str,
    conditions: Sequence[Condition],
    others: tuple[str, ...],
) -> Indication:
    modes = tuple(evidence.measured.later.names[evidence.measured.later_index[k]] for k in order)
    return Indication(name, NAME, "relevant", "new", stations, modes, sentence.strip(), tuple(conditions), others)


def _stations(scan: Scan, evidence: Evidence, which: From) -> tuple[str, ...]:
    """Beside the likeliest parts; where these cannot be told, where the tones that changed ring strongest."""
    told = next((w for w in evidence.located if w.told_from == which and w.places), None)
    if told is not None and scan.map is not None:
        return nearest_stations(told, scan.map)
    where = evidence.where if which == "drops" else evidence.where_damped
    return tuple(w.station for w in where if w.weight >= STRONG)[:NAMED_PLACES]


def _marked(scan: Scan, evidence: Evidence, which: From) -> str:
    """The tapped places that the map marks, by the names it shows; begins with a blank."""
    names = _stations(scan, evidence, which) if scan.map is not None else ()
    return (
        f" Nearest to where a crack would lie, and marked on the map: {listed([scan.where(s) for s in names])}."
        if names
        else ""
    )


def _where(scan: Scan, evidence: Evidence, which: From) -> str:
    """The likeliest parts; else why they cannot be told, and where the tones ring strongest, for what that is worth."""
    found = {w.told_from: w for w in evidence.located}
    weight = evidence.mass is not None and evidence.mass.likelier and which == "drops"
    first = found.get("weight" if weight else which)
    if first is not None and first.places:
        return f"{places_sentence(first, found.get(which) if weight else None)}{_marked(scan, evidence, which)}"
    where = evidence.where if which == "drops" else evidence.where_damped
    named = listed([scan.where(w.station) for w in where if w.weight >= STRONG][:NAMED_PLACES])
    why = f"Where it is cannot be told: {first.reason}." if first is not None and first.reason else ""
    which_tones = "The tones that fell" if which == "drops" else "These tones"
    if not named:
        return why
    return f"{why} {which_tones} ring strongest at {named}, which alone says no more of the cause's place than chance.".strip()


PLAIN = (
    (
        "C1",
        Plain(
            "the plate sounds different from before",
            "The plate does not sound as it did in {since}: some of its tones have become lower.",
            "It may be a crack, or something that was left on, loosened or taken off. This test cannot tell which.",
        ),
    ),
    (
        "C2",
        Plain(
            "some tones die away faster than before",
            "Some tones of the plate die away faster than in {since}.",
            "It may be a crack whose faces rub, or something soft or loose that touches the plate. This test cannot tell which.",
        ),
    ),
    (
        "C3",
        Plain(
            "some tones have gone and others are new",
            "Some tones that the plate had in {since} have gone, and others are new.",
            "A part may have been added or have come off. A large crack can do the same. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "A change since an earlier scan",
    run,
    frozenset({"frequencies", "decays"}),
    bare_only=False,
    rates="compared",
    meanings=(
        (
            "odds that some tones fell",
            "how much better several fallen tones explain the two scans than none, were their scatter the usual",
        ),
        (
            "odds of a weight",
            "how much likelier something left on the plate is than a crack, were both tried as often as in the simulations; a light weight is often taken for a crack, so look for one all the same",
        ),
    ),
    plain=PLAIN,
)
