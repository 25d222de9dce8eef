"""Pictures of one station, as inline SVG: its spectrum and its decay.

spectrum(picture, modes, named, name)    marks the modes heard there; `named` are those of indications
decay(picture, noise_db, name)           level against time, noise beside it
strongest(modes, station)                modes heard at a station, strongest first
widest_hz(modes)                         the largest uncertainty among modes, two standard deviations
fall_time(picture, drop_db)              seconds until the level has fallen for good
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from tapscan.records import FloatArray, Mode, StationPicture
from tapscan.report.figures.sheet import GRAPHITE, INK, STYLE, WASH, as_svg, sheet

Curve = tuple[FloatArray, FloatArray]

LOWEST_HZ, USUAL_TOP_HZ = 45.0, 3000.0
COLUMNS = 360
LABELS = 6
LABEL_GAP = 0.09  # of the axis: closer labels would touch


def strongest(modes: Sequence[Mode], station: str) -> list[Mode]:
    """Modes heard at `station`, the strongest there first."""
    heard = [(s.amplitude_db, m) for m in modes for s in m.amplitudes if s.station == station]
    return [m for _, m in sorted(heard, key=lambda pair: -pair[0])]


def widest_hz(modes: Sequence[Mode]) -> float | None:
    """Twice the largest standard deviation of the frequencies; None where none is known."""
    return max((2 * m.frequency.sd for m in modes if m.frequency.sd is not None), default=None)


def spectrum(picture: StationPicture, modes: Sequence[Mode], named: Sequence[str], name: str) -> Markup | None:
    """None when there is nothing to draw."""
    heard = sorted(strongest(modes, picture.station), key=lambda m: -_height_db(picture, m.frequency_hz))
    top = _top_hz(picture, [m for m in heard if m.prominent or m.id in named])
    curve = _columns(picture.frequency_hz, picture.spectrum_db, top)
    if curve is None:
        return None
    with rc_context(STYLE):
        figure, axes = sheet()
        floor = _draw_spectrum(axes, picture, curve, top)
        _mark_modes(axes, [m for m in heard if LOWEST_HZ <= m.frequency_hz <= top], named)
        _frequency_axis(axes, top)
        axes.set_ylim(floor, 27)
        axes.set_yticks(np.arange(-20 * int(-floor // 20), 1, 20))
        axes.set_ylabel("dB below the strongest", y=0.38)
        return as_svg(figure, name, _spectrum_words(picture, heard, named, top))


def decay(picture: StationPicture, noise_db: float | None, name: str) -> Markup | None:
    """`noise_db`: level of the noise before the tap, dB re full scale, where it is known."""
    t, level = picture.time_s, picture.envelope_db
    if len(t) < 2 or not np.all(np.isfinite(level)):
        return None
    top = float(level.max())
    noise = None if noise_db is None else noise_db - top
    with rc_context(STYLE):
        figure, axes = sheet()
        floor = _decay_floor(level - top, noise)
        axes.fill_between(t, np.maximum(level - top, floor), floor, color=WASH, linewidth=0)
        axes.plot(t, np.maximum(level - top, floor), color=INK, linewidth=1.1)
        if noise is not None and noise > floor:
            axes.plot([t[0], t[-1]], [noise, noise], color=GRAPHITE, linewidth=1.0, dashes=(4, 2))
            axes.annotate("noise", (t[-1], noise), (-3, -11), textcoords="offset points", ha="right")
        axes.set_xlim(0, t[-1])
        axes.set_ylim(floor, 6)
        axes.set_xlabel("seconds after the tap")
        axes.set_ylabel("dB below the loudest")
        return as_svg(figure, name, _decay_words(t, level - top, noise))


def fall_time(picture: StationPicture, drop_db: float = 20.0) -> float | None:
    """Seconds until the level has fallen by `drop_db` for good; None when it does not within the picture."""
    level = picture.envelope_db
    if len(level) < 2 or not np.all(np.isfinite(level)):
        return None
    above = np.flatnonzero(level > level.max() - drop_db)
    return None if above[-1] + 1 >= len(level) else float(picture.time_s[above[-1] + 1])


def _top_hz(picture: StationPicture, standing_out: Sequence[Mode]) -> float:
    last = float(picture.frequency_hz[-1]) if len(picture.frequency_hz) else USUAL_TOP_HZ
    return min(last, max([USUAL_TOP_HZ, *(1.15 * m.frequency_hz for m in standing_out)]))


def _height_db(picture: StationPicture, frequency_hz: float) -> float:
    """Height of the curve at a mode; the highest peaks get the numbers, as the eye expects."""
    at = int(np.searchsorted(picture.frequency_hz, frequency_hz))
    return float(np.max(picture.spectrum_db[max(0, at - 2) : at + 3], initial=-300.0))


def _columns(f: FloatArray, values: FloatArray, top: float) -> Curve | None:
    """The highest value in each of some hundred columns of equal musical width."""
    if top <= LOWEST_HZ or len(f) < 2:
        return None
    edges = np.geomspace(LOWEST_HZ, top, COLUMNS + 1)
    at = np.searchsorted(edges, f) - 1
    keep = (at >= 0) & (at < COLUMNS) & np.isfinite(values)
    if keep.sum() < 2:
        return None
    highest = np.full(COLUMNS, -np.inf)
    np.maximum.at(highest, at[keep], values[keep])
    filled = np.isfinite(highest)
    return np.sqrt(edges[1:] * edges[:-1])[filled], highest[filled]


def _draw_spectrum(axes: Any, picture: StationPicture, curve: Curve, top: float) -> float:
    noise = None if picture.noise_db is None else _columns(picture.frequency_hz, picture.noise_db, top)
    depth = -70.0 if noise is None else float(np.median(noise[1])) - 15
    floor = float(np.clip(10 * np.floor(depth / 10), -110, -60))
    f, level = curve[0], np.maximum(curve[1], floor)
    axes.fill_between(f, level, floor, color=WASH, linewidth=0)
    axes.plot(f, level, color=INK, linewidth=1.0)
    if noise is not None:
        shown = np.maximum(noise[1], floor)
        axes.plot(noise[0], shown, color=GRAPHITE, linewidth=1.0, dashes=(4, 2))
        axes.annotate("noise", (noise[0][0], shown[0]), (3, -10), textcoords="offset points", ha="left")
    return floor


def _mark_modes(axes: Any, heard: Sequence[Mode], named: Sequence[str]) -> None:
    """A stroke for each mode; a triangle and a heavier number for those that an indication names."""
    plain = [m.frequency_hz for m in heard if m.id not in named]
    special = [m.frequency_hz for m in heard if m.id in named]
    axes.vlines(plain, 4, 9, color=INK, linewidth=0.7)
    known = [m for m in heard if m.frequency_sd_hz is not None]
    ends = np.array([(m.frequency_hz, 2 * (m.frequency_sd_hz or 0.0)) for m in known]).reshape(-1, 2)
    axes.hlines(np.full(len(known), 6.5), ends[:, 0] - ends[:, 1], ends[:, 0] + ends[:, 1], color=INK, linewidth=1.6)
    if special:
        axes.vlines(special, -2, 9, color=INK, linewidth=1.5)
        axes.plot(special, [11] * len(special), linestyle="none", marker="v", markersize=5.5, color=INK)
    for mode in _labelled(axes, heard, named):
        axes.text(
            mode.frequency_hz,
            16 if special else 12,
            f"{mode.frequency_hz:.0f}",
            ha="center",
            va="bottom",
            fontweight="bold" if mode.id in named else "normal",
        )


def _labelled(axes: Any, heard: Sequence[Mode], named: Sequence[str]) -> list[Mode]:
    """The strongest few, named ones first, that have room for a number."""
    chosen: list[Mode] = []
    top = max([USUAL_TOP_HZ, *(m.frequency_hz for m in heard)])
    width = np.log(top / LOWEST_HZ)
    for mode in sorted(heard, key=lambda m: m.id not in named):
        gaps = [abs(np.log(mode.frequency_hz / other.frequency_hz)) / width for other in chosen]
        if min(gaps, default=1.0) >= LABEL_GAP and len(chosen) < LABELS:
            chosen.append(mode)
    return chosen


def _frequency_axis(axes: Any, top: float) -> None:
    axes.set_xscale("log")
    axes.set_xlim(LOWEST_HZ, top)
    axes.xaxis.set_major_locator(FixedLocator([50, 100, 200, 500, 1000, 2000, 5000]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda f, _: f"{f:.0f}"))
    axes.set_xlabel("frequency in Hz: low tones left, high tones right")


def _decay_floor(level: FloatArray, noise: float | None) -> float:
    lowest = float(level.min()) if noise is None else min(float(level.min()), noise) - 8
    return float(np.clip(10 * np.floor(lowest / 10), -100, -30))


def _spectrum_words(picture: StationPicture, heard: Sequence[Mode], named: Sequence[str], top: float) -> str:
    shown = [m for m in heard if m.frequency_hz <= top]
    strong = ", ".join(f"{m.frequency_hz:.0f}" for m in shown[:LABELS]) or "none"
    special = ", ".join(f"{m.frequency_hz:.0f}" for m in shown if m.id in named) or "none"
    return (
        f"Spectrum of tap {picture.strike} at station {picture.station}, {LOWEST_HZ:.0f} to {top:.0f} Hz. "
        f"{len(shown)} modes marked; the strongest at {strong} Hz; named by an indication: {special}."
    )


def _decay_words(t: FloatArray, level: FloatArray, noise: float | None) -> str:
    clear = "noise unknown" if noise is None else f"noise {-noise:.0f} dB below the loudest"
    return f"Level after the tap over {t[-1]:.1f} s: it ends {-level[-1]:.0f} dB below the loudest; {clear}."
