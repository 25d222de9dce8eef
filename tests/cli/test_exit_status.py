"""Exit status: 2 where what was typed cannot be, told before anything is looked at; 1 where the work could not be done."""

import pytest

from tests.cli.commands import run

TYPED_WRONGLY = (
    ("check", "a.wav", "--sate", "stripped"),
    ("check", "a.wav", "--per-station", "two"),
    ("check", "a.wav", "--order", "soft,loud"),
    ("check", "a.wav", "--state", "striped"),
    ("check", "a.wav", "--layout", "grand-sort"),
    ("check", "a.wav", "--order", "soft,hard", "--per-station", "3"),
    ("check", "a.wav", "--date", "31.2.2026"),
    ("plate", "add", "B12", "--mass-kg", "heavy"),
    ("scan", "import", "B12", "a.wav", "--yes", "--iron-c", "warm"),
    ("scan", "import", "B12", "a.wav", "--yes", "--sensor", "piezo"),
    ("scan", "import", "B12", "a.wav", "--yes", "--assign", "S4"),
    ("scan", "import", "B12", "a.wav", "--yes", "--skip", "all"),
    ("scan", "import", "B12", "a.wav", "--yes", "--played", "--keys", "H9"),
    ("settings", "--stage", "fits"),
    ("settings", "default", "order=loud"),
    ("demo", "a.txt"),
)
NOT_DONE = (
    ("check", "none.wav"),
    ("check", "a.txt"),
    ("check", "a.wav", "--layout", "none.toml"),
    ("check", "a.wav", "--settings", "none.toml"),
    ("plate", "show", "B13"),
    ("scan", "show", "B12/2026-01-01"),
    ("demo", "a.txt/below"),
)


@pytest.fixture
def there(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    (tmp_path / "a.txt").write_text("no sound")
    assert run("plate", "add", "B12").status == 0


@pytest.mark.parametrize("words", TYPED_WRONGLY, ids=" ".join)
def test_what_was_typed_wrongly_is_two(there, words):
    done = run(*words)
    assert (done.status, done.out) == (2, "")


@pytest.mark.parametrize("words", NOT_DONE, ids=" ".join)
def test_what_could_not_be_done_is_one(there, words):
    done = run(*words)
    assert done.status == 1 and len(done.err.splitlines()) == 1, done.err
    assert "itself" not in done.err


def test_nothing_is_said_of_what_is_kept_where_nothing_is(there):
    done = run("scan", "import", "B12", "none.wav", "--state", "stripped", "--yes")
    assert done.status == 1 and "kept" not in done.err
