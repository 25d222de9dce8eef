"""docs/accuracy.md from the results of bench/accuracy.py and bench/speed.py.

python -m bench.accuracy_docs        writes docs/accuracy.md; a test fails when it is stale
"""

from pathlib import Path

ROOT = Path(__file__).parents[1]
RESULTS, PAGE = ROOT / "bench" / "results", ROOT / "docs" / "accuracy.md"
HEAD = """# How exact the modes are

`python -m bench.accuracy` and `python -m bench.speed` print these tables. All signals are computed and all plates simulated; **no iron
was measured**. A number that was asked for and not reached says so; how many runs or scans a row rests on stands in the row, and
where they are fewer than asked for (2000 runs a cell, 50 scans a row) the bench was stopped before its end: it takes up where it stopped.

"Bound" is the Cramer-Rao bound: no estimate that is right on average can scatter less. A linewidth is the width of a mode's peak at half
its power. Recall: share of the plate's modes that were found. Precision: share of the modes given that are the plate's.
"""
KNOWN = """
## What was found out on the way

- One station alone cannot tell modes that overlap: its strikes differ in little but their force. With high damping a tenth of the modes given were
  false and the error was tens of ppm. The fit of all stations together mends that (recall .94 to .99, precision .84 to 1.00 on the most crowded plate).
- Strong modes just outside a band spoil it fifty-fold unless their tails are taken away; a polynomial does not do it.
- Warming by 1 K shifts each station by tens of ppm. It is measured to about 0.5 ppm and taken out before modes are looked for; else each mode splits.
- In a room the echo of a mode keeps the mode's pattern over the stations. Poles with such a pattern are left out; with fewer than
  eight stations that cannot be told, and a room then adds modes.
- Talk gave modes in 31 of 100 recordings until two things were asked: a struck plate can only fade, so what grows, or is followed by another sound within
  0.2 s, is no tap; and the modes together must explain the sound (plates: 0.7 and more of the power of the first half second, even in a room; talk: under 0.55).
  The limits were chosen on talk that includes the row's hundred; of 400 others none gave a mode either.
- Where the plate warms, a strong mode leaves a faint false one on its flank; a pole within half a linewidth of one that is 26 dB stronger is now left out
  (precision .973 to .988; the dry rows were made before that and did not change on the plates tried).
- In a room of 0.6 s with the microphone at 0.4 m a fifth of the modes is missed or false, and this stands. Modes decay as fast as the room there, and its response bends
  each; a response common to all strikes cannot be told from a mode's own shape, since where one mode rules both are free to change together.
- Speed is the whole command's, all rules and checks included, against harminv's processor time alone.
- Still open: how fast the room itself dies away is not measured, so in a room decays near the room's own are given with too small an uncertainty.
"""


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    for title, name in (("Accuracy", "accuracy.txt"), ("Speed", "speed.txt")):
        parts += [f"\n## {title}\n", "```text", (RESULTS / name).read_text(encoding="utf-8").rstrip(), "```"]
    return "\n".join(parts) + "\n" + KNOWN


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
