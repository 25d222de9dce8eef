"""Findings of earlier scans that are still open.

still_open(past, now)    OpenFinding after OpenFinding, newest first, from a plate's scans
with_seen(opened, seen)      with lines that the eye saw in the iron on earlier days
with_visits(opened, found)   with what an examination found of what was seen on visits
beside(opened, every)    without those that the scan at hand shows by the same rule itself and nobody examined
asking(opened)           rules by which they ask for a test or a decision
told(opened)             a sentence, empty without any
up_to_date(screening, opened)   whether a stored conclusion says what is open now
same_heading(summary, opened)   whether one with that summary would get the same headline now

A finding that goes away is not cleared: unchanged simulated plates with chilled iron, scanned again, lost their finding in 8 to 11 % (counted by a reader of
the project). It stays open until the part that caused it is named in an outcome, and the two newest scans are silent. An outcome that
names no part never closes it, nor does one of a scan that found something else; a scan whose checks could not look for the same, or that did not listen at the same places, is not silent. The finding of a doubtful scan stays open too, with the doubt told beside it: it may be this plate's after all. A finding of played notes is closed by played notes, one of taps by taps. What an examination found is told by itself and never closes, whether a scan had a finding or not.
"""

from collections.abc import Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import Disposition, Indication, Screening

SILENT_SCANS = 2  # one silent scan proves little, see above
EXAMINED = "examination"  # in the place of a rule: a person found it
EYE_RULE = "eye"  # the same: a person saw it
STILL_OPEN = "Still open, from"
EXAMINATION = "An examination found:"
FINDING_STAYS = f"A finding that goes away is not cleared: it stays open until the part that caused it is named and {SILENT_SCANS} more scans of the same places or keys find nothing."
EYE_STAYS = "Taps do not clear what the eye saw: it stays open until an examination says what it is."


class PastScan(Struct, frozen=True):
    """One earlier scan of the plate, as far as it matters here."""

    name: str
    date: str  # ISO 8601
    disposition: Disposition
    relevant: tuple[Indication, ...]
    outcomes: tuple[str, ...] = ()  # what later examinations found, in words
    part_named: bool = False  # one of them names the part that caused the finding
    flaws: tuple[str, ...] = ()  # those of the outcomes that count as a flaw
    played: bool = False  # keys were played, nothing was tapped
    not_run: tuple[str, ...] = ()  # rules; what could not be made clears nothing
    doubt: str = ""  # why it may not be a scan of this plate, in a sentence
    heard: Mapping[str, str] = {}  # places or keys, with where they are

    def silent_on(self, earlier: "PastScan") -> bool:
        """Tapped well, or played, and listened to for the same at the same places, and nothing found. Notes never say of a plate that nothing is relevant."""
        if self.relevant or {i.rule for i in earlier.relevant} & set(self.not_run) or not self._listened_where(earlier):
            return False
        return self.played or self.disposition == "no relevant indication"

    def _listened_where(self, earlier: "PastScan") -> bool:
        """At every place that the finding names; where keys were played, at every key of that day, since the finding names none."""
        named = earlier.heard if earlier.played else {place for i in earlier.relevant for place in i.stations}
        return all(place in self.heard and self.heard[place] == earlier.heard.get(place) for place in named)

    def names_part_of(self, earlier: "PastScan") -> bool:
        """Of what caused that finding: what was noted with a scan that found something else was noted of that."""
        rules = {i.rule for i in self.relevant}
        return self.part_named and (self is earlier or not rules or bool(rules & {i.rule for i in earlier.relevant}))


class OpenFinding(Struct, frozen=True):
    """The newest finding of one rule that is not cleared."""

    scan: str
    date: str
    rule: str
    sentence: str
    outcomes: tuple[str, ...] = ()
    visit: bool = False  # `scan` names a visit
    doubt: str = ""  # of its scan: nobody has made sure yet that it is this plate's


def still_open(past: Sequence[PastScan], now: PastScan | None = None) -> tuple[OpenFinding, ...]:
    """`past`: oldest first; `now`: the scan at hand, of which its silence and its outcomes matter."""
    here = () if now is None else (now,)
    found: dict[str, OpenFinding] = {}
    for k, scan in enumerate(past):
        after = (*past[k + 1 :], *here)
        if _closed(scan, after):
            continue
        said = tuple(dict.fromkeys(o for s in (scan, *after) for o in s.outcomes))
        for i in scan.relevant:
            if scan.doubt and i.rule in found and not found[i.rule].doubt:
                continue  # the plate's own finding is not hidden by one that may be another plate's
            found[i.rule] = OpenFinding(scan.name, scan.date, i.rule, i.sentence, said, doubt=scan.doubt)
    rest = sorted(found.values(), key=lambda o: o.date, reverse=True)
    return (*_examined((*past, *here)), *rest)


