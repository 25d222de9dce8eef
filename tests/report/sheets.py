"""Small synthetic screenings for the tests of the page; no sound is analysed."""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from tapscan.records import (
    Condition,
    Indication,
    ModalAmplitude,
    Mode,
    Recording,
    RuleNotRun,
    Scan,
    Screening,
    StationPicture,
    Strike,
)
from tapscan.report.about import About
from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.report.section import Section
from tapscan.report.sections import SECTIONS

FULL = Extras(full=True)
HOSTILE = "<script>alert(1)</script>\"'&$x_{" + "n" * 300


def mode(number: int, station: str = "S1", **changes: object) -> Mode:
    """A mode with every figure known, unless changed."""
    f = 100.0 + 40 * number
    known = Mode(
        id=f"M{number}",
        frequency_hz=f,
        frequency_sd_hz=0.0123,
        decay_rate_per_s=5.0,
        decay_rate_sd_per_s=0.05,
        t60_s=1.3816,
        q=np.pi * f / 5,
        loss_factor=5 / (np.pi * f),
        level_db=-20.0 - number,
        tone_to_noise_db=15.0,
        prominence_ratio_db=14.0,
        prominent=False,
        stations_prominent=0,
        stations_judged=1,
        note="A2",
        cents=-3.2,
        origin="plate",
        amplitudes=(ModalAmplitude(station, 3.0 - number),),
    )
    return replace(known, **changes)  # type: ignore[arg-type]


def unknown_mode(number: int) -> Mode:
    """A mode of which only the frequency is known."""
    return mode(
        number,
        frequency_sd_hz=None,
        decay_rate_per_s=None,
        decay_rate_sd_per_s=None,
        t60_s=None,
        q=None,
        loss_factor=None,
        level_db=None,
        tone_to_noise_db=None,
        prominence_ratio_db=None,
        prominent=None,
        stations_judged=0,
        note=None,
        cents=None,
        origin="unknown",
        reason="overlaps its neighbours",
    )


def strike(number: int, station: str = "S1", **changes: object) -> Strike:
    """An ordinary tap."""
    known = Strike(f"T{number}", "F1", station, None, 0.1 * number, 1.2, 0.4, -30.0, 45.0)
    return replace(known, **changes)  # type: ignore[arg-type]


def picture(station: str = "S1", tap: str = "T1") -> StationPicture:
    """Two peaks and an even decay."""
    f = np.linspace(0, 6000, 3001)
    peaks = -60 + 60 * np.exp(-(((f - 140) / 20) ** 2)) + 40 * np.exp(-(((f - 900) / 40) ** 2))
    t = np.arange(120) * 0.01
    return StationPicture(station, tap, f, peaks, np.full(f.shape, -75.0), t, -10 - 40 * t)


def indication(**changes: object) -> Indication:
    """One that names the first mode."""
    known = Indication(
        id="R1",
        rule="prominent-ringing",
        interpretation="relevant",
        status=None,
        stations=("S1",),
        modes=("M1",),
        sentence="One tone stands out, 140 Hz, and it is loud & long.",
        conditions=(
            Condition("tone to noise", 30.84, 12.2, "dB", "in the manner of a standard"),
            Condition("time to -60 dB", 1.3816, 0.3, "s", "engineering judgement"),
            Condition("area that rings on", None, None, "1", "limit set on simulated plates"),
        ),
        other_explanations=("a loose fitting", "a string <nearby>"),
    )
    return replace(known, **changes)  # type: ignore[arg-type]


def screening(**changes: object) -> Screening:
    """A scan of one station with one indication."""
    recording = Recording("F1", "S1_1.wav", "ab" * 32, 48000, 2, 1, 3.0)
    scan = Scan(
        (recording,),
        (strike(1), strike(2, snr_db=None, reason="no quiet before it")),
        (mode(1), unknown_mode(2)),
    )
    known = Screening(
        scan=scan,
        disposition="relevant indication",
        headline="Something to look at",
        summary="One tone stands out.",
        next_steps=("Hold the screws & tap again.", "Look at the place."),
        indications=(indication(),),
        rules_not_run=(
            RuleNotRun("buzz", "not in this version: a rattle"),
            RuleNotRun("own-rule", "lacks <state>"),
        ),
        limitations=("Only 1 place was tapped.", "A closed crack isn't heard."),
        settings_sha256="cd" * 32,
        assignment=("expected 3, found 2",),
        pictures=(picture(),),
    )
    return replace(known, **changes)  # type: ignore[arg-type]


def empty() -> Screening:
    """A recording without a tap."""
    silent = Recording("F1", "silent.wav", "ef" * 32, 48000, 1, None, 2.0, (), "silence: check the microphone")
    return screening(
        scan=Scan((silent,), (), ()),
        disposition="inconclusive",
        headline="Repeat the test",
        summary="No tap was found.",
        indications=(),
        pictures=(),
        assignment=(),
    )


def full_page(
    s: Screening, about: About | None = None, beside: Extras = FULL, sections: Sequence[Section] = SECTIONS
) -> str:
    """With every section, as --full gives it."""
    return render_page(s, about, replace(beside, full=True), sections)
