"""SVG of the plate with its stations, written by hand so that a page holds no script and no picture file."""
