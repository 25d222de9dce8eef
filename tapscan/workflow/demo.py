"""The whole job on the invented shop's plates.

run_demo(folder, workers)   DemoScan after DemoScan; recordings, layouts, JSON and pages go into `folder`
"""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

from msgspec import Struct

from tapscan.demo.shop import (
    CONTACT,
    DATES,
    ORDER,
    PLATES,
    SAMPLE_RATE_HZ,
    SHOP,
    DemoPlate,
    iron_c,
    layout_text,
    sound_of,
)
from tapscan.layouts import read_layout
from tapscan.recording.files import save_flac
from tapscan.records import ScanConditions, ScanForComparison, Screening, State
from tapscan.report.as_json import dumps
from tapscan.report.shop import Shop
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.targets import write_text
from tapscan.workers import ALONE, Workers
from tapscan.workflow.check import Request, check
from tapscan.workflow.conclude import conclude
from tapscan.workflow.stored_audio import tape_of_files
from tapscan.workflow.where import models_folder
from tapscan.workflow.write_report import Wish, write_check_page

__all__ = ["SHOP", "DemoScan", "run_demo"]


class DemoScan(Struct, frozen=True):
    """One scan of one plate, and where its files lie."""

    plate: DemoPlate
    number: int  # from 1
    recording: Path
    report: Path
    screening: Screening


def run_demo(folder: Path, workers: Workers = ALONE) -> Iterator[DemoScan]:
    """Make the recordings, screen them as `tapscan check` would, compare the second scan with the first, write the reports.

    Plates are shared between the workers; the scans come in the order of PLATES.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for plate in PLATES:  # some share a pattern
        write_text(_layout_of(plate, folder), layout_text(plate))

    def told(done: int) -> None:
        workers.progress("plates", done, len(PLATES))

    for scans in workers.each(_plate_done, [(plate, folder) for plate in PLATES], told):
        yield from scans


def _layout_of(plate: DemoPlate, folder: Path) -> Path:
    return folder / f"{plate.pattern}.toml"


def _plate_done(work: tuple[DemoPlate, Path]) -> list[DemoScan]:
    """All scans of one plate."""
    plate, folder = work
    layout = _layout_of(plate, folder)
    earlier: list[ScanForComparison] = []
    return [_scan_done(plate, number, layout, earlier) for number in range(1, len(plate.cases) + 1)]


def _scan_done(plate: DemoPlate, number: int, layout: Path, earlier: list[ScanForComparison]) -> DemoScan:
    """`earlier` : scans that may be a baseline; this one is added where it raised nothing."""
    recording = layout.with_name(f"{plate.name}_scan-{number}.flac")
    save_flac(recording, sound_of(plate, number - 1), SAMPLE_RATE_HZ)
    screening = _screen(recording, layout, plate.state)
    now = _for_comparison(plate, number, screening)
    before = None
    if earlier:
        beside = with_comparison(screening, compare_scans(now, earlier, Settings(), models_folder()), Settings())
        screening = conclude(beside, Settings())
        before = tape_of_files(earlier[0].scan) if screening.comparison else None
    elif screening.disposition != "relevant indication":
        earlier.append(now)
    report = recording.with_suffix(".html")
    write_check_page(screening, report, _wish(plate, number), before)
    write_text(recording.with_suffix(".json"), dumps(screening))
    return DemoScan(plate, number, recording, report, screening)


def _wish(plate: DemoPlate, number: int) -> Wish:
    """The page says at its head that nothing of it is real."""
    piano = f"{plate.name}, {plate.pattern.replace('-', ' ')} (simulated)"
    return Wish(Shop(SHOP, CONTACT), piano=piano, on=dt.date.fromisoformat(DATES[number - 1]))


def _for_comparison(plate: DemoPlate, number: int, screening: Screening) -> ScanForComparison:
    date = DATES[number - 1]
    conditions = ScanConditions(
        state=plate.state,
        supports="four soft pads",
        iron_c=iron_c(number - 1),
        sensor=Sensor("contact"),
        fittings=(),
    )
    return ScanForComparison(f"{plate.name}/{date}", date, conditions, screening.scan, screening.indications)


def _screen(recording: Path, layout: Path, state: State) -> Screening:
    request = Request(layout=read_layout(str(layout)), state=state, order=ORDER, pictures=True)
    result = check([str(recording)], request)
    if result.screening is None:
        raise RuntimeError(f"the demo's own recording cannot be read: {result.unreadable}")
    return result.screening
