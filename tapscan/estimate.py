"""A figure and how well it is known.

Estimate(value, sd)    `sd` is one standard deviation in the value's own unit
of_rate(value, rate)   a figure that goes as a rate or its inverse, and is known as well
"""

from msgspec import Struct


class Estimate(Struct, frozen=True):
    """Unknown is None, for either."""

    value: float | None
    sd: float | None

    @property
    def relative_sd(self) -> float | None:
        """Standard deviation over the value; to first order that of its natural logarithm."""
        return None if not self.value or self.sd is None else self.sd / abs(self.value)

    def times(self, factor: float) -> "Estimate":
        """In another unit."""
        value = None if self.value is None else self.value * factor
        return Estimate(value, None if self.sd is None else self.sd * abs(factor))


def of_rate(value: float | None, rate: Estimate) -> Estimate:
    """Same relative standard deviation as the rate."""
    known = value is not None and rate.relative_sd is not None
    return Estimate(value, abs(value or 0.0) * (rate.relative_sd or 0.0) if known else None)
