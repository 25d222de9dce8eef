"""How often each rule is right and wrong, as far as the benches measured it, in words.

    error_rates(rule, used, scans) a sentence; for other thresholds than those that ship, that nothing was measured; `scans`: how many earlier ones it was compared with
    how_sure(screening)            the same in a sentence or two for the first screen, also where nothing was found
    single_scan_misses(used)       what a single scan does not show
    earlier_scans(screening)       how many earlier scans it was compared with; None: with none
    place_rates(found, used)       how often a place that is named is the right one
    shipped_limits(part)           hash of the shipped thresholds that the figures of one part of the file depend on
    constants_of(part)             the same of the numbers in the code; where they have changed since, the sentence says so
    FILE                           reach.json, written by studies in bench/ (detection, supports, location, pattern, in_piano) and by nothing else

The file holds, for each part, the hash of its thresholds and, for what was counted since it is kept, that of the constants in the code; a test compares both with
what ships. `used` are the hashes of the thresholds that a screening ran with (Screening.limits_sha256). Which flaws a rule is meant for stands in its own file.
"""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

from tapscan import wording
from tapscan.records import IN_PIANO as IN_PIANO_STATES
from tapscan.records import Comparison, Screening, Whereabouts
from tapscan.report.counts_in_words import alarms, share, total, up_to
from tapscan.screening.constants import constants_sha256
from tapscan.screening.rule import Rates, Rule
from tapscan.screening.rules import RULE_LIMITS, note_buzz, rule_named
from tapscan.settings import Settings, limits_by_part, limits_sha256
from tapscan.settings.definition import Part

FILE = Path(__file__).with_name("reach.json")
Table = Literal["single", "comparison", "beside", "location", "pattern", "piano", "notes"]
DEPENDS: dict[Table, tuple[Part, ...]] = {
    "single": ("single",),
    "comparison": ("comparison", "bare"),
    "beside": ("single", "comparison", "bare"),
    "location": ("location",),
    "pattern": ("pattern",),
    "piano": ("piano", "comparison"),
    "notes": ("notes",),
}
TABLES: dict[Rates, Table] = {
    "compared": "comparison",
    "beside its pattern": "pattern",
    "in the piano": "piano",
    "played notes": "notes",
}  # the others: single
Used = Sequence[tuple[str, str]]

KINDS = {
    "breathing crack, half a strut deep": "with half a strut cracked and the faces within a micrometre of touching",
    "closed crack that rubs, half a strut deep": "with a closed, rubbing crack through half a strut",
    "chilled region, losses scatter 10 %": "with a chilled region where losses scatter little",
    "chilled region, losses scatter 20 %": "with a chilled region where losses scatter more",
    "severed strut": "with a strut cut through",
}
NO_IRON = "It was never counted on real iron."
JOB_ROWS, SEASON_ROWS = ("job", "job twice"), ("season 5 %", "season 5 % twice")  # of one scan at either visit, of two
WIDER_ROWS = "season 20 %", "season 20 % twice"
PIANO_KINDS = {
    "screw gone": "with a plate screw gone",
    "screw at 30 %": "with a screw at a third of its hold",
    "severed": "with a strut cut through and open",
    "corner 60 mm": "with a corner torn by 60 mm",
    "rim 30 mm": "with the edge torn by 30 mm",
    "depth 50 %": "with half a strut's depth cracked",
}
NO_PIANO = "It was never counted on real iron, and real pianos may scatter otherwise."
NO_PIANO_RECORDED = "No piano was recorded, and how loud a loose part is in a real one nobody has measured."
NO_IRON_PATTERN = "It was never counted on real iron, and real castings may scatter otherwise."
NO_IRON_COMPARED = "It was never counted on real iron, and real supports and rooms may do worse."
NOT_MEASURED = (
    "error rates not measured yet. How often this rule speaks on a plate without a flaw, and how often it stays silent on one "
    "with a flaw, is not known."
)
EARLIER = "These figures were counted with an earlier version of the program, whose limits or own numbers were others."
ENOUGH_SCANS = 3
CRACKS = tuple(kind for kind in KINDS if "crack" in kind or "severed" in kind)
OLDER = "Counted with an earlier version of this program, and never on real iron."
NOT_SURE = "We have no error rate for this check."
NO_VERDICT = "This scan gives no answer, neither good nor bad."
IN_PIANO = "Not at all: what a single tap test can show in a piano is not known."
OTHER_SETTINGS = "no measured reach for these settings: its error rates were counted with the limits that ship, and these are others."


