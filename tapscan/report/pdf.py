"""The page as PDF, through WeasyPrint.

write_pdf(text, path)   MissingExtra with one line where WeasyPrint, or a library it needs, is not there
"""

from pathlib import Path

from tapscan.errors import MissingExtra


def write_pdf(text: str, path: Path) -> None:
    """Players are left out on paper. Raises MissingExtra, OSError."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError):
        raise MissingExtra(
            "PDF needs WeasyPrint: pip install 'tapscan[pdf]' (and Pango, see its installation page); "
            "or open the HTML page in a browser and print it to PDF"
        ) from None
    HTML(string=text).write_pdf(str(path))
