"""Taps of a draft as the page shows them: place by place, with the map.

places_of(look, draft)   Places: rows in the layout's order, without one by number; those left out, the map

A place that must not be struck in the state of the plate has a row only where it was struck all the same; a tap may be given to it by hand.
"""

from collections.abc import Sequence

from markupsafe import Markup
from msgspec import Struct

from tapscan.workflow.draft import Draft
from tapscan.workflow.keep_draft import Look, typed_of
from tapscan.workflow.layout import AssignedTap, barred
from tapscan.workflow.sheet import tap_map
from tapscan.workflow.typed_scan import known_state


class Row(Struct, frozen=True):
    """One place."""

    station: str
    where: str
    taps: tuple[AssignedTap, ...]
    odd: bool  # another number of taps than at most places
    strange: bool  # not in the layout
    barred: bool = False  # not to be struck in this state


class Places(Struct, frozen=True):
    """All that is drawn."""

    every: tuple[Row, ...]  # to choose from
    out: tuple[tuple[str, float], ...]  # name, onset in s
    map: Markup | None
    files: int

    @property
    def rows(self) -> tuple[Row, ...]:
        """To be shown."""
        return tuple(row for row in self.every if row.taps or not row.barred)


def places_of(look: Look, draft: Draft) -> Places:
    """Places without a tap are rows too: something may be dropped there."""
    mine: dict[str, list[AssignedTap]] = {s.name: [] for s in look.layout.stations} if look.layout else {}
    for tap in look.taps:
        mine.setdefault(tap.station, []).append(tap)
    where = {s.name: s.where for s in look.layout.stations} if look.layout else {}
    never = barred(look.layout, known_state(typed_of(draft).get("state")))
    usual = _usual([len(taps) for taps in mine.values() if taps])
    rows = tuple(
        Row(
            name,
            where.get(name, ""),
            tuple(taps),
            len(taps) not in (0, usual),
            bool(where) and name not in where,
            name in never,
        )
        for name, taps in mine.items()
    )
    if look.layout is None:
        rows = tuple(sorted(rows, key=lambda row: (len(row.station), row.station)))  # S2 before S10
    counts = {row.station: len(row.taps) for row in rows}
    return Places(
        rows,
        look.out,
        tap_map(look.layout, counts, barred=never) if look.layout else None,
        len({t.recording for t in look.taps}),
    )


def _usual(counts: Sequence[int]) -> int:
    return max(set(counts), key=counts.count) if counts else 0