@cache
def shipped_limits(table: Table) -> str:
    """First 16 hex digits."""
    return limits_sha256(Settings(), DEPENDS[table], RULE_LIMITS)


@cache
def constants_of(table: Table) -> str:
    """Hash of the numbers in the code, as they are now, that the figures of one part of the file depend on."""
    return "+".join(constants_sha256(part) for part in DEPENDS[table])


@cache
def measured() -> Mapping[str, Any]:
    """What the benches wrote."""
    return dict(json.loads(FILE.read_text(encoding="utf-8")))


def error_rates(name: str, used: Used, scans: int | None = None) -> str:
    """Of the rule `name`. A change since earlier scans errs as was counted with so many of them: the figures are those of how_sure."""
    rule = rule_named(name)
    if rule is None or rule.rates is None:
        return NOT_MEASURED
    if rule.rates == "compared" and scans is not None and scans < ENOUGH_SCANS:
        return wording.small(_beside(used, scans)) if _as_shipped("beside", used) else OTHER_SETTINGS
    table = TABLES.get(rule.rates, "single")
    if table not in measured():
        return NOT_MEASURED
    if not _as_shipped(table, used):
        return OTHER_SETTINGS
    said = _said(rule, measured()[table])
    return said if _as_counted(table) else f"{said} {EARLIER}"


def _as_counted(table: Table) -> bool:
    now = {"limits_sha256": shipped_limits(table), "constants_sha256": constants_of(table)}
    return all(measured()[table].get(name) == value for name, value in now.items())


def _said(rule: Rule, figures: Mapping[str, Any]) -> str:
    told = {
        "compared": _compared,
        "in the piano": _two_in_piano,
        "with and without a rattle": _buzz,
        "on bare plates": _on_bare_plates,
    }
    if rule.rates in told:
        return told[rule.rates](figures)
    of_rule = {"beside its pattern": _beside_pattern, "played notes": _notes}
    return of_rule.get(str(rule.rates), _by_kind)(rule, figures)


def _two_in_piano(figures: Mapping[str, Any]) -> str:
    jobs = [_around_one_job(figures, twice) for twice in (True, False) if JOB_ROWS[twice] in figures]
    seasons = [_across_seasons(figures, twice) for twice in (True, False) if SEASON_ROWS[twice] in figures]
    return f"on simulated plates in the piano, {'; '.join((*jobs, *seasons))}. {NO_PIANO}"


def _on_bare_plates(figures: Mapping[str, Any]) -> str:
    found = figures["string_on_bare"]
    return f"not measured on strings. On {share(found)} simulated bare plates taken for strung it took plate tones for a string's. {NO_IRON}"


@cache
def _shipped_by_part() -> Mapping[str, str]:
    return dict(limits_by_part(Settings(), RULE_LIMITS))


def _as_shipped(table: Table, used: Used) -> bool:
    return all(dict(used).get(part) == _shipped_by_part()[part] for part in DEPENDS[table])


def place_rates(found: Whereabouts, used: Used) -> str:
    """How often the part that is named first, and one of three, is the right one; beside it, chance."""
    part = measured().get("location", {})
    few = "" if found.places_used is None or found.places_used >= part.get("places", 0) else "few "
    figures = part.get(f"{few}{found.told_from}")
    if not _as_shipped("location", used) or not figures:
        return "How often this is right has not been counted."
    first, three, chance = figures["first"], figures["three"], 100 * figures["chance_first"]
    said = (
        f"On simulated plates tapped at {figures['places']} places, whose drawing was a fifth wrong, the part named first was the right one in {share(first)} "
        f"({100 * first['low']:.0f} to {100 * first['high']:.0f} %), one of the first three in {share(three)}; by chance it would be {chance:.0f} in 100. "
        f"That counts all cracks tried; the larger a part's share, the more often it was right. {NO_IRON}"
    )
    return said if _as_counted("location") else f"{said} {EARLIER}"


def single_scan_misses(used: Used) -> str:
    """For a first screen on which nothing was compared and nothing found; with figures only for the settings that ship."""
    said = "A strut that is cut through mostly passes unnoticed in a single scan"
    if not _as_shipped("single", used):
        return f"{said}."
    found = measured()["single"]["any_relevant"]["severed strut"]
    return f"{said} (on simulated plates it was noticed in {share(found)}). {_version('single')}"


