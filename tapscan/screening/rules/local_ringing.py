"""A few neighbouring places ring at a pitch of their own.

Reason: a mode of the plate moves much of it. One that stands out as a pitch, lasts, and is strong at a few places side by side only belongs
to a part: a loose or half severed piece, a fitting, a thin place. Measure: participation ratio of its energies over the places, (sum e)^2 /
(n sum e^2): 1 where all places move alike, 1/n where one does.

Off by default: on simulated plates, by microphone or with a rattling screw, it raised plates without a flaw, and no flaw of its kind was simulated (docs/rules.md). Where the layout gives positions the places must also lie side
by side. Needs 8 places and a bare plate.
"""

from msgspec import Struct

from tapscan.records import Indication, Mode, RuleNotRun, Scan
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.rule import Outcome, Plain, Rule, by_standard, condition
from tapscan.screening.rules.prominent_ringing import RingingLimits
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("rules.local-ringing", counted_in=("single",))
class LocalRingingLimits(Struct, frozen=True):
    """When this rule speaks."""

    on: float = threshold(
        0.0,
        "0 or 1",
        "off: it gave false alarms on plates without a flaw, and what it looks for was not simulated",
        SIMULATED,
    )
    participation: float = threshold(
        0.25, "1", "share of the places that a mode moves; plates as a whole move more", SIMULATED
    )
    places: float = threshold(3.0, "stations", "where more places hear it the whole plate rings", JUDGEMENT)


NAME = "local-ringing"
STRONG = 0.25  # of the strongest place's energy
BESIDE = 0.35  # of the picture's longer side: places side by side
OFF = "off: it raised false alarms on plates without a flaw, and how well it finds a loose part is not known"
OTHERS = (
    "a loose fitting, hook, screw or clamp there that rings on its own",
    "the pickup or its cable touching there",
    "a thin or long free part that is made so",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """One indication for each such mode."""
    if not settings.of(LocalRingingLimits).on:
        return RuleNotRun(NAME, OFF)
    places = {s.station for s in scan.strikes if s.usable}
    if len(places) < settings.origins.alike_stations:
        return RuleNotRun(NAME, f"needs {settings.origins.alike_stations:.0f} places tapped, has {len(places)}")
    if not scan.modes:
        return RuleNotRun(NAME, "no mode was found")
    found: list[Indication] = []
    for mode in of_plate(scan.modes):
        ratio = participation(mode, len(places))
        if ratio < settings.of(LocalRingingLimits).participation and _rings(mode, settings):
            strong = strong_places(mode)
            if len(strong) <= settings.of(LocalRingingLimits).places and _side_by_side(scan, strong):
                found.append(_indication(len(found) + 1, scan, mode, strong, ratio, settings))
    return found


def participation(mode: Mode, places: int) -> float:
    """1/places to 1; places that do not hear the mode count as still."""
    energy = [10 ** (s.amplitude_db / 10) for s in mode.amplitudes]
    return sum(energy) ** 2 / (places * sum(e * e for e in energy)) if energy else 0.0


def strong_places(mode: Mode) -> tuple[str, ...]:
    """Places within a quarter of the strongest one's energy, strongest first."""
    energy = {s.station: 10 ** (s.amplitude_db / 10) for s in mode.amplitudes}
    top = max(energy.values())
    return tuple(sorted((s for s in energy if energy[s] >= STRONG * top), key=lambda s: -energy[s]))


def _rings(mode: Mode, settings: Settings) -> bool:
    """Whether it stands out somewhere, and lasts."""
    return mode.stations_prominent > 0 and (mode.t60_s or 0.0) > settings.of(RingingLimits).t60_s


def _side_by_side(scan: Scan, names: tuple[str, ...]) -> bool:
    """As far as the layout tells."""
    at = {s.name: (s.x, s.y) for s in scan.map.stations} if scan.map else {}
    spots = [at[n] for n in names if n in at]
    return all(max(abs(a[0] - b[0]), abs(a[1] - b[1])) <= BESIDE for a in spots for b in spots)


def _indication(
    number: int, scan: Scan, mode: Mode, strong: tuple[str, ...], ratio: float, settings: Settings
) -> Indication:
    where = ", ".join(scan.where(s) for s in strong)
    sentence = (
        f"A tone of {mode.frequency_hz:.0f} Hz stands out and rings for {mode.t60_s:.1f} s at {where}, and hardly anywhere else. A plate as "
        "a whole does not ring so locally: look for a part there that is loose, thin or parted."
    )
    conditions = (
        condition(settings.of(LocalRingingLimits), "participation", "share of the places that move with it", ratio),
        condition(settings.of(RingingLimits), "t60_s", "time to -60 dB", mode.t60_s),
        by_standard("places where it stands out", float(mode.stations_prominent), 1.0, "stations", "in the manner of ECMA-418-1"),
    )  # fmt: skip
    return Indication(f"L{number}", NAME, "relevant", None, strong, (mode.id,), sentence, conditions, OTHERS)


PLAIN = (
    (
        "",
        Plain(
            "one place rings by itself",
            "One place of the plate rings by itself.",
            "A part there may be loose, thin or parted. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "A place that rings by itself",
    run,
    frozenset({"levels", "faint decays"}),
    bare_only=True,
    shows=frozenset({"crack", "hard iron"}),
    limits=(LocalRingingLimits,),
    plain=PLAIN,
)
