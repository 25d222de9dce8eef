"""Notes against the tones that ring on after them, as inline SVG.

notes_chart(played, lasting, name)   the keyboard along the bottom, frequency up; below it which notes were played and which buzz

Told by shape and size, never by colour: a ring is a tone after a note, a filled one belongs to a tone that was reported, a line joins one tone's; a tick is a note, a cross a buzz.
"""

from collections.abc import Collection, Mapping

from markupsafe import Markup
from matplotlib import rc_context

from tapscan.records import PlayedNotes
from tapscan.report.figures.sheet import GRAPHITE, INK, RULE, STYLE, as_svg, sheet

SIZE_IN, BOX = (4.6, 3.4), (0.14, 0.15, 0.84, 0.82)  # legible on a phone
OCTAVES = ("A0", "A1", "A2", "A3", "A4", "A5", "A6", "C8")
HIGHEST_HZ = 1400.0
NOTE_ROW_HZ, BUZZ_ROW_HZ = 37.0, 42.0


def notes_chart(
    played: PlayedNotes, place: Mapping[str, int], lasting: Collection[str], buzzing: Collection[str], name: str
) -> Markup | None:
    """`place` : of each key along the keyboard; `lasting` : ids of tones that were reported; `buzzing` : ids of notes. None where no key is known."""
    known = [n for n in played.notes if n.key]
    if not known:
        return None
    at = {n.id: place[n.key or ""] for n in known}
    with rc_context(STYLE):
        figure, axes = sheet(SIZE_IN, BOX)
        _tones(axes, played, at, lasting)
        axes.plot(list(at.values()), [NOTE_ROW_HZ] * len(at), linestyle="", marker="|", markersize=7, color=GRAPHITE)
        buzz = [at[n] for n in buzzing if n in at]
        axes.plot(buzz, [BUZZ_ROW_HZ] * len(buzz), linestyle="", marker="x", markersize=5.5, color=INK, mew=1.3)
        axes.set_yscale("log")
        axes.set_ylim(33, HIGHEST_HZ)
        axes.set_xlim(-1.5, 88.5)
        axes.set_xticks([place[k] for k in OCTAVES], OCTAVES)
        axes.set_yticks([100, 200, 500, 1000], ["100", "200", "500", "1000"])
        axes.minorticks_off()
        axes.axhline(46.0, color=RULE, linewidth=0.7)
        axes.set_ylabel("tone after the damper, Hz")
        axes.set_xlabel("key (ticks: played; crosses: with a buzz)")
        return as_svg(figure, name, _words(played, lasting, len(buzz)))


def _tones(axes, played: PlayedNotes, at: Mapping[str, int], lasting: Collection[str]) -> None:  # type: ignore[no-untyped-def]
    faint = [(at[n.id], t.frequency_hz) for n in played.notes if n.id in at for t in n.tones if not t.own_string]
    axes.plot(
        *(zip(*faint, strict=True) if faint else ([], [])),
        linestyle="",
        marker="o",
        markersize=3,
        mfc="white",
        mec=GRAPHITE,
        mew=0.5,
    )
    for f in played.foreign:
        if f.id in lasting:
            keys = sorted(at[n] for n in f.notes if n in at)
            axes.plot(keys, [f.frequency_hz] * len(keys), marker="o", markersize=4.5, color=INK, linewidth=0.8)


def _words(played: PlayedNotes, lasting: Collection[str], buzzing: int) -> str:
    tones = [f"{f.frequency_hz:.0f} Hz after {len(f.notes)} notes" for f in played.foreign if f.id in lasting]
    told = f"tones that ring on: {', '.join(tones)}" if tones else "no tone that rings on is reported"
    return f"{len(played.notes)} notes along the keyboard; {told}; a buzz at {buzzing} of them."