def how_sure(screening: Screening) -> str:
    """Of what weighs most on the first screen."""
    found = next((i for i in screening.indications if i.interpretation == "relevant"), None)
    compared = screening.comparison
    if found and compared and found in compared.indications and compared.around:
        return _in_piano("It is no proof.", compared, screening.limits_sha256)
    if found:
        return _of_finding(found.rule, screening.limits_sha256, earlier_scans(screening) or 0)
    if screening.disposition == "inconclusive" and compared and compared.around:
        return _in_piano("A crack can pass unnoticed.", compared, screening.limits_sha256)
    if screening.disposition == "inconclusive":
        return IN_PIANO if screening.scan.state in IN_PIANO_STATES and screening.scan.modes else NO_VERDICT
    if screening.comparison is None or screening.comparison.rules_not_run:
        return single_scan_misses(screening.limits_sha256)
    return _missed(screening.limits_sha256, earlier_scans(screening) or 0)


def _in_piano(lead: str, comparison: Comparison, used: Used) -> str:
    """Two scans in the piano, by what lies between them."""
    if comparison.rules_not_run:
        return NO_VERDICT
    if "piano" not in measured() or not _as_shipped("piano", used):
        return NOT_SURE
    figures = measured()["piano"]
    seasons = comparison.around == "seasons"
    if (SEASON_ROWS if seasons else JOB_ROWS)[comparison.twice] not in figures:
        return NOT_SURE
    said = (_across_seasons if seasons else _around_one_job)(figures, comparison.twice)
    return f"{lead} On simulated plates in the piano, {said}. {_version('piano')}"


def _around_one_job(figures: Mapping[str, Any], twice: bool = False) -> str:
    rows, count = figures[JOB_ROWS[twice]], "two" if twice else "one"
    scans = f"{count} scan{'s' if twice else ''} before one job and {count} after"
    return f"{scans}, at {figures['places_tapped']} places by pickup: {alarms(rows['same'])} without a flaw ({up_to(rows['same'])}); {_found(rows)}"


def _across_seasons(figures: Mapping[str, Any], twice: bool = False) -> str:
    rows, more = figures[SEASON_ROWS[twice]], figures.get(WIDER_ROWS[twice], {}).get("same")
    scans = "two scans at either visit, " if twice else ""
    return (
        f"across seasons, {scans}at {figures['places_tapped']} places by pickup, plate screws then holding otherwise by 5 %: {alarms(rows['same'])} without a flaw ({up_to(rows['same'])}); {_found(rows)}; "
        + (f"by 20 %: {alarms(more)} ({up_to(more)})" if more else "by more: not counted")
    )


def _found(rows: Mapping[str, Any]) -> str:
    """And what was not counted."""
    told = ", ".join(f"{share(rows[kind])} {words}" for kind, words in PIANO_KINDS.items() if kind in rows)
    left = wording.listed([words.removeprefix("with ") for kind, words in PIANO_KINDS.items() if kind not in rows])
    return f"found: {told}" + (f"; not counted: {left}" if left else "")


def earlier_scans(screening: Screening) -> int | None:
    """Those that were left out (something buzzed in them) do not count."""
    return len(screening.comparison.baselines) if screening.comparison else None


def _of_finding(name: str, used: Used, scans: int) -> str:
    """Not a proof, and what was counted on simulated plates."""
    rule = rule_named(name)
    if rule is not None and rule.rates == "compared":
        return f"It is no proof. {_beside(used, scans)}"
    if rule is not None and rule.rates == "played notes":
        said = error_rates(name, used)
        return f"It is no proof. {said[0].upper()}{said[1:]}"
    if rule is None or rule.rates != "by kind of flaw" or not _as_shipped("single", used):
        return f"It is no proof. {NOT_SURE}"
    kinds = measured()["single"]["relevant"]
    aimed = [kinds[kind][name] for kind in rule.aims]
    found = f" Of what it looks for it found {share(total(aimed))}." if aimed else ""
    return f"It is no proof. On simulated plates without a flaw this check gave {alarms(kinds['sound'][name])}.{found} {_version('single')}"


def _missed(used: Used, scans: int) -> str:
    """Nothing was found: how often a crack is missed is asked, how often the check speaks for nothing is not."""
    return f"A crack can pass unnoticed. {_beside(used, scans, with_alarms=False)}"


