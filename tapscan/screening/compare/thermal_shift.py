"""The one ratio by which all modes of a plate moved, read as a temperature.

    common_shift(shift, sd, later_c, baseline_c, settings)   CommonShift with its sentence

Warm iron is softer and longer, and every mode of a free plate falls in the same ratio: half of (modulus slope + expansion),
-1.2e-4 to -2.15e-4 per kelvin for gray iron (ASME B31.1 modulus table read second-hand, expansion 10.8e-6 per kelvin).
Supports and a gradient in the iron break the rule; finish lowers all modes a little too.
"""

import math

from tapscan.records import CommonShift, ScanConditions
from tapscan.settings import Settings

NORMAL_95 = 1.96


def iron_c(conditions: ScanConditions) -> float | None:
    """Temperature of the iron, else of the air it stood in, in degrees Celsius."""
    return conditions.iron_c if conditions.iron_c is not None else conditions.air_c


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
        sentence=_sentence(shift, shift / central, measured, agrees, settings),
        reason=None if measured is not None else "no temperature was noted for both scans",
    )


def _sentence(
    shift: float, apparent_k: float, measured_k: float | None, agrees: bool | None, settings: Settings
) -> str:
    way = "lower" if shift < 0 else "higher"
    moved = f"All modes together lie {100 * abs(math.expm1(shift)):.2f} % {way} than before"
    if abs(shift) > settings.thermal.most:
        return (
            f"{moved}. That would take iron {abs(apparent_k):.0f} degrees {_warmth(apparent_k)}: temperature alone does not "
            "explain it. Look for a weight, a coat of finish, other supports, or a part that has come away."
        )
    said = f"{moved}, as iron about {abs(apparent_k):.0f} degrees {_warmth(apparent_k)} would"
    if agrees is None:
        return f"{said}. No temperature was noted for both scans, so this could not be checked."
    if agrees:
        reach = NORMAL_95 * settings.thermal.thermometer_sd_k
        return f"{said}; the thermometer says {_signed(measured_k)} degrees, which agrees within the {reach:.0f} degrees that two readings may be off."
    return (
        f"{said}; the thermometer says {_signed(measured_k)} degrees, which does not agree. "
        "Check the thermometer, let the iron take the room's temperature, and look for weights and finish."
    )


def _warmth(kelvin: float) -> str:
    return "warmer" if kelvin > 0 else "cooler"


def _signed(kelvin: float | None) -> str:
    return "unknown" if kelvin is None else f"{round(kelvin):+d}" if round(kelvin) else "0"
