"""Where on the plate a change lies, as far as it can be told."""

from typing import Literal

from msgspec import Struct

From = Literal["drops", "losses", "weight", "force"]


class LikelyPlace(Struct, frozen=True):
    """One part of the plate and the belief that the cause lies in it."""

    member: str  # the part, in the layout's words
    kind: str  # strut, corner, rim, screw or pin field; of a weight: anywhere
    where: str  # on that part, in words; empty where it is small
    x: float  # of the likeliest spot, 0..1 of the layout's picture
    y: float
    share: float  # of the belief, 0..1
    share_sd: float  # scatter of that share when the modes are drawn again


class Whereabouts(Struct, frozen=True):
    """Likeliest places first; none: see reason."""

    places: tuple[LikelyPlace, ...]
    told_from: From
    places_used: int | None = None  # tapped and on the layout
    fit: float | None = None  # of the drawing: share of the modes' motion at a place that the others tell; 1 is all
    reason: str | None = None
