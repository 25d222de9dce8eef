"""A reference set as a file: open JSON that other programs may read and write (docs/patterns.md, reference_set.schema.json beside this module).

    write_set(path, name, pattern, references, owner, made_by)   the set, with its hash
    read_set(path)                                               ReferenceSet; BadRequest with one line for what is no such file

The schema is checked by jsonschema; beside it what a schema cannot say: numbers that are none, amplitudes for other places than are named, and the hash. The hash tells damage,
not who wrote the file.
"""

import hashlib
import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from tapscan.errors import BadRequest
from tapscan.records import FloatArray, Reference
from tapscan.register.references import FIGURES, ReferenceSet
from tapscan.sources import read_plain
from tapscan.targets import write_text

FORMAT, SCHEMA = "tapscan reference set", 1
UNITS = {"frequency": "Hz", "loss_factor": "1", "amplitude": "dB"}
LARGEST_BYTES = 64_000_000
SCHEMA_FILE = Path(__file__).with_name("reference_set.schema.json")
LONGEST = 160  # of what is shown of a complaint


def write_set(
    path: Path, name: str, pattern: str, references: Sequence[Reference], owner: str | None, made_by: str
) -> ReferenceSet:
    """Raises BadRequest where it would not be read again, OSError where it cannot be written."""
    document: dict[str, Any] = {
        "format": FORMAT,
        "schema": SCHEMA,
        "made_by": made_by,
        "name": name,
        "pattern": pattern,
        "owner": owner,
        "units": UNITS,
        "references": [_document(r) for r in references],
    }
    document["sha256"] = content_sha256(document)
    found = _set(document, str(path))
    write_text(path, json.dumps(document, ensure_ascii=False) + "\n")
    return found


def read_set(path: Path) -> ReferenceSet:
    """Raises OSError where the file cannot be read."""
    if path.stat().st_size > LARGEST_BYTES:
        raise BadRequest(f"{path}: larger than {LARGEST_BYTES // 1_000_000} MB; a set of 1,000 plates is smaller")
    try:
        document = json.loads(read_plain(path, LARGEST_BYTES).decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError) as problem:
        raise BadRequest(f"{path}: not a reference set: {_short(str(problem))}") from None
    return _set(document, str(path))


def content_sha256(document: dict[str, Any]) -> str:
    """Of all but the hash itself: JSON with sorted keys and no blanks, UTF-8."""
    rest = {key: value for key, value in document.items() if key != "sha256"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number; unknown is null")


@cache
def _validator() -> Any:
    from jsonschema import Draft202012Validator

    return Draft202012Validator(json.loads(SCHEMA_FILE.read_text(encoding="utf-8")))


def _set(document: Any, where: str) -> ReferenceSet:
    newer = document.get("schema") if isinstance(document, dict) and document.get("format") == FORMAT else None
    if isinstance(newer, int) and newer > SCHEMA:
        raise BadRequest(f"{where}: schema {newer}; this tapscan reads {SCHEMA}: update tapscan")
    if (problem := next(_validator().iter_errors(document), None)) is not None:
        place = "/".join(str(p) for p in problem.absolute_path) or "the file"
        raise BadRequest(f"{where}: not a reference set: {_short(place)}: {_short(problem.message)}{_guess(problem)}")
    if content_sha256(document) != document["sha256"]:
        raise BadRequest(f"{where}: its content does not match its hash: damaged or changed by hand; ask for it anew")
    references = tuple(_reference(r, where) for r in document["references"])
    return ReferenceSet(
        document["name"],
        document["pattern"],
        references,
        document["sha256"],
        document["made_by"],
        document.get("owner"),
    )


def _guess(problem: Any) -> str:
    """The likeliest slip."""
    if list(problem.absolute_path)[-1:] == ["frequency_hz"] and problem.validator == "minimum":
        return "; given in kHz?"
    return ""


def _short(text: str) -> str:
    """One line that can be shown."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return line if len(line) <= LONGEST else line[: LONGEST - 3] + "..."


def _reference(found: dict[str, Any], where: str) -> Reference:
    places, modes = found["places"], found["modes"]
    if any(len(m["amplitude_db"]) != len(places) for m in modes):
        raise BadRequest(f"{where}: plate {found['name']}: a mode with amplitudes for other places than are named")
    amplitude = np.array([m["amplitude_db"] for m in modes], dtype=float).reshape(len(modes), len(places))
    columns: dict[str, Any] = {key: np.array([m[key] for m in modes], dtype=float) for key in FIGURES}
    facts: dict[str, Any] = {key: found[key] for key in ("state", "sensor", "layout", "outcome")}
    return Reference(found["name"], tuple(places), amplitude_db=amplitude, **columns, **facts)


def _document(r: Reference) -> dict[str, Any]:
    cells = [_values(getattr(r, name)) for name in FIGURES]
    modes = [
        dict(zip(FIGURES, row, strict=True)) | {"amplitude_db": _values(r.amplitude_db[i])}
        for i, row in enumerate(zip(*cells, strict=True))
    ]
    facts = {"name": r.name, "state": r.state, "sensor": r.sensor, "layout": r.layout, "outcome": r.outcome}
    return facts | {"places": list(r.stations), "modes": modes}


def _values(column: FloatArray) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in column]
