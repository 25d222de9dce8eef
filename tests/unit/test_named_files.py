"""A file that docs, or a module's docstring, name is there: by its name, or by the end of its path."""

import re
from functools import cache
from pathlib import Path

from tests.every import each

ROOT = Path(__file__).parents[2]
NAMED = re.compile(r"(?<![\w./<{*-])(?:[\w-]+/)*[\w.-]*\w\.(?:py|txt|md|toml)\b(?![\w(])")
INVENTED = re.compile(
    r"your_|my-|[A-Z]+\.|(defaults|shop|limits)\.toml$"
)  # examples, and what a user's own folder holds
PAGES = [*(ROOT / n for n in ("README.md", "DEVELOPERS.md", "bench/README.md")), *sorted((ROOT / "docs").glob("*.md"))]
MODULES = [p for room in ("tapscan", "bench") for p in sorted((ROOT / room).rglob("*.py"))]


def ends_of(path: Path) -> list[str]:
    """c.py, b/c.py, a/b/c.py."""
    parts = path.relative_to(ROOT).parts
    return ["/".join(parts[-n:]) for n in range(1, len(parts) + 1)]


@cache
def there() -> set[str]:
    rooms = [p for room in ("tapscan", "bench", "docs", "tests") for p in (ROOT / room).rglob("*.*")]
    return {end for path in (*ROOT.glob("*.*"), *rooms) for end in ends_of(path)}


@each("path", [*PAGES, *MODULES], ids=lambda p: p.relative_to(ROOT).as_posix())
def test_files_that_are_named_are_there(path):
    text = path.read_text(encoding="utf-8")
    head = re.match(r'"""(.*?)"""', text, re.S)
    said = text if path.suffix != ".py" else head[1] if head else ""
    gone = {name for name in NAMED.findall(said) if name not in there()}
    assert [name for name in sorted(gone) if not INVENTED.match(name.rsplit("/", 1)[-1])] == []
