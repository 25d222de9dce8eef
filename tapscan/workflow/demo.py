"""The whole job on the invented shop's plates.

run_demo(folder, starting)   DemoScan after DemoScan; recordings, layouts, JSON and pages go into `folder`
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tapscan.demo.shop import DATES, ORDER, PLATES, SAMPLE_RATE_HZ, SHOP, DemoPlate, iron_c, layout_text, sound_of
from tapscan.layouts import read_layout
from tapscan.recording.files import save_flac
from tapscan.records import ScanConditions, ScanForComparison, Screening, State
from tapscan.report.as_json import dumps
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.targets import write_text
from tapscan.workflow.check import Request, check
from tapscan.workflow.conclude import conclude
from tapscan.workflow.stored_audio import tape_of_files
from tapscan.workflow.where import models_folder
from tapscan.workflow.write_report import write_check_page

__all__ = ["SHOP", "DemoScan", "run_demo"]


@dataclass(frozen=True)
class DemoScan:
    """One scan of one plate, and where its files lie."""

    plate: DemoPlate
    number: int  # from 1
    recording: Path
    report: Path
    screening: Screening


def run_demo(folder: Path, starting: Callable[[str], None]) -> Iterator[DemoScan]:
    """Make the recordings, screen them as `tapscan check` would, compare the second scan with the first, write the reports."""
    folder.mkdir(parents=True, exist_ok=True)
    for plate in PLATES:
        layout = folder / f"{plate.pattern}.toml"
        write_text(layout, layout_text(plate))
        earlier: list[ScanForComparison] = []
        for number in range(1, len(plate.cases) + 1):
            starting(f"{plate.name}, scan {number}")
            recording = folder / f"{plate.name}_scan-{number}.flac"
            save_flac(recording, sound_of(plate, number - 1), SAMPLE_RATE_HZ)
            screening = _screen(recording, layout, plate.state)
            now = _for_comparison(plate, number, screening)
            if earlier:
                beside = with_comparison(
                    screening, compare_scans(now, earlier, Settings(), models_folder()), Settings()
                )
                screening = conclude(beside, Settings())
            elif screening.disposition != "relevant indication":  # a baseline is a scan that raised nothing
                earlier.append(now)
            before = tape_of_files(earlier[0].scan) if screening.comparison else None
            report = recording.with_suffix(".html")
            write_check_page(screening, report, before=before)
            write_text(recording.with_suffix(".json"), dumps(screening))
            yield DemoScan(plate, number, recording, report, screening)


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
