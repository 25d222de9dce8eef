"""The rough model of an outline, ready for use, and kept by the hash of what it was made from.

    rough_model(outline, folder)   RoughModel; from memory, else from `folder`, else made anew (a few seconds)
    outline_hash(outline)          of all that the model depends on, this code's version included

Frequencies of the model are its own: whoever uses it asks for shapes, and lets the scale of frequency float.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zipfile
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from tapscan.model.candidates import Cut, cuts_of
from tapscan.model.iron import iron_of
from tapscan.model.mesh import Triangles, triangles_of
from tapscan.model.plate import Shapes, shapes_of
from tapscan.places import Outline, Point
from tapscan.records import FloatArray

VERSION = 1  # raise it where a model of the same outline comes out otherwise
MODES = 110


@dataclass(frozen=True, eq=False)
class RoughModel:
    """Shapes of the bending modes, at the corners of a coarse mesh and across each cut."""

    frequency_hz: FloatArray  # (n,), the model's own
    points_m: FloatArray  # (points, 2)
    deflection: FloatArray  # (points, n), 1/sqrt(kg)
    cuts: tuple[Cut, ...]
    bending: FloatArray  # (cuts, samples, n) moment across the cut over the root of the plate's stiffness there
    size_m: FloatArray  # (2,) of the picture

    def at(self, places: FloatArray) -> FloatArray:
        """(places, n) deflection at places of the picture, (places, 2) each 0..1; beside the iron that of the nearest iron."""
        from scipy.spatial import cKDTree

        far, near = cKDTree(self.points_m).query(places * self.size_m, k=4)
        weight = 1 / np.maximum(far, 1e-3) ** 2
        return np.asarray(np.einsum("pk,pkn->pn", weight / weight.sum(axis=1, keepdims=True), self.deflection[near]))

    def in_picture(self, at_m: FloatArray) -> Point:
        """0..1 each."""
        x, y = np.clip(np.asarray(at_m) / self.size_m, 0, 1)
        return float(x), float(y)


def outline_hash(outline: Outline) -> str:
    """First 16 hex digits."""
    told = json.dumps({"version": VERSION, "modes": MODES, **asdict(outline)}, sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:16]


@lru_cache(maxsize=8)
def rough_model(outline: Outline, folder: Path | None = None) -> RoughModel:
    """`folder`: where models are kept; None keeps them in memory only. Raises BadLayout where the drawing makes no plate."""
    path = folder / f"{outline_hash(outline)}.npz" if folder else None
    known = _read(path, outline) if path else None
    if known is not None:
        return known
    made = _made(outline)
    if path is not None:
        _write(path, made)
    return made


def _made(outline: Outline) -> RoughModel:
    iron = iron_of(outline)
    triangles = triangles_of(iron)
    shapes = shapes_of(triangles, iron, MODES)
    cuts = tuple(cuts_of(iron, outline))
    return RoughModel(
        shapes.frequency_hz,
        triangles.points_m,
        shapes.deflection.astype(np.float32),
        cuts,
        _across(cuts, triangles, shapes).astype(np.float32),
        iron.size_m,
    )


def _across(cuts: tuple[Cut, ...], triangles: Triangles, shapes: Shapes) -> FloatArray:
    """(cuts, samples, n) from the triangles nearest to each sample."""
    from scipy.spatial import cKDTree

    tree = cKDTree(triangles.points_m[triangles.corners].mean(axis=1))
    out = []
    for cut in cuts:
        _, near = tree.query(cut.samples(), k=2)
        x, y = cut.normal
        moment = shapes.moment[:, near].mean(axis=2)
        stiff = np.sqrt(shapes.stiffness_nm[near].mean(axis=1))
        out.append((x * x * moment[0] + y * y * moment[1] + 2 * x * y * moment[2]) / stiff[:, None])
    return np.array(out)


def _write(path: Path, model: RoughModel) -> None:
    """Whole or not at all; a folder that cannot be written to costs the seconds again next time."""
    half = path.with_suffix(f".{os.getpid()}.half.npz")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez_compressed(
            half,
            frequency_hz=model.frequency_hz,
            points_m=model.points_m,
            deflection=model.deflection,
            bending=model.bending,
            size_m=model.size_m,
            cuts=np.array(json.dumps([asdict(c) for c in model.cuts])),
        )
        half.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)


def _read(path: Path, outline: Outline) -> RoughModel | None:
    """None where there is none, or what is there is damaged."""
    try:
        with np.load(path) as data:
            told = json.loads(str(data["cuts"]))
            cuts = tuple(Cut(c["part"], c["kind"], c["where"], tuple(c["start_m"]), tuple(c["end_m"])) for c in told)
            arrays = {k: data[k] for k in ("frequency_hz", "points_m", "deflection", "bending", "size_m")}
            return RoughModel(cuts=cuts, **arrays)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return None