def with_seen(opened: Sequence[OpenFinding], seen: Sequence[OpenFinding]) -> tuple[OpenFinding, ...]:
    """`seen` : by EYE_RULE, newest first, none of them explained. Taps never close it, however often they are silent."""
    first = tuple(o for o in opened if o.rule == EXAMINED)
    rest = [*seen, *(o for o in opened if o.rule != EXAMINED)]
    return (*first, *sorted(rest, key=lambda o: o.date, reverse=True))


def with_visits(
    opened: Sequence[OpenFinding], found: Sequence[tuple[str, str, Sequence[str]]]
) -> tuple[OpenFinding, ...]:
    """`found` : name, date and flaws that an examination found of what the eye saw on that visit, oldest first. They count like those of scans."""
    if not (flawed := [one for one in found if one[2]]):
        return tuple(opened)
    name, date, _ = flawed[-1]
    said = f"{EXAMINATION} {'; '.join(dict.fromkeys(f for _, _, flaws in flawed for f in flaws))}."
    if opened and opened[0].rule == EXAMINED:
        return (replace(opened[0], sentence=f"{opened[0].sentence} {said}"), *opened[1:])
    return (OpenFinding(name, date, EXAMINED, said, visit=True), *opened)


def _examined(scans: Sequence[PastScan]) -> tuple[OpenFinding, ...]:
    """All flaws that people found, as one that stands first and never closes."""
    if not (flawed := [s for s in scans if s.flaws]):
        return ()
    said = "; ".join(dict.fromkeys(f for s in flawed for f in s.flaws))
    return (OpenFinding(flawed[-1].name, flawed[-1].date, EXAMINED, f"{EXAMINATION} {said}."),)


def _closed(scan: PastScan, after: Sequence[PastScan]) -> bool:
    named = any(s.names_part_of(scan) for s in (scan, *after))
    alike = [s for s in after if s.played == scan.played]  # taps do not hear what notes showed, nor notes what taps did
    return named and len(alike) >= SILENT_SCANS and all(s.silent_on(scan) for s in alike[-SILENT_SCANS:])


def beside(opened: Sequence[OpenFinding], every: Sequence[Indication]) -> tuple[OpenFinding, ...]:
    """What the scan at hand shows itself need not be told twice, but what an examination found is always told."""
    shown = {i.rule for i in every}
    return tuple(o for o in opened if o.rule not in shown or o.outcomes)


def asking(opened: Sequence[OpenFinding]) -> list[str]:
    """Their rules. Where an examination has found a flaw, what it or another one looked at asks for no further test."""
    flawed = any(o.rule == EXAMINED for o in opened)
    return [o.rule for o in opened if o.rule == EXAMINED or not (flawed and o.outcomes)]


def told(opened: Sequence[OpenFinding]) -> str:
    """Begins with a blank."""
    examined = "".join(f" {o.sentence}" for o in opened if o.rule == EXAMINED)
    return examined + _not_cleared([o for o in opened if o.rule != EXAMINED])


def up_to_date(screening: Screening, opened: Sequence[OpenFinding]) -> bool:
    """Whether its summary says what is open, and nothing that is not."""
    shown = beside(opened, [i for i in screening.indications if i.interpretation == "relevant"])
    return same_heading(screening.summary, shown) and told(shown) in f" {screening.summary}"


def same_heading(summary: str, opened: Sequence[OpenFinding]) -> bool:
    """`opened` : as `beside` left them. What has been examined since, and what else is open, changes the text alone."""
    examined = any(o.rule == EXAMINED for o in opened)
    others = any(o.rule != EXAMINED for o in opened)
    return (EXAMINATION in summary, STILL_OPEN in summary) == (examined, others)


def _not_cleared(opened: Sequence[OpenFinding]) -> str:
    if not opened:
        return ""
    first, more = opened[0], len(opened) - 1
    rest = f" {more} more {'is' if more == 1 else 'are'} open." if more else ""
    said = "; ".join(first.outcomes) or "no examination is on record"
    until = {EYE_RULE: EYE_STAYS}.get(first.rule, FINDING_STAYS)
    sentence = f"{first.sentence} {first.doubt}" if first.doubt else first.sentence
    return f" {STILL_OPEN} {first.date}: {sentence}{rest} Examined since: {said}. {until}"
