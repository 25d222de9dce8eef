"""bench/README.md has a row for every file of bench that can be run, and none for what is not there."""

import re
from pathlib import Path

BENCH = Path(__file__).parents[2] / "bench"


def test_every_study_is_listed_with_its_command():
    rows = dict(re.findall(r"^\| (\w+) \| `python -m bench\.(\w+)", (BENCH / "README.md").read_text(), re.M))
    runnable = {p.stem for p in BENCH.glob("*.py") if '__name__ == "__main__"' in p.read_text(encoding="utf-8")}
    assert rows == {name: name for name in runnable}


def test_heads_of_tables_are_those_of_study():
    """Version, commit, machine, date: none is put together elsewhere."""
    own = [
        p.name for p in BENCH.glob("*.py") if re.search(r"__version__|python_version\(", p.read_text(encoding="utf-8"))
    ]
    assert own == ["study.py"]
