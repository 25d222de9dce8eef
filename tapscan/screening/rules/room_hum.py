"""Some tones are the room's, the mains' or the test's own, and not the plate's.

Reason: a mode of the plate starts with the tap, dies away, and is strong where the plate moves. Hum, a fan or a machine sounds before the
tap as well, and stays. What every place excites alike is not the plate: its stand, the pickup's own resonance, the hammer.

Limits: chosen on simulated plates with and without hum and a steady tone (docs/rules.md). Such tones count for no other rule.
Needs quiet before the taps, or enough places.
"""

from tapscan.records import Condition, Indication, Mode, RuleNotRun, Scan
from tapscan.screening.room import alike, mains, snr_limit_db, steady
from tapscan.screening.rule import Outcome, Rule, condition
from tapscan.settings import Settings

NAME = "room-hum-handling"
SHOWN = 8

STEADY_OTHERS = ("the last tap had not died away when the next one came: wait longer between taps",)
ALIKE_OTHERS = ("a part that rings on its own and is shaken by every tap, such as a hook or a loose fitting",)


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication each for hum, for other steady tones, and for what all places excite alike."""
    if not scan.modes:
        return RuleNotRun(NAME, "no mode was found")
    places = len({s.station for s in scan.strikes if s.usable})
    if scan.steady_tones_reason and places < settings.origins.alike_stations:
        return RuleNotRun(
            NAME,
            f"{scan.steady_tones_reason}, and only {places} places tapped; needs {settings.origins.alike_stations:.0f}",
        )
    frequency = {m.id: m.frequency_hz for m in scan.modes}
    tones = [t for t in steady(scan, settings) if frequency[t.mode]]
    hum = [t for t in tones if mains(frequency[t.mode], settings)]
    rest = [t for t in tones if t not in hum]
    found = []
    for number, group in (("H1", hum), ("H2", rest)):
        if group:
            modes = [m for m in scan.modes if m.id in {t.mode for t in group}]
            loudest = max(group, key=lambda t: t.snr_db)
            loud = next(m for m in modes if m.id == loudest.mode)
            conditions = (
                condition(settings.origins, "steady_before_db", "strength before the tap over that after it", loudest.before_db),
                condition(settings.origins, "steady_snr_db", "line over what lies beside it", loudest.snr_db, limit=snr_limit_db(len(loud.amplitudes), settings)),
            )  # fmt: skip
            words = _mains_words(modes, settings) if number == "H1" else _steady_words(modes)
            found.append(_indication(number, modes, words, conditions, STEADY_OTHERS))
    same = [(m, sd) for m, sd in alike(scan, settings) if m.id not in {t.mode for t in tones}]
    if same:
        modes = [m for m, _ in same]
        sd = min(sd for _, sd in same)
        spread = condition(settings.origins, "alike_spread_db", "scatter of its strength over the places", sd)
        found.append(_indication("H3", modes, _alike_words(modes), (spread,), ALIKE_OTHERS))
    return found


def _mains_words(modes: list[Mode], settings: Settings) -> str:
    bases = sorted({told[0] for m in modes if (told := mains(m.frequency_hz, settings))})
    named = " or ".join(f"{b} Hz" for b in bases)
    return (
        f"{_tones(modes)} hummed before the taps as well: mains hum of {named} or its multiples, not the plate. "
        "It is left out of what the other rules look at. Move away from leads, lamps and motors, or record on battery."
    )


def _steady_words(modes: list[Mode]) -> str:
    return (
        f"{_tones(modes)} sounded before the taps as well: something in the room, such as a fan or a machine, not the plate. "
        "It is left out of what the other rules look at. It may be something that runs nearby."
    )


def _alike_words(modes: list[Mode]) -> str:
    return (
        f"{_tones(modes)} came alike from every place, wherever the plate was hit. A plate moves more at one place than at another, so this is "
        "more likely the stand, the pickup, the hammer or the room. It is left out of what the other rules look at."
    )


def _tones(modes: list[Mode]) -> str:
    listed = ", ".join(f"{m.frequency_hz:.0f}" for m in modes[:SHOWN]) + (" and more" if len(modes) > SHOWN else "")
    return f"A tone at {listed} Hz" if len(modes) == 1 else f"{len(modes)} tones ({listed} Hz)"


def _indication(
    name: str, modes: list[Mode], sentence: str, conditions: tuple[Condition, ...], others: tuple[str, ...]
) -> Indication:
    names = tuple(m.id for m in modes)
    return Indication(name, NAME, "nonrelevant", None, (), names, sentence, conditions, others)


RULE = Rule(NAME, "Tones that come from the room, the mains or handling", run, frozenset({"waveform"}), bare_only=False)
