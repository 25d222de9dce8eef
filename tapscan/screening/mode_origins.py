"""Where each tone comes from: the plate, a string, the room or the mains.

    with_origins(scan, settings)    the scan with each mode's `origin` filled in
    of_plate(modes)                 those that may be the plate's own

A mode that one station alone hears stays `unknown`. Strings are looked for only where there are any.
"""

from collections.abc import Sequence

from msgspec.structs import replace

from tapscan.places import STRUNG
from tapscan.records import Mode, Origin, Scan
from tapscan.screening.room import alike, mains, steady
from tapscan.screening.string_series import string_series
from tapscan.settings import Settings


def with_origins(scan: Scan, settings: Settings) -> Scan:
    """Hum and room before strings: a steady tone is nobody's partial. What was told before is told anew."""
    own: dict[Origin, Origin] = {"unknown": "unknown"}
    scan = replace(scan, modes=tuple(replace(m, origin=own.get(m.origin, "plate")) for m in scan.modes))
    frequency = {m.id: m.frequency_hz for m in scan.modes}
    told: dict[str, Origin] = {}
    for tone in steady(scan, settings):
        told[tone.mode] = "hum" if mains(frequency[tone.mode], settings) else "room"
    told |= {m.id: "room" for m, _ in alike(scan, settings) if m.id not in told}
    if scan.state in STRUNG:
        left = [m for m in scan.modes if m.id not in told]
        told |= {name: "string" for series in string_series(left, settings) for name in series.modes}
    return replace(scan, modes=tuple(replace(m, origin=told.get(m.id, m.origin)) for m in scan.modes))


def of_plate(modes: Sequence[Mode]) -> list[Mode]:
    """Modes that nothing shows to come from elsewhere."""
    return [m for m in modes if m.origin in {"plate", "unknown"}]
