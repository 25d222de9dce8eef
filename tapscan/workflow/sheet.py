"""What the commands and the page ask of the drawn layout: the chalk sheet and the maps."""

from tapscan.report.drawing.tap_map import tap_map, way_map
from tapscan.report.layout_sheet import render_sheet, sheet_map, write_sheet

__all__ = ["render_sheet", "sheet_map", "tap_map", "way_map", "write_sheet"]
