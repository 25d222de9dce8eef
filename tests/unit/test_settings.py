"""Thresholds: each defined once with unit, reason and source; an overlay is checked; hashes tie figures to them."""

import pytest

from tapscan.errors import BadSettings
from tapscan.screening.rules import RULE_LIMITS, RULES
from tapscan.screening.rules.prominent_ringing import RingingLimits
from tapscan.settings import PARTS, Settings, as_toml, every_threshold, limits_sha256, read_settings, settings_sha256
from tapscan.settings.definition import stage_of
from tapscan.settings.fit import Fit
from tapscan.settings.ranges import within
from tapscan.settings.recorder import Recorder
from tapscan.settings.settings import STAGES
from tapscan.settings.strikes import Strikes

EVERY = every_threshold(Settings(), RULE_LIMITS)
STAGE_CLASSES = {stage_of(c): c for c in [*(type(getattr(Settings(), s)) for s in STAGES), *RULE_LIMITS]}


def shifted(t):
    """Another value that may stand there."""
    return Settings().but(STAGE_CLASSES[t.stage], **{t.name: t.value + 1 if within(t, t.value + 1) else t.value / 2})


def test_every_threshold_says_unit_reason_and_source_and_is_named_once():
    assert len(EVERY) >= 114
    assert not [t.path for t in EVERY if not (t.unit and t.reason and t.source)]
    assert len({t.path for t in EVERY}) == len(EVERY)


def test_overlay_changes_what_it_names_and_nothing_else(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("[rules.prominent-ringing]\nt60_s = 0.5\n[strikes]\nclip_run = 4\n", encoding="utf-8")
    assert read_settings(path, RULE_LIMITS) == Settings().but(RingingLimits, t60_s=0.5).but(Strikes, clip_run=4.0)
    assert read_settings(None, RULE_LIMITS) == Settings()


def test_settings_written_out_are_read_back(tmp_path):
    path = tmp_path / "all.toml"
    for t in EVERY:
        path.write_text(as_toml(shifted(t), RULE_LIMITS), encoding="utf-8")
        assert read_settings(path, RULE_LIMITS) == shifted(t), t.path


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("[rules.prominent-ringing]\nt60 = 0.5", r"unknown threshold 'rules.prominent-ringing.t60'.*t60_s"),
        ('[rules.prominent-ringing]\nt60_s = "long"', "must be a number"),
        ("[rules.prominent-ringing]\nt60_s = true", "must be a number"),
        ("[fit]\nlowest_hz = nan", "finite"),
        ("[fit]\nlowest_hz = inf", "finite"),
        (
            "[rules.prominent-ringing]\nt60_s = -3",
            r"mine\.toml.* rules\.prominent-ringing\.t60_s = -3 .*0 or more \(s\)",
        ),
        ("[rules.local-ringing]\non = 0.5", "0 or 1"),
        ("[tones]\nstation_share = 1.1", "from 0 to 1"),
        ("[thermal]\nper_k = 0.0001", "0 or less"),
        ("[compare]\nmodes = -1", "0 or more"),
        ("lowest_hz 0.5", "not readable as TOML"),
        ("lowest_hz = 60", r"unknown threshold 'lowest_hz'; did you mean .*fit\.lowest_hz"),
        ("strike_gap_s = 0.2", r"did you mean strikes\.gap_s"),
        ("[table]\nlowest = 1", "unknown threshold 'table.lowest'"),
        ("rules = 1", "unknown threshold 'rules'"),
    ],
)
def test_bad_overlay_is_refused_in_one_line(tmp_path, text, match):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadSettings, match=match) as caught:
        read_settings(path, RULE_LIMITS)
    assert "\n" not in str(caught.value)


def test_what_ships_may_stand_and_levels_may_have_either_sign(tmp_path):
    assert not [t.path for t in EVERY if not within(t, t.value)]
    path = tmp_path / "mine.toml"
    path.write_text("[strikes]\nrise_db = -3\n[thermal]\nper_k = 0\n[tones]\nstation_share = 1\n", encoding="utf-8")
    assert read_settings(path, RULE_LIMITS).strikes.rise_db == -3.0
    signed = {t.unit for t in EVERY if within(t, -1e9) and within(t, 1e9)}
    assert signed == {"dB", "dB re full scale", "log odds", *(u for u in signed if u.startswith("ln for each 1"))}


def test_missing_overlay(tmp_path):
    with pytest.raises(BadSettings, match=r"nowhere\.toml"):
        read_settings(tmp_path / "nowhere.toml", RULE_LIMITS)


def test_each_threshold_moves_the_hash_of_all_and_of_just_the_rates_it_was_counted_in():
    shipped = {part: limits_sha256(Settings(), (part,), RULE_LIMITS) for part in PARTS}
    for t in EVERY:
        changed = shifted(t)
        assert settings_sha256(changed, RULE_LIMITS) != settings_sha256(Settings(), RULE_LIMITS), t.path
        moved = {part for part in PARTS if limits_sha256(changed, (part,), RULE_LIMITS) != shipped[part]}
        assert moved == set(t.counted_in), t.path


def test_the_recorders_level_leaves_rates_alone_and_the_fits_lowest_frequency_does_not():
    for limits, name, moves in ((Recorder, "noise_good_db", False), (Fit, "lowest_hz", True)):
        changed = Settings().but(limits, **{name: 1.0})
        same = limits_sha256(changed, PARTS, RULE_LIMITS) == limits_sha256(Settings(), PARTS, RULE_LIMITS)
        assert same is not moves


def test_only_the_recorder_what_tells_plates_apart_what_is_measured_beside_the_plate_and_an_untold_room_are_in_no_rate_of_the_report():
    assert {t.stage for t in EVERY if not t.counted_in} == {"recorder", "identity", "bar", "gradient", "untold_room"}


def test_the_hash_does_not_care_how_a_number_is_written():
    whole, real = Settings().but(Strikes, clip_run=3), Settings().but(Strikes, clip_run=3.0)
    assert settings_sha256(whole, RULE_LIMITS) == settings_sha256(real, RULE_LIMITS)


def test_a_name_that_a_stage_does_not_have_is_an_error():
    with pytest.raises(TypeError, match="no_such"):
        Settings().but(Fit, no_such=1.0)


def test_rules_own_thresholds_bear_the_rules_name():
    for rule in RULES:
        assert {stage_of(limits) for limits in rule.limits} <= {f"rules.{rule.name}"}
