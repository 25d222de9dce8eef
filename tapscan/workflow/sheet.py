"""What `layout print` asks of the report; apart, since only that command needs it."""

from tapscan.report.layout_sheet import write_sheet

__all__ = ["write_sheet"]
