"""bench/README.md has a row for every file of bench that can be run, and none for what is not there."""

import re
from pathlib import Path

BENCH = Path(__file__).parents[2] / "bench"


def test_every_study_is_listed_with_its_command():
    rows = dict(re.findall(r"^\| (\w+) \| `python (?:-m bench\.|bench/)(\w+)", (BENCH / "README.md").read_text(), re.M))
    runnable = {p.stem for p in BENCH.glob("*.py") if '__name__ == "__main__"' in p.read_text(encoding="utf-8")}
    assert rows == {name: name for name in runnable}
