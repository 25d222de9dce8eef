"""Pictures of a strike and of one tone in it, as inline SVG.

tone_decay(decay, name)              energy left of one mode against time, and the straight line of its decay
time_frequency(levels, marks, name)  a strike by time and frequency, in greys; dark is loud
"""

from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.colors import LinearSegmentedColormap

from tapscan.report.beside import ToneDecay
from tapscan.report.figures.sheet import GRAPHITE, INK, STYLE, as_svg, sheet
from tapscan.report.time_frequency import RANGE_DB, TimeFrequency

DECIBELS_PER_NEPER = 20 / np.log(10)
LOWEST_DB = -45.0
TICKS_HZ = (50, 100, 200, 500, 1000, 2000, 4000)
SMALL_IN = (3.4, 2.3)
SMALL_BOX = (0.19, 0.205, 0.74, 0.75)
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


def time_frequency(found: TimeFrequency, marks_hz: tuple[float, ...], title: str, name: str) -> Markup:
    """`marks_hz` : modes to point at from the right."""
    first, last = float(found.time_s[0]), float(found.time_s[-1])
    with rc_context({**STYLE, "svg.image_inline": True}):
        figure, axes = sheet(SMALL_IN, SMALL_BOX)
        axes.grid(False)
        levels = np.clip(found.level_db, -RANGE_DB, 0)
        extent = (first, last, -0.5, len(levels) - 0.5)
        axes.imshow(
            levels,
            cmap=GREYS,
            vmin=-RANGE_DB,
            vmax=0,
            aspect="auto",
            origin="lower",
            interpolation="none",
            extent=extent,
        )
        ticks = _inside(found, TICKS_HZ)
        axes.set_yticks(_rows(found, ticks), [f"{f:.0f}" for f in ticks])
        marks = _inside(found, marks_hz)
        end = last + 0.025 * (last - first)
        axes.plot([end] * len(marks), _rows(found, marks), "<", color=INK, markersize=4.5, clip_on=False)
        axes.set_xlim(first, last)
        axes.set_xlabel("seconds after the tap")
        axes.set_ylabel("frequency, Hz")
        return as_svg(figure, name, f"Time and frequency of the strike: {title}. Dark is loud.")


def _inside(found: TimeFrequency, hz: tuple[float, ...]) -> list[float]:
    return [f for f in hz if found.frequency_hz[0] <= f <= found.frequency_hz[-1]]


def _rows(found: TimeFrequency, hz: list[float]) -> Any:
    return np.interp(np.log(hz), np.log(found.frequency_hz), np.arange(len(found.frequency_hz))) if hz else []
