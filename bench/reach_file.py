"""Writes one part of tapscan/report/reach.json: what the report says of a rule's errors is what a bench counted.

share(hits, of)               {"spoke", "of", "low", "high"}, Clopper-Pearson 95 %
part_of(part)                 as it is written; empty where it is not
write_part(part, figures)     the other parts stay as they were
still_counted(then, but)      parts whose numbers in the code are those of an earlier version, but for names that choose no figure

    python -m bench.reach_file REVISION [--but NAME="why it chooses no figure" ...]

writes the hashes anew where names of numbers moved, became one or went since REVISION, at which the rates were as counted, and nothing was counted again.
It refuses where any other number is not what it was. That the answers are the same is for bench/same_numbers.py to show; what was said in --but stays in the file.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from bench.same_numbers import commit_of, unpack
from bench.study import clopper_pearson
from tapscan.report.error_rates import DEPENDS, FILE, Table, constants_of, shipped_limits
from tapscan.screening import constants

ASKED = """
import importlib.util, json, runpy, sys
from tapscan.report.error_rates import DEPENDS, _as_counted, shipped_limits
named = runpy.run_path(sys.argv[1])["constants"]
named.__globals__["ALONE"] = [m for m in named.__globals__["ALONE"] if importlib.util.find_spec(m)]  # those there were
print(json.dumps({t: [_as_counted(t), shipped_limits(t), [named(p) for p in parts]] for t, parts in DEPENDS.items()}))
"""


def share(hits: int, of: int) -> dict[str, Any]:
    low, high = clopper_pearson(hits, of)
    return {"spoke": hits, "of": of, "low": round(low, 6), "high": round(high, 6)}


def part_of(part: Table) -> dict[str, Any]:
    return dict(json.loads(FILE.read_text(encoding="utf-8")).get(part, {})) if FILE.exists() else {}


def write_part(part: Table, figures: dict[str, Any]) -> None:
    known = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    head = {
        "limits_sha256": shipped_limits(part),
        "constants_sha256": constants_of(part),
        "written": time.strftime("%Y-%m-%d"),
        "simulated": True,
    }
    known[part] = {**head, **figures}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def still_counted(then: Mapping[str, Any], but: Mapping[str, str]) -> list[str]:
    """Writes them; a line for each part. then : what ASKED prints, run by the earlier version with this one's way to look for numbers."""
    known, lines = json.loads(FILE.read_text(encoding="utf-8")), []
    for table in get_args(Table):
        counted, limits, before = then[table]
        now = [constants.constants(part) for part in DEPENDS[table]]
        changed = sorted(set(but) & (names := _unlike(before, now)))
        if not counted:
            lines.append(f"{table}: not as counted even then")
        elif limits != shipped_limits(table) or names - set(but):
            lines.append(f"{table}: not as it was: {', '.join(sorted(names - set(but))) or 'thresholds'}")
        else:
            told = {**known[table].get("choose_no_figure", {}), **{name: but[name] for name in changed}}
            known[table] |= {"constants_sha256": constants_of(table), **({"choose_no_figure": told} if told else {})}
            lines.append(f"{table}: as counted, but for {', '.join(changed) or 'nothing'}")
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    return lines


def _unlike(before: list[list[Any]], now: list[list[Any]]) -> set[str]:
    """Names of numbers that only one of the two has."""
    pairs = [{json.dumps(pair) for part in version for pair in part} for version in (before, now)]
    return {json.loads(pair)[0] for pair in pairs[0] ^ pairs[1]}


def main() -> None:
    """See the module."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("revision")
    ask.add_argument("--but", action="append", default=[], metavar="NAME=WHY")
    said = ask.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        unpack(commit_of(said.revision), Path(folder))
        command = [sys.executable, "-c", ASKED, str(constants.__file__)]
        env = {**os.environ, "PYTHONPATH": folder}
        told = subprocess.run(command, env=env, cwd=folder, capture_output=True, text=True, check=True).stdout
    print(*still_counted(json.loads(told), dict(one.split("=", 1) for one in said.but)), sep="\n")


if __name__ == "__main__":
    main()
