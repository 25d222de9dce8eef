"""The one ratio by which all modes of a plate moved, read as a temperature.

    common_shift(shift, sd, later_c, baseline_c, settings)   CommonShift with its sentence

Warm iron is softer and longer, and every mode of a free plate falls in the same ratio: half of (modulus slope + expansion),
-0.5e-4 to -2.15e-4 per kelvin for gray iron. ASME B31.1 gives 13.4 and 13.2 million psi at 70 and 200 F (the table itself was not to be had; that the row begins at 70 F is from memory,
and physical: pages that let it begin at -325 F give -1.6e-4), rounded to 0.1, expansion 10.8e-6 per kelvin.
Supports and a gradient in the iron break the rule; finish lowers all modes a little too.
"""

import math

from tapscan.records import CommonShift, ScanConditions
from tapscan.settings import Settings

NORMAL_95 = 1.96


def iron_c(conditions: ScanConditions) -> float | None:
    """Temperature of the iron, the middle of its two ends where both were read, else of the air it stood in, in degrees Celsius."""
    ends = [c for c in (conditions.iron_c, conditions.iron_end_c) if c is not None]
    return sum(ends) / len(ends) if ends else conditions.air_c


def common_shift(
    shift: float, sd: float, later_c: float | None, baseline_c: float | None, settings: Settings
) -> CommonShift:
    """shift, sd : ln(later / baseline), relative. Temperatures in degrees Celsius, None where not measured."""
    central, small, large = (
        settings.thermal.per_k,
        settings.thermal.small_per_k,
        settings.thermal.large_per_k,
    )
    ends = [(shift + k * NORMAL_95 * sd) / c for c in (small, large) for k in (-1, 1)]
    measured = None if later_c is None or baseline_c is None else later_c - baseline_c
    agrees = None
    if measured is not None:
        wide = NORMAL_95 * settings.thermal.thermometer_sd_k
        agrees = bool(min(ends) - wide <= measured <= max(ends) + wide)
    return CommonShift(
        shift_ppm=1e6 * shift,
        shift_sd_ppm=float(1e6 * sd),
        apparent_k=shift / central,
        apparent_low_k=float(min(ends)),
        apparent_high_k=float(max(ends)),
        thermometer_k=measured,
        agrees=agrees,
        sentence=_sentence(shift, (float(min(ends)), float(max(ends))), measured, agrees, settings),
        reason=None if measured is not None else "no temperature was noted for both scans",
    )


def _sentence(
    shift: float, apparent_k: tuple[float, float], measured_k: float | None, agrees: bool | None, settings: Settings
) -> str:
    way = "lower" if shift < 0 else "higher"
    moved = f"All modes together lie {100 * abs(math.expm1(shift)):.2f} % {way} than before"
    if abs(shift) > settings.thermal.most:
        return (
            f"{moved}. That would take iron {_span(apparent_k)}: temperature alone does not "
            "explain it. Look for a weight, a coat of finish, other supports, or a part that has come away."
        )
    said = f"{moved}, as iron {_span(apparent_k)} would"
    if agrees is None:
        return f"{said}. No temperature was noted for both scans, so this could not be checked."
    if agrees:
        reach = NORMAL_95 * settings.thermal.thermometer_sd_k
        return f"{said}; the thermometer says {_signed(measured_k)} degrees, which agrees within the {reach:.0f} degrees that two readings may be off."
    return (
        f"{said}; the thermometer says {_signed(measured_k)} degrees, which does not agree. "
        "Check the thermometer, let the iron take the room's temperature, and look for weights and finish."
    )


def _span(kelvin: tuple[float, float]) -> str:
    """The range in words; it goes through zero where hardly anything moved."""
    low, high = sorted(abs(round(k)) for k in kelvin)
    if min(kelvin) < 0 < max(kelvin):
        return f"at most {high} degrees warmer or cooler"
    way = "warmer" if max(kelvin) > 0 else "cooler"
    return f"{low} to {high} degrees {way}" if low < high else f"about {high} degrees {way}"


def _signed(kelvin: float | None) -> str:
    return "unknown" if kelvin is None else f"{round(kelvin):+d}" if round(kelvin) else "0"
