"""Simulated castings as scans of plates in a register: no sound, one made-up recording each."""

import hashlib

from msgspec.structs import replace

from tapscan.records import Scan, ScanConditions
from tapscan.register.database import Register
from tapscan.register.entries import Plate, ScanEntry
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate
from tapscan.register.scans import store_scan
from tapscan.sensors import Sensor
from tests.register import built

CONDITIONS = ScanConditions(state="stripped", sensor=Sensor("contact"))


def put_casting(
    register: Register, plate: str, scan: Scan, pattern: str = "small grand", among=None, **changes
) -> ScanEntry:
    """A new plate with one scan; `among`: where it lies among others; `changes` of the Screening."""
    add_plate(register, Plate(plate, pattern=pattern))
    content = f"taps of {plate}".encode()
    base = built.screening((hashlib.sha256(content).hexdigest(),))
    whole = replace(scan, recordings=base.scan.recordings, state="stripped")
    told = {"disposition": "no relevant indication", "indications": (), "comparison": None, "pattern": among, **changes}
    screening = replace(base, scan=whole, **told)
    files = [keep_bytes(register.folder, content, "S1_1.wav")]
    return store_scan(register, plate, built.new_scan(conditions=CONDITIONS), built.made(screening), files)
