"""What is not concluded from sound that was compressed with loss.

    codecs_of(scan)               names of the lossy codecs among the recordings
    needs_waveform(rule, scan)    why this rule is not run, or None
    repeat_reason(scan)           why a silent scan of such sound is no answer, or None
    not_comparable(scans)         why scans are not compared, or None
    limitation(scan)              the sentence among what weakens a test, or None
    limitation_first(scan, ..)    sentences, that one before all others

A codec keeps what the ear notices and changes the rest from frame to frame: weak modes, and how they fade. Every rule that reads late
sound, decays or small shifts is left out. In an outside trial on other simulated plates (AAC 64 to 192, MP3 128 kbit/s; tapped softly
and hard), the force rule called 11 of 11 that had no flaw, and none of their WAV originals. Our own count: bench/results/codecs.txt.
"""

from collections.abc import Sequence

from tapscan.records import Scan
from tapscan.screening.rule import Reads, Rule
from tapscan.wording import listed

NEEDS_WAVEFORM: frozenset[Reads] = frozenset({"waveform", "faint decays"})
UNNAMED = "an earlier compressed copy"
RECORD_INSTEAD = "record WAV or FLAC (set the phone's recorder to lossless) and test again"


def codecs_of(scan: Scan) -> tuple[str, ...]:
    """Sorted, each once."""
    return tuple(sorted({r.compression.codec for r in scan.recordings if r.compression}))


def _named(codecs: Sequence[str]) -> str:
    """In words; a file that was made from a compressed one does not say by which codec."""
    return listed([UNNAMED if c == "unknown" else c.upper() for c in codecs])


def needs_waveform(rule: Rule, scan: Scan) -> str | None:
    """The reason for a RuleNotRun."""
    codecs = codecs_of(scan)
    if not (rule.reads & NEEDS_WAVEFORM and codecs):
        return None
    return (
        f"compressed: the recording went through {_named(codecs)}, which changes what this rule reads; {RECORD_INSTEAD}"
    )


def repeat_reason(scan: Scan) -> str | None:
    """Most rules were not run, so that nothing raised says next to nothing."""
    codecs = codecs_of(scan)
    if not codecs:
        return None
    return (
        f"The sound is compressed ({_named(codecs)}), so most checks were not made. This is neither good news nor bad."
    )


def not_comparable(scans: Sequence[Scan]) -> str | None:
    """How much a codec moves the frequencies was not measured, so one lossy scan ends the comparison."""
    codecs = sorted({codec for scan in scans for codec in codecs_of(scan)})
    if not codecs:
        return None
    named = _named(codecs)
    return f"compressed: one of the scans went through {named}, and how far that moves tones was not measured; {RECORD_INSTEAD}"


def limitation(scan: Scan) -> str | None:
    """What was not checked, and what to record instead."""
    codecs = codecs_of(scan)
    if not codecs:
        return None
    return (
        f"The sound is compressed ({_named(codecs)}). That changes faint tones and how they fade, so the checks that "
        f"need them were not made: {RECORD_INSTEAD}."
    )


def limitation_first(scan: Scan, sentences: Sequence[str]) -> tuple[str, ...]:
    """It must stand on the first screen, which shows a few sentences only."""
    first = limitation(scan)
    return tuple(sorted(sentences, key=lambda s: s != first))
