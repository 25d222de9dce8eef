"""The page as PDF, through WeasyPrint.

write_pdf(text, path, paper)   MissingExtra with one line where WeasyPrint, or a library it needs, is not there
"""

from pathlib import Path

from tapscan.errors import MissingExtra
from tapscan.targets import write_bytes


def write_pdf(text: str, path: Path, paper: str) -> None:
    """`paper` : "A4" or "letter". Players are left out on paper. Raises MissingExtra, OSError."""
    try:
        from weasyprint import CSS, HTML
    except (ImportError, OSError):
        raise MissingExtra(
            "PDF needs WeasyPrint: pip install 'tapscan[pdf]' (and Pango, see its installation page); "
            "or open the HTML page in a browser and print it to PDF"
        ) from None
    write_bytes(path, HTML(string=text).write_pdf(stylesheets=[CSS(string=f"@page {{ size: {paper} }}")]))
