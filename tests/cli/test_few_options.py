"""How much has to be typed: a rebuilder's day, an inspector's visit and a shop's year, run and counted. Recordings are simulated."""

import json
from collections.abc import Sequence
from pathlib import Path

import pytest
import soundfile

from tapscan.demo import shop as demo
from tapscan.recording.files import save_flac
from tests.cli.commands import run

SIMULATED = Path(__file__).parents[2] / "reference_recordings" / "simulated"
FILES = sorted((SIMULATED / "strut-before").glob("*.flac"))
PLATE = demo.PLATES[0]
DAYS = ("14.3.2025", "15.3.2025", "16.3.2025", "20.10.2025")
pytestmark = pytest.mark.usefixtures("measured_once")


def options(commands: Sequence[Sequence[object]]) -> int:
    """Words that begin with dashes; a value belongs to its option."""
    return sum(str(word).startswith("-") for words in commands for word in words)


def done(commands: Sequence[Sequence[object]]) -> list[str]:
    """Each is run; none may fail."""
    told = [run(*words) for words in commands]
    assert [(one.status, one.err) for one in told if one.status] == []
    return [one.out for one in told]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where nothing is kept yet."""
    (tmp_path / "register").mkdir()
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def take(folder: Path) -> Path:
    """One long take by a layout of the shop's own."""
    (folder / "own.toml").write_text(demo.layout_text(PLATE))
    save_flac(folder / "take.flac", demo.sound_of(PLATE, 0), demo.SAMPLE_RATE_HZ)
    return folder / "take.flac"


@pytest.mark.slow
def test_a_rebuilder_types_three_commands_and_two_options_from_sheet_to_report(take):
    commands = (
        ("settings", "default", "layout=own.toml", "order=soft,hard"),
        ("layout", "print", "own.toml", "sheet.html"),
        ("check", take.name, "--state", "stripped", "--report", "plate.html"),
    )
    done(commands)
    assert len(commands) <= 3 and options(commands) <= 2
    assert "20 places" in Path("plate.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_an_inspector_types_two_commands(take):
    commands = (
        ("layout", "print", "own.toml", "card.html", "--state", "strung", "--order", "soft,hard"),
        ("check", take.name, "--layout", "own.toml", "--order", "soft,hard", "--state", "strung", "--report", "p.html"),
    )
    done(commands)
    assert len(commands) <= 2
    assert "not good news nor bad" in Path("p.html").read_text(encoding="utf-8").replace("neither", "not")


def scan(folder: Path, number: int) -> list[Path]:
    """The same taps at another gain: another recording of an unchanged plate."""
    (folder / str(number)).mkdir()
    for file in FILES:
        samples, rate = soundfile.read(file)
        soundfile.write(folder / str(number) / file.name, samples * 0.9**number, rate, subtype="PCM_24")
    return sorted((folder / str(number)).glob("*.flac"))


@pytest.mark.slow
def test_a_shops_year_takes_twelve_options(folder):
    """Four scans, the first three its baseline, and one outcome."""
    kept = ("settings", "default", "order=soft,hard", "sensor=contact", "dates=day.month.year")
    imports = [
        (
            "scan",
            "import",
            "B12",
            *(f.relative_to(folder) for f in scan(folder, n)),
            "--state",
            "stripped",
            "--date",
            day,
        )
        for n, day in enumerate(DAYS)
    ]
    outcome = ("scan", "outcome", "B12/2025-10-20", "--found", "nothing", "--method", "penetrant", "--by", "A. Person")
    commands = (
        ("plate", "add", "B12"),
        kept,
        *imports,
        ("plate", "baseline", "B12", *(f"B12/2025-03-{d}" for d in (14, 15, 16))),
        outcome,
        ("report", "B12"),
    )
    typed = [c for c in commands]
    assert options(typed) <= 12, options(typed)
    for words in typed:
        answered = run(*words, answer="y\n" * 3) if "import" in words else run(*words)
        assert answered.status == 0, (words[:3], answered.err)
    told = json.loads(run("scan", "show", "B12/2025-10-20", "--json", "-").out)
    assert told["register"]["outcomes"] and Path("B12_2025-10-20.html").exists()
