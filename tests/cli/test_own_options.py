"""No message names an option that its command does not have: every run of `tests/cli/commands.py` is looked at. Here that this look sees, and what a wrong take is told."""

import pytest

from tapscan.demo import shop
from tapscan.recording.files import save_flac
from tests.cli.commands import options_it_lacks, run
from tests.sounds import taps_at, wav_bytes, written

PLATE = shop.PLATES[0]


@pytest.mark.parametrize(
    ("said", "lacks"),
    [
        ("tapscan: 2 taps; --assign and --skip put them right", {"--assign", "--skip"}),
        ("tapscan: 2 taps; `tapscan scan import --skip 7` puts them right", set()),
        ("tapscan: look among the settings with tapscan scan import --skip 7.", set()),
        ("No such option: --sate", set()),
        ("tapscan: --per-station 2, or an --order of 2 taps, fits", set()),
    ],
)
def test_the_look_at_a_message_sees_a_strange_option(said, lacks):
    assert options_it_lacks(("tapscan", "check", "a.wav", "--sate", "bare"), said) == lacks


def test_an_option_of_another_command_is_not_taken_for_its_own():
    assert options_it_lacks(("tapscan", "scan", "import"), "--skip 7") == set()
    assert options_it_lacks(("tapscan", "check"), "--skip 7") == {"--skip"}


@pytest.fixture
def take(tmp_path, monkeypatch):
    """Two taps a place, three of them announced."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    (tmp_path / "own.toml").write_text(shop.layout_text(PLATE))
    save_flac(tmp_path / "take.flac", shop.sound_of(PLATE, 0), shop.SAMPLE_RATE_HZ)
    return ("take.flac", "--layout", "own.toml", "--order", "soft,hard,hard")


def test_check_offers_what_it_has(take):
    done = run("check", *take)
    assert done.status and "--per-station 2" in done.err
    assert "--assign" not in done.err and "`tapscan scan import`" in done.err


def test_import_offers_what_it_has(take):
    assert run("plate", "add", "B12").status == 0
    done = run("scan", "import", "B12", *take, "--state", "stripped", "--yes")
    assert done.status and "--assign and --skip" in done.err


def test_one_tap_is_no_taps_and_no_report_is_named_that_was_not_asked_for(tmp_path):
    file = written(tmp_path / "S4.wav", wav_bytes(taps_at([0.5], 2.5, 48000), 48000))
    alone, beside = run("check", file).out, run("check", file, "--report", tmp_path / "page.html").out
    assert "1 tap used" in alone and "see the report" not in alone
    assert "see the report" in beside
