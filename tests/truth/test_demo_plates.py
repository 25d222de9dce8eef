"""The line from sound to indication on finite-element plates whose modes and flaws are known (simulated).

Truth: the modal tables made by bench/plates, another road than the estimator. The demo's own plates are used so
that what `tapscan demo` tells is what was built in.
"""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.demo.shop import DATES, ORDER, PLATES, SAMPLE_RATE_HZ, iron_c, layout_text, sound_of
from tapscan.demo.taps import scan, sensor_names
from tapscan.layouts import read_layout
from tapscan.recording.files import save_flac
from tapscan.records import ScanConditions, ScanForComparison, Screening
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.signal.plate.station_fit import station_poles
from tapscan.workflow.check import Request, check


@cache
def screened(plate_number: int, scan_number: int, *, chill_away: bool = False) -> Screening:
    """Analysed once for all the tests of a process."""
    with TemporaryDirectory() as folder:
        return _screened(plate_number, scan_number, Path(folder), chill_away)


def _screened(plate_number: int, scan_number: int, folder: Path, chill_away: bool) -> Screening:
    plate = PLATES[plate_number]
    if chill_away:
        plate = replace(plate, cases=("sound", "sound"))
    layout = folder / "layout.toml"
    layout.write_text(layout_text(plate), encoding="utf-8")
    path = folder / "scan.flac"
    save_flac(path, sound_of(plate, scan_number), SAMPLE_RATE_HZ)
    result = check([str(path)], Request(layout=read_layout(str(layout)), state="stripped", order=ORDER))
    assert result.screening is not None
    return result.screening


@pytest.mark.parametrize(("plate", "expected"), [(0, []), (1, []), (2, ["long-decay"])])
def test_the_three_plates_are_told_apart_for_the_right_reason(plate: int, expected: list[str]) -> None:
    found = screened(plate, 1)
    assert [i.rule for i in found.indications] == expected
    (how,) = found.assignment
    assert how.startswith("40 taps, ") and "at the pauses" in how
    assert all(s.force == ORDER[i % 2] for i, s in enumerate(found.scan.strikes))


@pytest.mark.slow
@pytest.mark.parametrize(("plate", "expected"), [(0, []), (1, ["change-since-baseline"])])
def test_the_half_cut_strut_shows_in_the_comparison_and_nothing_in_the_plate_left_alone(
    plate: int, expected: list[str]
) -> None:
    """Truth: the second plate's second scan is made with strut 2 cut through half its width, the first's is not."""
    scans = [
        ScanForComparison(
            f"{PLATES[plate].name}/{DATES[n]}",
            DATES[n],
            ScanConditions(state="stripped", sensor=Sensor("contact"), iron_c=iron_c(n), fittings=()),
            screened(plate, n).scan,
        )
        for n in (0, 1)
    ]
    found = compare_scans(scans[1], scans[:1], Settings())
    assert [i.rule for i in found.indications] == expected
    if expected:  # two thirds of the tones fell, each by its own amount: no change that all share is told
        assert found.common is None and found.common_reason
        return
    # the iron was 4 K warmer: all modes lower together, and that is no change
    assert found.common is not None
    assert found.common.agrees
    assert found.common.apparent_low_k < 4.0 < found.common.apparent_high_k


def test_changing_the_sound_changes_the_verdict() -> None:
    """The same casting without its chilled region raises nothing: no verdict is stored anywhere."""
    assert screened(2, 1, chill_away=True).indications == ()


@pytest.mark.parametrize("pattern", ["small-grand", "upright-full"])
def test_one_station_finds_the_modes_of_the_table(pattern: str) -> None:
    """Modes 60-1200 Hz with decay and frequency; three strikes at one station, 50 dB (simulated).

    Limits: within one linewidth counts as found. One station does not excite every mode, so only those within
    40 dB of the strongest are asked for. 20 ppm median: ten times the bench's median over twenty stations.
    """
    rng = np.random.default_rng(8)
    table = load_table(pattern)
    modes = plate_modes(table, "sound", draw_iron(table, rng))
    taps = scan(modes, sensor_names(modes)[0], 16_000, rng, ("hard",) * 3, stations=["S7"], duration_s=2.5)
    cut = [round(t.onset_s * 16_000) for t in taps]
    poles = station_poles(
        [t.samples[o:] for t, o in zip(taps, cut, strict=True)],
        [t.samples[: o - 16] for t, o in zip(taps, cut, strict=True)],
        16_000,
        Settings(),
    )
    truth = taps[0].truth
    f, d = np.asarray(truth.frequency_hz), np.asarray(truth.decay_rate_per_s)
    level = 20 * np.log10(np.abs(truth.strength))
    asked = (f > 60) & (f < 1200) & (level > level.max() - 40)
    nearest = np.array([min(poles, key=lambda p: abs(p.frequency_hz - x)).frequency_hz for x in f[asked]])
    hit = np.abs(nearest - f[asked]) < d[asked] / np.pi
    assert hit.mean() >= 0.95
    assert np.median(np.abs(nearest / f[asked] - 1)[hit]) < 20e-6
    false = [p for p in poles if 60 < p.frequency_hz < 1200 and np.min(np.abs(f - p.frequency_hz) * np.pi / d) > 2]
    assert len(false) <= 1
