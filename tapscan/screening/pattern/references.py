"""Which references a plate can be held against, and what a scan is as a reference.

reference_of(name, scan, sensor, outcome, ...)   Reference: the plate's own tones, as arrays
fit_for(scan, references)                        Fit: those to be used, those left out and why, and the places they share
same_plate(one, other)                           whether two references are of one plate
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, Known, Mode, Reference, Scan, Sister
from tapscan.screening.mode_origins import of_plate
from tapscan.sensors import SensorKind

MOST = 20  # references; more steady the limit no further
AGAIN, AGAIN_NEAR = 0.5, 6e-4  # share of modes heard again, and how near, relative, on one plate scanned twice
FEWEST_PLACES = 8
FLAW = "an examination found a flaw"


class Fit(Struct, frozen=True, eq=False):
    """`stations`: tapped on the plate and on every reference of `used`."""

    used: tuple[Reference, ...]
    left_out: tuple[Sister, ...]
    stations: tuple[str, ...]


def reference_of(
    name: str, scan: Scan, sensor: SensorKind | None, outcome: Known = "unknown", standing: str | None = None
) -> Reference:
    """Places in the order tapped."""
    stations = tuple(dict.fromkeys(s.station for s in scan.strikes if s.usable))
    modes = sorted(of_plate(scan.modes), key=lambda m: m.frequency_hz)
    place = {s: k for k, s in enumerate(stations)}
    amplitude = np.full((len(modes), len(stations)), np.nan)
    for i, mode in enumerate(modes):
        for a in mode.amplitudes:
            if a.station in place:
                amplitude[i, place[a.station]] = a.amplitude_db
    frequency, loss = _column(modes, "frequency"), _column(modes, "loss")
    return Reference(
        name,
        stations,
        *frequency,
        *loss,
        amplitude,
        scan.state,
        sensor,
        scan.layout,
        outcome,
        standing=standing,
        modes=tuple(m.id for m in modes),
    )


def _column(modes: Sequence[Mode], field: str) -> tuple[FloatArray, FloatArray]:
    """Value and standard deviation, NaN where unknown."""
    found = [getattr(m, field) for m in modes]
    value, sd = ([getattr(e, part) for e in found] for part in ("value", "sd"))
    return np.array(value, dtype=float), np.array(sd, dtype=float)


def fit_for(plate: Reference, references: Sequence[Reference], fewest_places: int = FEWEST_PLACES) -> Fit:
    """In the order given; those that an examination found nothing on come first, and no more than MOST are used."""
    used: list[Reference] = []
    left: list[Sister] = []
    stations = plate.stations
    for other in sorted(references, key=lambda r: r.outcome != "nothing found"):
        shared = tuple(s for s in stations if s in set(other.stations))
        why = _unfit(plate, other, len(shared), fewest_places) or _spare(other, plate, used)
        if why:
            left.append(Sister(other.name, other.of_set, None, why))
        else:
            used.append(other)
            stations = shared
    return Fit(tuple(used), tuple(left), stations)


def _unfit(plate: Reference, other: Reference, shared: int, fewest_places: int) -> str | None:
    few = shared < min(fewest_places, len(plate.stations))
    reasons = (
        FLAW if other.outcome == "flaw" else None,
        other.standing,
        None if other.state == plate.state else f"scanned in another state ({other.state or 'unknown'})",
        None if other.sensor == plate.sensor else f"scanned by another kind of sensor ({other.sensor or 'unknown'})",
        None if other.layout == plate.layout else f"tapped by another layout ({other.layout or 'none'})",
        f"{shared} places in common" if few else None,
    )
    return next((why for why in reasons if why), None)


def _spare(other: Reference, plate: Reference, used: Sequence[Reference]) -> str | None:
    """Counted already, or one too many; which is asked first, since of a thousand most are."""
    if len(used) >= MOST:
        return f"{MOST} others are enough"
    for one in (plate, *used):
        if same_plate(one, other):
            return f"sounds like the same plate as {one.name}"
    return None


def same_plate(one: Reference, other: Reference) -> bool:
    """One plate repeats to some parts in 10,000 after a shared shift; two castings do not."""
    a, b = np.sort(np.log(one.frequency_hz)), np.sort(np.log(other.frequency_hz))
    if not len(a) or not len(b):
        return False
    apart = b[None, :] - a[:, None]
    near = apart[np.abs(apart) < 10 * AGAIN_NEAR]
    if not len(near):
        return False
    step = AGAIN_NEAR / 2
    votes, edges = np.histogram(near, np.arange(-10 * AGAIN_NEAR, 10 * AGAIN_NEAR + step, step))
    shift = float(edges[int(np.argmax(np.convolve(votes, [1, 1, 1], "same")))] + step / 2)
    again = np.abs(apart - shift) < AGAIN_NEAR
    return bool(min(again.any(axis=0).sum(), again.any(axis=1).sum()) >= AGAIN * min(apart.shape))
