"""Screenings to rows and back.

    store_screening(connection, scan_id, number, new, pictures)   inside the caller's transaction; row number
    load_screening(register, screening_id)                        the Screening that was stored, field by field
    pack_pictures(pictures), unpack_pictures(content)             pictures as a file's bytes, to a hundredth of a dB

Pictures serve drawing only and are kept as a file; everything else comes back equal.
"""

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import numpy as np
from sqlalchemy import Connection, Row, Table, select

from tapscan.errors import RegisterProblem
from tapscan.records import Comparison, FloatArray, Indication, Mode, Recording, Scan, Screening, StationPicture, Strike
from tapscan.register import tables as t
from tapscan.register.codec import plain, record_of, row_of
from tapscan.register.database import Register, utc_now
from tapscan.register.entries import KeptFile, NewScreening
from tapscan.register.missing_rows import COUNTED, rows_of
from tapscan.register.plates import note_file

T = TypeVar("T")
STEP_DB = 0.01


def store_screening(
    connection: Connection, scan_id: int, number: int, new: NewScreening, pictures: KeptFile | None
) -> int:
    """Every row of one screening. `pictures` lies in the folder already."""
    screening, scan = new.screening, new.screening.scan
    if pictures is not None:
        note_file(connection, pictures)
    values = {
        **row_of(screening, t.screening.c.keys(), ("scan", "indications", "pictures", "comparison")),
        **row_of(scan, t.screening.c.keys(), ("recordings", "strikes", "modes"), "scan_more"),
        "scan_id": scan_id,
        "number": number,
        "made_utc": utc_now(),
        "tapscan_version": new.tapscan_version,
        "settings_text": new.settings_text,
        "pictures_sha256": pictures.sha256 if pictures else None,
    }
    values["more"] = {**(values["more"] or {}), COUNTED: rows_of(screening)}
    key = connection.execute(t.screening.insert().values(values)).inserted_primary_key
    assert key is not None
    parts: tuple[tuple[Table, Sequence[Any]], ...] = (
        (t.recording, scan.recordings),
        (t.strike, scan.strikes),
        (t.mode, scan.modes),
        (t.indication, screening.indications),
    )
    for table, records in parts:
        _insert(connection, table, key[0], records)
    if screening.comparison is not None:
        _insert_comparison(connection, key[0], screening.comparison)
    return int(key[0])


def _insert_comparison(connection: Connection, screening_id: int, comparison: Comparison) -> None:
    values = {"made_utc": utc_now(), "summary": comparison.summary, "document": plain(comparison)}
    connection.execute(t.comparison.insert().values({"screening_id": screening_id, **values}))


def _insert(connection: Connection, table: Table, screening_id: int, records: Sequence[Any]) -> None:
    columns = set(table.c.keys())
    rows = [
        {"screening_id": screening_id, "position": i, **row_of(record, columns)} for i, record in enumerate(records)
    ]
    if rows:
        connection.execute(table.insert(), rows)


def load_screening(register: Register, screening_id: int, *, pictures: bool = False) -> Screening:
    """Equal to what was stored. `pictures`: read them too."""
    with register.reading() as connection:
        return read_screening(connection, screening_id, register if pictures else None)


def read_screening(connection: Connection, screening_id: int, drawn: Register | None = None) -> Screening:
    """`drawn`: the register whose folder holds the pictures."""
    row = connection.execute(select(t.screening).where(t.screening.c.row == screening_id)).one()
    scan = record_of(
        Scan,
        {**row._mapping, "more": row.scan_more},
        recordings=_records(connection, t.recording, Recording, screening_id),
        strikes=_records(connection, t.strike, Strike, screening_id),
        modes=_records(connection, t.mode, Mode, screening_id),
    )
    shown = _pictures(drawn, row) if drawn else ()
    indications = _records(connection, t.indication, Indication, screening_id)
    given = {"scan": scan, "indications": indications, "pictures": shown}
    return record_of(Screening, row._mapping, **given, comparison=_comparison(connection, screening_id))


def _comparison(connection: Connection, screening_id: int) -> Comparison | None:
    query = select(t.comparison.c.document).where(t.comparison.c.screening_id == screening_id)
    document = connection.execute(query).scalar()
    return None if document is None else record_of(Comparison, document)


def _records(connection: Connection, table: Table, kind: type[T], screening_id: int) -> tuple[T, ...]:
    query = select(table).where(table.c.screening_id == screening_id).order_by(table.c.position)
    return tuple(record_of(kind, row) for row in connection.execute(query).mappings())


def pack_pictures(pictures: Sequence[StationPicture]) -> bytes:
    """A compressed .npz: levels in hundredths of a dB, axes as start and step. Empty for no pictures."""
    if not pictures:
        return b""
    arrays: dict[str, Any] = {"names": np.array([(p.station, p.strike) for p in pictures])}
    for i, p in enumerate(pictures):
        arrays[f"{i}f"], arrays[f"{i}t"] = _axis(p.frequency_hz), _axis(p.time_s)
        arrays[f"{i}s"], arrays[f"{i}e"] = _steps(p.spectrum_db), _steps(p.envelope_db)
        if p.noise_db is not None:
            arrays[f"{i}n"] = _steps(p.noise_db)
    content = io.BytesIO()
    np.savez_compressed(content, **arrays)
    return content.getvalue()


def unpack_pictures(content: bytes) -> tuple[StationPicture, ...]:
    """The pictures again. Raises ValueError or KeyError for other bytes."""
    with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
        return tuple(_picture(arrays, i, *names) for i, names in enumerate(arrays["names"].tolist()))


def _picture(arrays: Mapping[str, Any], i: int, station: str, strike: str) -> StationPicture:
    return StationPicture(
        station=station,
        strike=strike,
        frequency_hz=_points(arrays[f"{i}f"]),
        spectrum_db=_levels(arrays[f"{i}s"]),
        noise_db=_levels(arrays[f"{i}n"]) if f"{i}n" in arrays else None,
        time_s=_points(arrays[f"{i}t"]),
        envelope_db=_levels(arrays[f"{i}e"]),
    )


def _axis(points: FloatArray) -> FloatArray:
    """Start, step and count of an evenly spaced axis."""
    step = (points[-1] - points[0]) / (len(points) - 1) if len(points) > 1 else 0.0
    return np.array([points[0] if len(points) else 0.0, step, len(points)])


def _points(axis: FloatArray) -> FloatArray:
    return np.asarray(axis[0] + axis[1] * np.arange(int(axis[2])), dtype=np.float64)


def _steps(levels_db: FloatArray) -> np.ndarray:
    limit = 32767 * STEP_DB
    return np.round(np.clip(np.nan_to_num(levels_db, nan=-limit), -limit, limit) / STEP_DB).astype(np.int16)


def _levels(steps: np.ndarray) -> FloatArray:
    return np.asarray(steps * STEP_DB, dtype=np.float64)


def _pictures(register: Register, row: Row) -> tuple[StationPicture, ...]:
    if row.pictures_sha256 is None:
        return ()
    path = register.files.path_of(row.pictures_sha256)
    try:
        return unpack_pictures(path.read_bytes())
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        raise RegisterProblem(
            f"{path}: is missing or damaged; `tapscan scan rescreen` makes the pictures anew"
        ) from None
