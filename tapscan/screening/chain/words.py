"""What a change of the chain is called, and what is not concluded then.

told(change)                  the change with its sentences
of_common(changes)            why the common change of the plate is not read; None: it may be
of_list(changes)              why lost and new tones count for nothing; None: they count
"""

from collections.abc import Sequence
from math import expm1

from msgspec.structs import replace

from tapscan.records import ChainChange, ChainSign

OF_COMMON: frozenset[ChainSign] = frozenset({"clock"})
OF_LIST: frozenset[ChainSign] = frozenset({"response", "noise", "gain", "level"})


def told(change: ChainChange) -> ChainChange:
    """A sentence for each sign; none where nothing stands out."""
    makers = {
        "clock": _clock,
        "clock or temperature": _either,
        "bar": _bar,
        "gain": _gain,
        "level": _level,
        "response": _response,
        "noise": _noise,
    }
    return replace(change, sentences=tuple(makers[sign](change) for sign in change.seen))


def _shift(c: ChainChange) -> str:
    shift, sd = c.shift_ppm or 0.0, c.shift_sd_ppm or 0.0
    return f"All tones of the bar lie {100 * abs(expm1(1e-6 * shift)):.3f} % (± {2e-4 * sd:.3f} %) {'lower' if shift < 0 else 'higher'} in {c.after} than in {c.before}"


def _clock(c: ChainChange) -> str:
    why = (
        f"no room is so much {'warmer' if (c.shift_ppm or 0.0) < 0 else 'colder'}"
        if c.expected_ppm is None
        else f"the thermometer explains {100 * abs(expm1(1e-6 * c.expected_ppm)):.3f} % (± {2e-4 * (c.expected_sd_ppm or 0.0):.3f} %) {'lower' if c.expected_ppm < 0 else 'higher'}"
    )
    return (
        f"{_shift(c)}, and {why}: the recorder's clock is not the same, or the file's sampling rate is told wrongly. "
        "Use the same recorder with the same settings."
    )


def _either(c: ChainChange) -> str:
    low, high = c.apparent_k or (0.0, 0.0)
    span = (
        f"{min(abs(low), abs(high)):.1f} to {max(abs(low), abs(high)):.1f} degrees {'warmer' if high > 0 else 'colder'}"
    )
    return (
        f"{_shift(c)}: the bar was {span}, or the recorder's clock has moved. One bar cannot tell these apart; note the "
        "temperature of the air with each scan."
    )


def _bar(c: ChainChange) -> str:
    return (
        f"The bar's tones did not move together between {c.before} and {c.after}: it was laid or hung differently, it is another bar, or the sensor on it has another weight or sat elsewhere. "
        "Nothing is told of the recorder's clock."
    )


def _louder(c: ChainChange) -> str:
    return f"{abs(c.level_db or 0.0):.0f} dB (± {2 * (c.level_sd_db or 0.0):.0f} dB) {'louder' if (c.level_db or 0.0) > 0 else 'softer'}"


def _gain(c: ChainChange) -> str:
    return (
        f"The bar is {_louder(c)} in {c.after} than in {c.before}, and so is the noise: the input is set differently."
    )


def _level(c: ChainChange) -> str:
    return (
        f"The bar is {_louder(c)} in {c.after} than in {c.before}, and the noise did not change with it: the taps were of another strength, or the sensor is another one or sits differently. "
        "One bar cannot tell these apart."
    )


def _response(c: ChainChange) -> str:
    slope, sd = c.response_db_per_octave or 0.0, c.response_sd or 0.0
    return (
        f"High tones of the bar are {'stronger' if slope > 0 else 'weaker'} against low ones in {c.after} than in {c.before}, by {abs(slope):.1f} dB (± {2 * sd:.1f} dB) for each octave: "
        "another sensor, one that sits badly, a setting such as a filter, or a hammer of another hardness."
    )


def _noise(c: ChainChange) -> str:
    return f"The noise before the taps is {c.noise_db or 0.0:.0f} dB stronger in {c.after} than in {c.before}: look for what hums, blows or has a bad contact."


def of_common(changes: Sequence[ChainChange]) -> str | None:
    """For a comparison's `common_reason`."""
    if any(OF_COMMON & set(c.seen) for c in changes):
        return "the reference bar tells that the recorder's clock is not the same"
    return None


def of_list(changes: Sequence[ChainChange]) -> str | None:
    """Tones that are faint in one scan are missed in it where the chain hears less."""
    if any(OF_LIST & set(c.seen) for c in changes):
        return (
            "By the reference bar sensor, input or noise are not as they were, so tones that are lost or new are not counted: other faint tones are heard now. "
            "How loud a tone is does not move it."
        )
    return None
