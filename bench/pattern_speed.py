"""How fast a plate is held against a thousand references, for bench/pattern.py.

speed(scans)   lines of the table; `scans` of one pattern
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from msgspec.structs import replace

from bench import study
from tapscan.records import Reference, Scan
from tapscan.register.database import make_register
from tapscan.register.reference_file import read_set, write_set
from tapscan.register.references import add_set
from tapscan.screening.pattern.among_sisters import beside_pattern
from tapscan.screening.pattern.references import reference_of
from tapscan.settings import Settings
from tapscan.workflow.pattern import references_of

SEARCHED = 1000


def speed(scans: Sequence[Scan]) -> list[str]:
    """One plate held against SEARCHED references of an imported set, in a register in a temporary folder."""
    rng = np.random.default_rng(study.seed_of("pattern", "speed"))
    some = [reference_of(str(i), s, "contact") for i, s in enumerate(scans)]
    many = [replace(some[i % len(some)], name=str(i), **_another(some[i % len(some)], rng)) for i in range(SEARCHED)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "set.json"
        written = time.perf_counter()
        write_set(path, "thousand", "small grand", many, None, "bench")
        read = time.perf_counter()
        register = make_register(Path(folder) / "register")
        add_set(register, read_set(path))
        begun, cpu = time.perf_counter(), time.process_time()
        every = references_of(register, "small grand")
        found = beside_pattern("small grand", some[0], scans[0], every, Settings())
        took, busy = time.perf_counter() - begun, time.process_time() - cpu
        size = path.stat().st_size / 1e6
    return [
        "",
        f"{len(every)} references searched, {len(found.used)} used: {took:.2f} s, {busy:.2f} s of processor time; load {os.getloadavg()[0]:.0f} on {os.cpu_count()} cores",
        f"their set: {size:.1f} MB, written in {read - written:.1f} s, read and stored in {begun - read:.1f} s",
    ]


def _another(reference: Reference, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Another plate as far as a search can tell: frequencies 0.5 % off."""
    moved = reference.frequency_hz * np.exp(0.005 * rng.standard_normal(len(reference.frequency_hz)))
    return {"frequency_hz": moved}
