"""Figures of a bench between two marks of a page in docs/.

between(text, marks, new)   the page with `new` between the marks, whatever stood there
"""


def between(text: str, marks: tuple[str, str], new: str) -> str:
    """Marks are comments of the page, one each."""
    before, _, rest = text.partition(marks[0])
    _, _, after = rest.partition(marks[1])
    return f"{before}{marks[0]}\n{new}\n{marks[1]}{after}"
