"""From the fits of single stations to the modes of the plate: joint fit, room, merging, tones, ring-down."""
