"""How a plate's tones went through its scans, in sentences: for the terminal and for the page.

course_words(history)   most telling first
"""

from tapscan.screening.compare.trend import FEWEST, shared_by
from tapscan.workflow.history import History, ModeCourse, Trend

MOST_MODES = 10


def course_words(found: History) -> list[str]:
    """What was left out, how many moved and held, what warmth did, and each tone that moved."""
    told = []
    if found.unlike:
        told.append(
            f"left out, made in another state or by another sensor than the newest scan: {', '.join(found.unlike)}"
        )
    trend = found.trend
    if found.not_followed:
        return [*told, f"tones are not followed: {found.not_followed}"]
    if trend is None:
        return [*told, "one scan in this state: nothing to follow yet"]
    if len(trend.scans) < FEWEST:
        told.append(f"{len(trend.scans)} scans in this state: from {FEWEST} on a drift is told from a step")
    else:
        told.append(_count(trend))
    for scan, shift in zip(trend.scans[1:], trend.shared_ppm[1:], strict=True):
        told.append(
            f"{scan}: all modes together {shift / 1e4:+.3f} % against {trend.dates[0]}, {shared_by(found.in_piano)}"
        )
    courses = [m for m in trend.modes if m.course in ("drift", "step")]
    return told + [_course(m, trend) for m in sorted(courses, key=lambda m: m.size_ppm or 0.0)[:MOST_MODES]]


def _count(trend: Trend) -> str:
    steady = sum(m.course == "steady" for m in trend.modes)
    few = sum(m.course is None for m in trend.modes)
    moved = len(trend.modes) - steady - few
    told = f"{len(trend.scans)} scans; of {len(trend.modes)} modes in the first, {moved} moved, {steady} held"
    return told + (f", {few} were heard in too few scans to tell" if few else "")


def _course(m: ModeCourse, trend: Trend) -> str:
    size = f"{(m.size_ppm or 0.0) / 1e4:+.4f} %"
    if m.course == "step" and m.step_before is not None:
        return f"{m.frequency_hz:.1f} Hz: one step of {size}, seen first in {trend.scans[m.step_before]}"
    return f"{m.frequency_hz:.1f} Hz: drifts, {size} from the first scan to the last"
