"""Pictures of a strike and of one tone in it, as inline SVG.

tone_decay(decay, name)              energy left of one mode against time, and the straight line of its decay
before_and_now(before, now, ...)     two strikes at one place on one axis, and their difference
time_frequency(levels, marks, name)  a strike by time and frequency, in greys; dark is loud
"""

from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.colors import LinearSegmentedColormap
from scipy.ndimage import uniform_filter

from tapscan.records import FloatArray
from tapscan.report.extras import ToneDecay
from tapscan.report.figures.sheet import FONT_PT, GRAPHITE, INK, STYLE, as_svg, sheet
from tapscan.report.time_frequency import RANGE_DB, TimeFrequency

DECIBELS_PER_NEPER = 20 / np.log(10)
LOWEST_DB = -45.0
TICKS_HZ = (50, 100, 200, 500, 1000, 2000, 4000)
SMALL_IN = (3.4, 2.3)
SMALL_BOX = (0.19, 0.205, 0.74, 0.75)
WIDE_IN = (7.6, 2.5)
PANELS = ((0.085, 0.19, 0.275, 0.7), (0.385, 0.19, 0.275, 0.7), (0.685, 0.19, 0.275, 0.7))
DIFFERENT_DB, SMOOTHED = 6.0, (3, 7)
HARDLY_ANY = 0.01  # of the picture: a few specks on white look like a picture that failed
GREYS = LinearSegmentedColormap.from_list("greys", ["#ffffff", "#b8bcc6", "#5a606e", "#0c1120"])


def tone_decay(decay: ToneDecay, name: str) -> Markup | None:
    """None where the energy could not be told from the rest."""
    if len(decay.time_s) < 3:
        return None
    t, level = decay.time_s, np.maximum(decay.level_db, LOWEST_DB)
    line = decay.start_db - DECIBELS_PER_NEPER * decay.decay_rate_per_s * t
    with rc_context(STYLE):
        figure, axes = sheet(SMALL_IN, SMALL_BOX)
        if decay.decay_rate_sd_per_s:
            spread = 2 * DECIBELS_PER_NEPER * decay.decay_rate_sd_per_s * t
            axes.fill_between(t, line - spread, line + spread, color=GRAPHITE, alpha=0.18, linewidth=0)
        axes.plot(t, level, color=INK, linewidth=1.6)
        axes.plot(t, line, color=GRAPHITE, linewidth=1.1, dashes=(4, 2))
        axes.set_xlim(0, float(t[-1]) * 1.02)
        axes.set_ylim(max(LOWEST_DB, 10 * np.floor(level.min() / 10)), 3)
        axes.set_xlabel("seconds after the tap")
        axes.set_ylabel("energy left, dB")
        return as_svg(figure, name, _decay_words(decay, float(level[-1])))


def _decay_words(decay: ToneDecay, last_db: float) -> str:
    return (
        f"Energy left of the tone at {decay.frequency_hz:.1f} Hz after tap {decay.strike} at station {decay.station}: "
        f"{-last_db:.0f} dB down after {decay.time_s[-1]:.2f} s; the broken line falls by "
        f"{DECIBELS_PER_NEPER * decay.decay_rate_per_s:.1f} dB a second."
    )


def before_and_now(
    before: TimeFrequency, now: TimeFrequency, marks_hz: tuple[float, ...], title: str, name: str
) -> Markup:
    """Three panels that share both axes; in the third only what differs by DIFFERENT_DB or more is drawn."""
    columns = min(len(before.time_s), len(now.time_s))
    rows = min(len(before.frequency_hz), len(now.frequency_hz))
    grids = [np.clip(f.level_db[:rows, :columns], -RANGE_DB, 0) for f in (before, now)]
    time = now.time_s[:columns]
    with rc_context({**STYLE, "svg.image_inline": True, "hatch.linewidth": 0.6}):
        figure, first = sheet(WIDE_IN, PANELS[0])
        panels = [first, *(figure.add_axes(box, sharey=first) for box in PANELS[1:])]
        for axes, grid, words in zip(panels, grids, ("before", "now"), strict=False):
            _grey(axes, grid, (float(time[0]), float(time[-1])))
            axes.set_title(words, fontsize=FONT_PT)
        _difference(panels[2], time, grids[1] - grids[0])
        _axes_of(panels, now, marks_hz, (float(time[0]), float(time[-1])))
        return as_svg(
            figure,
            name,
            f"Time and frequency of the taps before and now, and their difference: {title}. Dark is loud.",
        )