def _beside(used: Used, scans: int, *, with_alarms: bool = True) -> str:
    """As counted with so many earlier scans; with fewer than three, beside one."""
    table: Table = "comparison" if scans >= ENOUGH_SCANS else "beside"
    if not _as_shipped(table, used):
        return NOT_SURE
    if table == "comparison":
        plain, found, beside = measured()[table]["unchanged"], measured()[table]["cracked"], "three earlier scans"
    else:
        counted = measured()[table]["any_relevant"]
        plain, found, beside = counted["sound"], total([counted[kind] for kind in CRACKS]), "one earlier scan"
    told = f"there {'were' if plain['spoke'] > 1 else 'was'} {alarms(plain)}, and " if with_alarms else ""
    return f"On simulated plates, compared with {beside}, {told}{share(found)} cracks were noticed. {_version(table)}"


def _version(table: Table) -> str:
    return NO_IRON if _as_counted(table) else OLDER


def _by_kind(rule: Rule, figures: Mapping[str, Any]) -> str:
    by_kind = {kind: found[rule.name] for kind, found in figures["relevant"].items()}
    rest = [by_kind[kind] for kind in KINDS if kind not in rule.aims]
    other = {"spoke": sum(r["spoke"] for r in rest), "of": sum(r["of"] for r in rest)}
    found = [f"{share(by_kind[kind])} {KINDS[kind]}" for kind in rule.aims]
    found.append(f"{share(other)} with {'another' if found else 'a'} flaw")
    plain = by_kind["sound"]
    told = f"on simulated plates with {figures['places_tapped']} places tapped: {alarms(plain)} without a flaw ({up_to(plain)}); found: {', '.join(found)}."
    return " ".join(part for part in (told, _more_places(rule, figures), rule.beyond, NO_IRON) if part)


def _more_places(rule: Rule, figures: Mapping[str, Any]) -> str:
    """What it finds where more places were tapped, for the flaws it looks for; empty where that was not tried."""
    by_kind = {kind: found[rule.name] for kind, found in figures.get("more_places", {}).items()}
    aimed = [f"{share(by_kind[kind])} {KINDS[kind]}" for kind in rule.aims if kind in by_kind]
    if not aimed or "sound" not in by_kind:
        return ""
    places, plain = figures["more_places_tapped"], alarms(by_kind["sound"])
    return f"With {places} places tapped: {plain} without a flaw; found: {' and '.join(aimed)}."


def _beside_pattern(rule: Rule, figures: Mapping[str, Any]) -> str:
    plain, found = figures["unflawed"], figures["found"]
    told = "; ".join(
        f"beside {count} on {share(found['severed'][count])} with a severed strut and on {share(found['rubbing'][count])} with a crack that rubs"
        for count in found["severed"]
    )
    return f"on simulated castings tapped at {figures['places_tapped']} places it raised an indication on {share(plain)} without a flaw ({up_to(plain)}); {told}. {rule.beyond} {NO_IRON_PATTERN}"


def _buzz(figures: Mapping[str, Any]) -> str:
    with_rattle, without = figures["buzz"]["rattling"], figures["buzz"]["quiet"]
    return f"on simulated plates it was heard on {share(with_rattle)} with a rattling screw and on {share(without)} without. {NO_IRON}"


def _notes(rule: Rule, figures: Mapping[str, Any]) -> str:
    plain, found = figures["unflawed"][rule.name], figures["found"][rule.name]
    return f"on simulated notes heard by pickup it raised an indication on {share(plain)} takes of a piano with nothing wrong ({up_to(plain)}) and on {share(found)} with what it looks for.{_by_microphone(rule, figures)} {NO_PIANO_RECORDED}"


def _by_microphone(rule: Rule, figures: Mapping[str, Any]) -> str:
    """Begins with a blank. What rings on is not looked for so."""
    if rule.name != note_buzz.NAME:
        return ""
    heard = figures["buzz_by_microphone"]
    return f" By microphone: {share(heard['unflawed'])} with nothing wrong, and {share(heard['found'])} with a buzz."


def _compared(figures: Mapping[str, Any]) -> str:
    plain, cracked = figures["unchanged"], figures["cracked"]
    return (
        f"on simulated plates, by contact pickup and with three baseline scans: {alarms(plain)} on plates that had not changed "
        f"({up_to(plain)}), and {share(cracked)} of the cracks tried were found, from a tenth of a strut's depth up; by microphone, above all with "
        f"one baseline scan, it sees less. {NO_IRON_COMPARED}"
    )
