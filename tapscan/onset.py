"""When sound rises so that a blow may have begun: one criterion for the search in files (signal/strikes) and the live one (recording/trigger.py)."""

HOP_S = 0.001
BEFORE_HOPS = 15  # what "just before" means, the nearest left out
OVER_RING = 2.5  # a new blow stands so much over all that rang just before
OVER_FLOOR = 1.6  # what stands no more over the floor has died away
