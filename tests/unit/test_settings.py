"""Thresholds: each has unit, reason and source; an overlay is checked; the hash ties figures to them."""

from dataclasses import fields, replace

import pytest

from tapscan.errors import BadSettings
from tapscan.settings import Settings, describe, read_settings, settings_sha256


@pytest.mark.parametrize("row", describe(Settings()), ids=lambda row: row[0])
def test_every_threshold_says_unit_reason_and_source(row):
    assert all(isinstance(text, str) and text for text in row[2:])


def test_overlay_changes_what_it_names_and_nothing_else(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("ringing_t60_s = 0.5\nclip_run = 4\n", encoding="utf-8")
    assert read_settings(path) == replace(Settings(), ringing_t60_s=0.5, clip_run=4.0)
    assert read_settings(None) == Settings()


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("ringing_t60 = 0.5", "unknown threshold 'ringing_t60'.*ringing_t60_s"),
        ('ringing_t60_s = "long"', "must be a number"),
        ("ringing_t60_s = true", "must be a number"),
        ("ringing_t60_s = nan", "finite"),
        ("ringing_t60_s = inf", "finite"),
        ("ringing_t60_s 0.5", "not readable as TOML"),
        ("[table]\nringing_t60_s = 1", "unknown threshold 'table'"),
    ],
)
def test_bad_overlay_is_refused_in_one_line(tmp_path, text, match):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadSettings, match=match) as caught:
        read_settings(path)
    assert "\n" not in str(caught.value)


def test_missing_overlay(tmp_path):
    with pytest.raises(BadSettings, match=r"nowhere\.toml"):
        read_settings(tmp_path / "nowhere.toml")


@pytest.mark.parametrize("name", [f.name for f in fields(Settings)])
def test_the_hash_changes_with_every_threshold(name):
    other = replace(Settings(), **{name: getattr(Settings(), name) + 1})
    assert settings_sha256(other) != settings_sha256(Settings())


def test_the_hash_does_not_care_how_a_number_is_written():
    assert settings_sha256(replace(Settings(), clip_run=3)) == settings_sha256(replace(Settings(), clip_run=3.0))
