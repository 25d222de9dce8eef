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
from functools import lru_cache
from pathlib import Path

import numpy as np
from msgspec import Struct, to_builtins
from numpy.typing import NDArray

from tapscan.model.candidates import Cut, cuts_of
from tapscan.model.iron import iron_of
from tapscan.model.mesh import Triangles, triangles_of
from tapscan.model.plate import Shapes, shapes_of
from tapscan.places import Outline, Point
from tapscan.records import FloatArray

VERSION = 2  # raise it where a model of the same outline comes out otherwise
MODES = 110
AROUND, SOFT_M = 8, 0.01  # points that a slope is taken from, and within which they count alike
ARRAYS = ("frequency_hz", "points_m", "deflection", "bending", "size_m", "still", "stiffness", "mass", "region")


class RoughModel(Struct, frozen=True, eq=False):
    """Shapes of the bending modes, at the corners of a coarse mesh and across each cut."""

    frequency_hz: FloatArray  # (n,), the model's own
    points_m: FloatArray  # (points, 2)
    deflection: FloatArray  # (points, n), 1/sqrt(kg)
    cuts: tuple[Cut, ...]
    bending: FloatArray  # (cuts, samples, n) moment across the cut over the root of the plate's stiffness there
    size_m: FloatArray  # (2,) of the picture
    still: FloatArray  # (points, 3) deflection of the motions that do not bend
    stiffness: FloatArray  # (regions, 3, m, m) each region's part between all motions, m = 3 + n, as in plate.Shapes
    mass: FloatArray  # (regions, m, m)
    region: NDArray[np.intp]  # (cuts, samples) that each sample lies in

    @property
    def motions(self) -> FloatArray:
        """(points, m) deflection, those that do not bend first."""
        return np.asarray(np.hstack([self.still, self.deflection]), dtype=float)

    def at(self, places: FloatArray) -> FloatArray:
        """(places, m) of `motions` at places of the picture, (places, 2) each 0..1; beside the iron that of the nearest iron."""
        from scipy.spatial import cKDTree

        far, near = cKDTree(self.points_m).query(places * self.size_m, k=4)
        weight = 1 / np.maximum(far, 1e-3) ** 2
        return np.asarray(np.einsum("pk,pkm->pm", weight / weight.sum(axis=1, keepdims=True), self.motions[near]))

    def slope_at(self, places: FloatArray) -> FloatArray:
        """(places, 2, m) of `motions`, 1/m: a plane laid through the iron around each."""
        from scipy.spatial import cKDTree

        at, motions = places * self.size_m, self.motions
        far, near = cKDTree(self.points_m).query(at, k=AROUND)
        root = 1 / np.sqrt(SOFT_M**2 + far**2)
        plane = (
            np.concatenate([np.ones((*near.shape, 1)), self.points_m[near] - at[:, None]], axis=2) * root[:, :, None]
        )
        return np.asarray((np.linalg.pinv(plane) @ (motions[near] * root[:, :, None]))[:, 1:])

    def in_picture(self, at_m: FloatArray) -> Point:
        """0..1 each."""
        x, y = np.clip(np.asarray(at_m) / self.size_m, 0, 1)
        return float(x), float(y)


def outline_hash(outline: Outline) -> str:
    """First 16 hex digits."""
    told = json.dumps({"version": VERSION, "modes": MODES, **to_builtins(outline)}, sort_keys=True)
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
    bending, region = _across(cuts, triangles, shapes)
    return RoughModel(
        shapes.frequency_hz,
        triangles.points_m,
        shapes.deflection.astype(np.float32),
        cuts,
        bending.astype(np.float32),
        iron.size_m,
        shapes.still,
        shapes.stiffness.astype(np.float32),
        shapes.mass.astype(np.float32),
        region,
    )


def _across(cuts: tuple[Cut, ...], triangles: Triangles, shapes: Shapes) -> tuple[FloatArray, NDArray[np.intp]]:
    """(cuts, samples, n) from the triangles nearest to each sample, and the region of the nearest."""
    from scipy.spatial import cKDTree

    tree = cKDTree(triangles.points_m[triangles.corners].mean(axis=1))
    out, regions = [], []
    for cut in cuts:
        _, near = tree.query(cut.samples(), k=2)
        x, y = cut.normal
        moment = shapes.moment[:, near].mean(axis=2)
        stiff = np.sqrt(shapes.stiffness_nm[near].mean(axis=1))
        out.append((x * x * moment[0] + y * y * moment[1] + 2 * x * y * moment[2]) / stiff[:, None])
        regions.append(triangles.region[near[:, 0]])
    return np.array(out), np.array(regions)


def _write(path: Path, model: RoughModel) -> None:
    """Whole or not at all; a folder that cannot be written to costs the seconds again next time."""
    half = path.with_suffix(f".{os.getpid()}.half.npz")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez_compressed(
            half,
            **{name: getattr(model, name) for name in ARRAYS},
            cuts=np.array(json.dumps(to_builtins(model.cuts))),
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
            return RoughModel(cuts=cuts, **{name: data[name] for name in ARRAYS})
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return None
