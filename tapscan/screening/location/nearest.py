"""Stations beside the likeliest places, for marks on the map.

nearest_stations(found, layout)   once each, the likeliest place first
"""

from math import hypot

from tapscan.places import Layout
from tapscan.records import Whereabouts
from tapscan.screening.in_words import NAMED_PLACES

LEAST_SHARE = 0.1  # of the belief


def nearest_stations(found: Whereabouts, layout: Layout) -> tuple[str, ...]:
    """Of the first places that hold some share."""
    wide = layout.outline.width_to_height if layout.outline else 1.0
    out = [
        min(layout.stations, key=lambda s: hypot((s.x - place.x) * wide, s.y - place.y)).name
        for place in found.places[:NAMED_PLACES]
        if place.share >= LEAST_SHARE
    ]
    return tuple(dict.fromkeys(out))
