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
the project). It stays open until the part that caused it is named in an outcome, and the two newest scans are silent (screening/past_scan.py says what counts as
silence; a recording that was stored again counts once). An outcome that names no part never closes it, nor does one of a scan that found something else. The finding of a doubtful scan stays open too, with the doubt told beside it: it may be this plate's after all. A finding of played notes is closed by played notes, one of taps by taps. What an examination found is told by itself and never closes, whether a scan had a finding or not.
"""

from collections.abc import Sequence
from itertools import takewhile

from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import Indication, Screening
from tapscan.records.scan import same_place
from tapscan.screening.past_scan import PastScan, same_taps, why_not_silent
from tapscan.wording import listed

SILENT_SCANS = 2  # one silent scan proves little, see above
EXAMINED = "examination"  # in the place of a rule: a person found it
EYE_RULE = "eye"  # the same: a person saw it
STILL_OPEN = "Still open, from"
EXAMINATION = "An examination found:"
FINDING_STAYS = f"A finding that goes away is not cleared: it stays open until the part that caused it is named and {SILENT_SCANS} more scans of the same places or keys find nothing (a change: beside a baseline from before it)."
EYE_STAYS = "Taps do not clear what the eye saw: it stays open until an examination says what it is."


class OpenFinding(Struct, frozen=True):
    """The newest finding of one rule at one place that is not cleared."""

    scan: str
    date: str
    rule: str
    sentence: str
    outcomes: tuple[str, ...] = ()
    visit: bool = False  # `scan` names a visit
    doubt: str = ""  # of its scan: nobody has made sure yet that it is this plate's
    places: tuple[str, ...] = ()  # that it names
    wants: str = ""  # what it still takes to close it, in sentences, where a part is named


def still_open(past: Sequence[PastScan], now: PastScan | None = None) -> tuple[OpenFinding, ...]:
    """`past`: oldest first; `now`: the scan at hand, of which its silence and its outcomes matter."""
    here = () if now is None else (now,)
    found: list[OpenFinding] = []
    for k, scan in enumerate(past):
        after = (*past[k + 1 :], *here)
        said = tuple(dict.fromkeys(o for s in (scan, *after) for o in s.outcomes))
        for i in scan.relevant:
            if (wants := _wanting(scan, i, past[:k], after)) is not None:
                of = (scan.name, scan.date, i.rule, i.sentence, said)
                found = _newest(found, OpenFinding(*of, doubt=scan.doubt, places=i.stations, wants=wants))
    rest = sorted(found, key=lambda o: o.date, reverse=True)
    return (*_examined((*past, *here)), *rest)


def _newest(found: Sequence[OpenFinding], new: OpenFinding) -> list[OpenFinding]:
    """A finding made again stands once. The plate's own is not hidden by one that may be another plate's."""
    same = [o for o in found if o.rule == new.rule and same_place(o.places, new.places)]
    if new.doubt and any(not o.doubt for o in same):
        return list(found)
    return [*(o for o in found if o not in same), new]


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


def _wanting(scan: PastScan, found: Indication, earlier: Sequence[PastScan], after: Sequence[PastScan]) -> str | None:
    """What it still takes to close it, where a part is named; None: it is closed. Taps do not hear what notes showed, nor notes what taps did."""
    if not any(s.names_part_of(scan, found) for s in (scan, *after)):
        return ""
    alike = [s for s in after if s.played == scan.played and s.name != scan.name]  # nor its own other readings
    new = _taken_anew(alike, (*earlier, scan))
    why = [why_not_silent(s, scan, found) for s in new]
    silent = len(list(takewhile(lambda reason: not reason, reversed(why))))
    if silent >= SILENT_SCANS:
        return None
    more = SILENT_SCANS - silent
    told = f"The part is named; {more} silent scan{'s are' if more > 1 else ' is'} still wanted."
    if len(new) > silent:
        told += f" {_which(new[-silent - 1])} does not count as one: {why[-silent - 1]}."
    again = [s for s in alike if s not in new]
    return f"{told} {_which(again[-1])} does not count as one: the same recording is stored twice." if again else told


def _which(scan: PastScan) -> str:
    return f"That of {scan.date}" if scan.date else "This scan"


def _taken_anew(scans: Sequence[PastScan], known: Sequence[PastScan]) -> list[PastScan]:
    """Without those that are a recording stored again."""
    new: list[PastScan] = []
    for s in scans:
        if not any(same_taps(s.heard, one.heard) for one in (*known, *new)):
            new.append(s)
    return new


def beside(opened: Sequence[OpenFinding], every: Sequence[Indication]) -> tuple[OpenFinding, ...]:
    """What the scan at hand shows itself need not be told twice, but what an examination found is always told."""
    shown = [o for o in opened for i in every if o.rule == i.rule and same_place(o.places, i.stations)]
    return tuple(o for o in opened if o not in shown or o.outcomes)


def asking(opened: Sequence[OpenFinding]) -> list[str]:
    """Their rules. Where an examination has found a flaw, what it or another one looked at asks for no further test."""
    flawed = any(o.rule == EXAMINED for o in opened)
    return list(dict.fromkeys(o.rule for o in opened if o.rule == EXAMINED or not (flawed and o.outcomes)))


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
    first, more = opened[0], [_shortly(o) for o in opened[1:]]
    rest = f" {len(more)} more {'is' if len(more) == 1 else 'are'} open: {listed(more, 3)}." if more else ""
    said = "; ".join(first.outcomes) or "no examination is on record"
    until = {EYE_RULE: EYE_STAYS}.get(first.rule, FINDING_STAYS)
    sentence = f"{first.sentence} {first.doubt}" if first.doubt else first.sentence
    wants = f" {first.wants}" if first.wants else ""
    return f" {STILL_OPEN} {first.date}: {sentence}{rest} Examined since: {said}. {until}{wants}"


def _shortly(o: OpenFinding) -> str:
    return f"of {o.date} ({', '.join(o.places)})" if o.places else f"of {o.date}"
