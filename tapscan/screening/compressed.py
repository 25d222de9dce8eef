"""What is not concluded from sound that was compressed with loss.

    codecs_of(scan)               names of the lossy codecs among the recordings
    needs_waveform(rule, scan)    why this rule is not run, or None
    repeat_reason(scan)           why a silent scan of such sound is no answer, or None
    not_comparable(scans)         why scans are not compared, or None

A codec keeps what the ear notices and changes the rest from frame to frame: weak modes, and how they fade. Which rules bear it
was not counted, so every rule that reads late sound, decays or small shifts is left out. Of sound simulated plates, tapped softly and
hard, the force rule called all eleven through AAC and MP3.
"""

from collections.abc import Sequence

from tapscan.records import Scan
from tapscan.screening.rule import Reads, Rule
from tapscan.wording import listed

NEEDS_WAVEFORM: frozenset[Reads] = frozenset({"waveform", "faint decays"})
RECORD_INSTEAD = "record WAV or FLAC (set the phone's recorder to lossless) and test again"


def codecs_of(scan: Scan) -> tuple[str, ...]:
    """Sorted, each once."""
    return tuple(sorted({r.compression.codec for r in scan.recordings if r.compression}))


def needs_waveform(rule: Rule, scan: Scan) -> str | None:
    """The reason for a RuleNotRun."""
    codecs = codecs_of(scan)
    if not (rule.reads & NEEDS_WAVEFORM and codecs):
        return None
    return f"compressed: the recording went through {listed([c.upper() for c in codecs])}, which changes what this rule reads; {RECORD_INSTEAD}"


def repeat_reason(scan: Scan) -> str | None:
    """Most rules were not run, so that nothing raised says next to nothing."""
    codecs = codecs_of(scan)
    if not codecs:
        return None
    return f"The sound is compressed ({listed([c.upper() for c in codecs])}), so most checks were not made. Take this neither for good news nor for bad."


def not_comparable(scans: Sequence[Scan]) -> str | None:
    """How much a codec moves the frequencies was not measured, so one lossy scan ends the comparison."""
    codecs = sorted({codec for scan in scans for codec in codecs_of(scan)})
    if not codecs:
        return None
    named = listed([c.upper() for c in codecs])
    return f"compressed: one of the scans went through {named}, and how far that moves tones was not measured; {RECORD_INSTEAD}"
