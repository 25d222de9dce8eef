"""What the commands ask of layouts: reading them, their sheet, and which tap belongs where."""

from tapscan.layouts import known_layouts, read_layout
from tapscan.layouts.assignment import read_order
from tapscan.layouts.tap_corrections import AssignedTap, read_assign, read_skip
from tapscan.report.drawing.tap_map import tap_map, way_map
from tapscan.report.layout_sheet import render_sheet, sheet_map, write_sheet

__all__ = [
    "AssignedTap",
    "known_layouts",
    "read_assign",
    "read_layout",
    "read_order",
    "read_skip",
    "render_sheet",
    "sheet_map",
    "tap_map",
    "way_map",
    "write_sheet",
]
