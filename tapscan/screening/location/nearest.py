"""Stations beside the likeliest places, for marks on the map.

nearest_stations(found, layout)   once each, the likeliest place first; of those that are about as near, all
"""

from math import hypot

from tapscan.places import Layout
from tapscan.records import LikelyPlace, Whereabouts
from tapscan.screening.in_words import ABOUT_AS_NEAR, worth_naming


def nearest_stations(found: Whereabouts, layout: Layout) -> tuple[str, ...]:
    """Of the places that the sentence names."""
    wide = layout.outline.width_to_height if layout.outline else 1.0
    return tuple(dict.fromkeys(name for place in worth_naming(found) for name in _beside(place, layout, wide)))


def _beside(place: LikelyPlace, layout: Layout, wide: float) -> list[str]:
    """The nearest first."""
    way = sorted((hypot((s.x - place.x) * wide, s.y - place.y), s.name) for s in layout.stations)
    return [name for far, name in way if far <= ABOUT_AS_NEAR * way[0][0]]
