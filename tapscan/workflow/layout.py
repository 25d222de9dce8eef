"""What the commands ask of layouts: reading them, and which tap belongs where."""

from tapscan.layouts import known_layouts, read_layout
from tapscan.layouts.assignment import barred, read_order
from tapscan.layouts.tap_corrections import AssignedTap, read_assign, read_assigns, read_skip

__all__ = [
    "AssignedTap",
    "barred",
    "known_layouts",
    "read_assign",
    "read_assigns",
    "read_layout",
    "read_order",
    "read_skip",
]