def _grey(axes: Any, levels: FloatArray, span: tuple[float, float]) -> None:
    extent = (*span, -0.5, len(levels) - 0.5)
    look: Any = {
        "cmap": GREYS,
        "vmin": -RANGE_DB,
        "vmax": 0,
        "aspect": "auto",
        "origin": "lower",
        "interpolation": "none",
    }
    axes.grid(False)
    axes.imshow(levels, extent=extent, **look)


def _difference(axes: Any, time_s: FloatArray, louder_db: FloatArray) -> None:
    """Averaged over a few rows and columns: single cells differ by chance."""
    smooth = uniform_filter(louder_db, SMOOTHED)
    levels = [-2 * RANGE_DB, -DIFFERENT_DB, DIFFERENT_DB, 2 * RANGE_DB]
    axes.contourf(
        time_s, np.arange(len(smooth)), smooth, levels, colors=["none", "none", INK], hatches=["/////", None, None]
    )
    axes.set_title("difference", fontsize=FONT_PT)
    shown = float(np.mean(np.abs(smooth) >= DIFFERENT_DB))
    if shown < HARDLY_ANY:
        axes.text(
            0.5,
            0.5,
            f"under {DIFFERENT_DB:.0f} dB\n{'nearly ' if shown else ''}everywhere",
            ha="center",
            va="center",
            transform=axes.transAxes,
        )
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(False)


def _axes_of(panels: Any, found: TimeFrequency, marks_hz: tuple[float, ...], span: tuple[float, float]) -> None:
    ticks, marks = _inside(found, TICKS_HZ), _inside(found, marks_hz)
    panels[0].set_yticks(_rows(found, ticks), [f"{f:.0f}" for f in ticks])
    panels[0].set_ylabel("frequency, Hz")
    for axes in panels:
        axes.tick_params(labelleft=axes is panels[0])
        axes.set_xlim(*span)
        axes.set_xlabel("seconds after the tap")
    end = span[1] + 0.03 * (span[1] - span[0])
    panels[2].plot([end] * len(marks), _rows(found, marks), "<", color=INK, markersize=4.5, clip_on=False)


def time_frequency(found: TimeFrequency, marks_hz: tuple[float, ...], title: str, name: str) -> Markup:
    """`marks_hz` : modes to point at from the right."""
    first, last = float(found.time_s[0]), float(found.time_s[-1])
    with rc_context({**STYLE, "svg.image_inline": True}):
        figure, axes = sheet(SMALL_IN, SMALL_BOX)
        _grey(axes, np.clip(found.level_db, -RANGE_DB, 0), (first, last))
        ticks = _inside(found, TICKS_HZ)
        axes.set_yticks(_rows(found, ticks), [f"{f:.0f}" for f in ticks])
        marks = _inside(found, marks_hz)
        end = last + 0.025 * (last - first)
        axes.plot([end] * len(marks), _rows(found, marks), "<", color=INK, markersize=4.5, clip_on=False)
        axes.set_xlim(first, last)
        axes.set_xlabel("seconds after the tap")
        axes.set_ylabel("frequency, Hz")
        return as_svg(figure, name, f"Time and frequency of the tap: {title}. Dark is loud.")


def _inside(found: TimeFrequency, hz: tuple[float, ...]) -> list[float]:
    return [f for f in hz if found.frequency_hz[0] <= f <= found.frequency_hz[-1]]


def _rows(found: TimeFrequency, hz: list[float]) -> Any:
    return np.interp(np.log(hz), np.log(found.frequency_hz), np.arange(len(found.frequency_hz))) if hz else []
