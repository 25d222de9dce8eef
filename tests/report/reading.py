"""What is read of a page: its text and elements, or a part of it with one line a block, for snapshots and for its fields."""

import re
from html.parser import HTMLParser

VOID = {"meta", "br", "link", "img", "input", "hr"}
UNSEEN = {"style", "script"}
NOT_VISIBLE = re.compile(r"\b(nan|inf|None|True|False|undefined)\b|object at 0x")

BLOCKS = {"p", "h1", "h2", "h3", "li", "tr", "div", "dt", "dd", "section", "figure", "figcaption", "table", "caption"}
BLOCKS |= {"article", "nav", "title", "desc", "ul", "ol", "dl", "svg", "header", "g"}


class Reading(HTMLParser):
    """Visible text, elements with their attributes, and whether every element is closed in its place."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        if not UNSEEN & set(self.open):
            self.pieces.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.pieces))

    def values(self, *names: str) -> list[str]:
        return [value or "" for _, attrs in self.elements for name, value in attrs.items() if name in names]


class Lines(Reading):
    """Letters drawn in a picture are left out: they lie where there is room, and its words stand in title and desc."""

    def handle_starttag(self, tag, attrs):
        super().handle_starttag(tag, attrs)
        if tag in BLOCKS:
            self.pieces.append("\n")

    def handle_endtag(self, tag):
        super().handle_endtag(tag)
        if tag in BLOCKS:
            self.pieces.append("\n")

    def handle_data(self, data):
        if not {*UNSEEN, "text"} & set(self.open):
            self.pieces.append(" ".join(data.split()) or " ")


def lines(html: str) -> str:
    told = (" ".join(line.split()) for line in " ".join(Lines(html).pieces).split("\n"))
    return "\n".join(line for line in told if line)


def part(page: str, name: str) -> str:
    """The section of that id."""
    start = page.index(f'<section id="{name}">')
    return page[start : page.index("</section>", start) + len("</section>")]


def table(html: str, label: str) -> list[list[str]]:
    """Cells of the table of that label, row by row, without its head."""
    body = html.partition(f'aria-label="{label}"')[2].partition("</table>")[0].partition("<tbody>")[2]
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in body.split("</tr>")[:-1]]
