"""A TOML file laid over what ships.

    [strikes]
    rise_db = 12
    [rules.prominent-ringing]
    t60_s = 0.5

read_settings(path, rules)   Settings; BadSettings names the file, the key and the nearest known names, or what may stand there
as_toml(settings, rules)     every threshold as such a file
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from tapscan.errors import BadSettings
from tapscan.settings.definition import Threshold, stage_of
from tapscan.settings.ranges import range_told, within
from tapscan.settings.settings import STAGES, Settings, every_threshold
from tapscan.sources import on_one_line
from tapscan.toml_files import NotToml, shown, toml_table, toml_text

EXAMPLE = "write a line like [strikes] and below it one like rise_db = 12"


def read_settings(path: str | Path | None, rules: Sequence[type]) -> Settings:
    """`path` None: what ships. `rules` : the sets of the rules' own thresholds."""
    if path is None:
        return Settings()
    at = on_one_line(str(path))
    try:
        table = toml_table(toml_text(Path(path)))
    except OSError as problem:
        raise BadSettings(f"{at}: cannot be read ({problem.strerror}); check the name and the folder") from None
    except NotToml as problem:
        raise BadSettings(f"{at}: not readable as TOML ({problem}); {EXAMPLE}") from None
    shipped = Settings()
    known = {t.path: t for t in every_threshold(shipped, rules)}
    stages = {stage_of(one): one for one in [*(type(getattr(shipped, s)) for s in STAGES), *rules]}
    settings = shipped
    for name, value in _flat(table):
        if name not in known:
            raise BadSettings(f"{at}: unknown threshold {shown(name)}; {_nearest(name, sorted(known))}")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadSettings(f"{at}: {name} must be a number, not {shown(value)}")
        if not math.isfinite(value):
            raise BadSettings(f"{at}: {name} must be a finite number, not {value!r}")
        if not within(known[name], value):
            raise BadSettings(f"{at}: {name} = {value!r} cannot be; write {range_told(known[name])}")
        settings = settings.but(stages[name.rpartition(".")[0]], **{known[name].name: float(value)})
    return settings


def as_toml(settings: Settings, rules: Sequence[type]) -> str:
    """Readable by read_settings."""
    return lines_of(every_threshold(settings, rules))


def lines_of(thresholds: Sequence[Threshold], *, notes: bool = False) -> str:
    """Thresholds as a settings file, stage by stage; `notes`: unit and reason behind each value."""
    lines: list[str] = []
    stage = ""
    for t in thresholds:
        if t.stage != stage:
            stage = t.stage
            lines.append(f"[{stage}]")
        lines.append(f"{t.name} = {t.value!r}" + (f"  # {t.unit}: {t.reason}" if notes else ""))
    return "\n".join(lines) + "\n"


def _flat(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", value


def _nearest(name: str, known: Sequence[str]) -> str:
    """Known names most like it, first those that share its last part; all of them are in `tapscan settings`."""
    last = name.rpartition(".")[2]
    same = [k for k in known if k.rpartition(".")[2] == last or k.replace(".", "_").endswith(last)]
    near = same or get_close_matches(name, known, 3, 0.4)
    told = f"did you mean {' or '.join(near[:3])}? " if near else ""
    return f"{told}`tapscan settings` lists them all"
