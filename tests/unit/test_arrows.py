"""The direction of the imports, and one outside library per edge (DEVELOPERS.md), read from the source."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.every import each

ROOT = Path(__file__).parents[2] / "tapscan"
MODULES = sorted(ROOT.rglob("*.py"))
BASE = {
    "clock",
    "errors",
    "estimate",
    "faults",
    "places",
    "plain_values",
    "onset",
    "workers",
    "records",
    "sensors",
    "settings",
    "sources",
    "targets",
    "toml_files",
    "unseen",
    "wording",
    "__version__",
}
ROOMS = {
    "clock": set(),
    "errors": set(),
    "places": set(),
    "plain_values": set(),
    "onset": set(),
    "workers": set(),
    "sources": set(),
    "targets": set(),
    "toml_files": {"sources"},
    "unseen": {"errors"},
    "estimate": set(),
    "wording": {"estimate"},
    "faults": set(),
    "sensors": {"errors"},
    "records": {"estimate", "faults", "places", "sensors"},
    "settings": {"errors", "sources", "toml_files"},
    "signal": BASE,
    "model": {"errors", "places", "records"},
    "screening": BASE | {"signal", "model"},
    "recording": BASE,
    "register": BASE,
    "layouts": BASE,
    "report": BASE | {"layouts", "screening"},
    "demo": BASE,
    "workflow": BASE | {"signal", "screening", "recording", "register", "report", "layouts", "demo"},
    "page": BASE | {"workflow"},
    "cli": BASE | {"workflow", "page"},
}
SCREENING_IN_REPORT = {  # DEVELOPERS.md says the same
    "rule",
    "rules",
    "disposition",
    "in_words",
    "next_steps",
    "played_notes",
    "open_findings",
    "constants",
}
EDGES = {
    "typer": ("cli/",),
    "click": ("cli/",),
    "rich": ("cli/",),
    "sqlalchemy": ("register/",),
    "alembic": ("register/",),
    "platformdirs": ("workflow/where.py",),
    "skfem": ("model/plate.py",),
    "shapely": ("model/",),
    "soundfile": ("recording/files.py",),
    "av": ("recording/files.py",),
    "sounddevice": ("recording/microphone.py",),
    "matplotlib": ("report/figures/",),
    "jinja2": ("report/", "page/shown.py"),
    "starlette": ("page/",),
    "uvicorn": ("page/server.py",),
    "segno": ("page/",),
    "weasyprint": ("report/",),
    "PIL": ("report/photos.py",),
    "librosa": ("screening/notes.py",),
    "cattrs": ("plain_values.py",),
    "distributed": ("workflow/rescreen_all.py",),
}


@cache
def nodes_of(path: Path) -> list[ast.AST]:
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def imports(path: Path, *, top: bool = False) -> set[str]:
    """Dotted names a module imports; `top`: only those that run when it is imported."""
    nodes = nodes_of(path)
    held = [
        f
        for f in nodes
        if isinstance(f, ast.FunctionDef | ast.AsyncFunctionDef)
        or (isinstance(f, ast.If) and "TYPE_CHECKING" in ast.dump(f.test))
    ]
    inside = {id(n) for f in held for n in ast.walk(f)} if top else set()
    found: set[str] = set()
    for node in nodes:
        if id(node) in inside:
            continue
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{a.name}" for a in node.names}
    return found


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@each("path", MODULES, ids=name_of)
def test_rooms_know_only_the_rooms_before_them(path):
    room = name_of(path).split("/")[0].removesuffix(".py")
    if room in ("__init__", "__main__"):
        return
    known = ROOMS[room] | {room}
    rooms = {name.split(".")[1] for name in imports(path) if name.startswith("tapscan.")}
    assert rooms <= known


def test_the_report_reads_words_and_counts_of_screening_and_concludes_nothing():
    report = [p for p in MODULES if name_of(p).startswith("report/")]
    names = {".".join(n.split(".")[2:-1]) for p in report for n in imports(p) if n.startswith("tapscan.screening.")}
    read = {"rules" if n.startswith("rules.") else n for n in names}
    assert read == SCREENING_IN_REPORT
    text = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if "of screening it reads" in x)
    assert set(", ".join(re.findall(r"\((.*?)\)", line)).split(", ")) == SCREENING_IN_REPORT


@each("path", MODULES, ids=name_of)
def test_one_outside_library_per_edge(path):
    for library in {name.split(".")[0] for name in imports(path)} & set(EDGES):
        assert name_of(path).startswith(EDGES[library]), f"{library} is not for {name_of(path)}"


@each("path", MODULES, ids=name_of)
def test_slow_or_optional_libraries_are_imported_where_they_are_used(path):
    late = {"PIL", "librosa", "av", "sounddevice", "weasyprint", "skfem", "shapely"}
    assert not late & {name.split(".")[0] for name in imports(path, top=True)}


HEAVY = [
    "librosa",
    "skfem",
    "shapely",
    "scipy.signal",
    "scipy.stats",
    "scipy.optimize",
    "matplotlib",
    "sqlalchemy",
    "alembic",
    "sounddevice",
    "av",
    "starlette",
    "uvicorn",
]
HEAVY += ["jinja2", "numba", "joblib", "sklearn", "pandas", "multiprocessing", "concurrent.futures.process"]
ONE_TAP = ROOT.parent / "reference_recordings" / "real" / "drum-rim-1.flac"
HELP = (
    "from typer.testing import CliRunner; from tapscan.cli.app import app; "
    "assert CliRunner().invoke(app, ['--help']).exit_code == 0"
)


CHECK = HELP.replace("'--help'", f"'check', {str(ONE_TAP)!r}")
LOADED = {"import tapscan": "import tapscan", "tapscan --help": HELP, "tapscan check, one tap": CHECK}


@pytest.mark.parametrize("code", LOADED.values(), ids=LOADED)
def test_nothing_heavy_is_loaded(code):
    modules = loaded(code)
    assert [m for m in HEAVY if m in modules] == []
    assert code == CHECK or not {"numpy", "scipy", "soundfile"} & modules


def loaded(code):
    """Names of all modules."""
    ask = f"{code}; import sys; print(*sys.modules)"
    return set(subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True).stdout.split())
