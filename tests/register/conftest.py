"""A register with one plate, and a way to put a hand-built scan into it."""

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import Plate, ScanEntry
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate
from tapscan.register.results import pack_pictures
from tapscan.register.scans import store_scan
from tests.register import built


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = make_register(tmp_path_factory.mktemp("template") / "register")
    add_plate(made, Plate("B12", pattern="parlour grand", mass_kg=104.5))
    return made.folder


@pytest.fixture
def register(tmp_path: Path, template: Path) -> Register:
    return open_register(Path(shutil.copytree(template, tmp_path / "register")))


def put(register: Register, content: bytes = b"taps", plate: str = "B12", pictures: int = 0, **changes) -> ScanEntry:
    """Store a scan whose one recording is `content`."""
    result = built.screening((hashlib.sha256(content).hexdigest(),), pictures=pictures)
    files = [keep_bytes(register.folder, content, "S1_1.wav")]
    shown = keep_bytes(register.folder, pack_pictures(result.pictures), "pictures.npz") if pictures else None
    return store_scan(register, plate, built.new_scan(**changes), built.made(result), files, shown)


@pytest.fixture
def stored(register: Register) -> Callable[..., ScanEntry]:
    return lambda *args, **changes: put(register, *args, **changes)


def content_of(folder: Path) -> dict[str, str]:
    """Every file's hash, by its path within."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }
