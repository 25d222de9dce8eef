"""What travels between the rooms: frozen structs of msgspec, the unit in every field's note.

    sound.py        files, taps, the sound of one tap
    modes.py        damped modes, and what is seen beside them
    scan.py         what the rules read and what they say
    comparison.py   a later scan beside earlier ones
    bar.py          the shop's reference bar, struck before and after a plate
    notes.py        keys played one by one
    heard.py        what a scan could have found
    places.py       where on the plate a change lies
    pattern.py      a plate beside others of its pattern
    screening.py    the outcome of one scan

Unknown is None, and a `reason` beside it says why. Records that hold arrays compare by identity.
"""

from tapscan.places import IN_PIANO, STATES, Layout, State
from tapscan.records.bar import BarMode, BarReading, BarReadings, ChainChange, ChainSign
from tapscan.records.comparison import (
    AddedMass,
    CommonShift,
    Comparison,
    ModePair,
    ScanConditions,
    ScanForComparison,
    StationChange,
    UnpairedMode,
)
from tapscan.records.modes import (
    NO_ROOM,
    ForceShift,
    LateSound,
    ModalAmplitude,
    Mode,
    Origin,
    Pole,
    RoomLimit,
    RoomRing,
    SelfScatter,
    SteadyTone,
    Tone,
)
from tapscan.records.notes import ForeignTone, PlayedNote, PlayedNotes, RingingTone
from tapscan.records.pattern import BesidePattern, Known, PatternFigure, Reference, Sister
from tapscan.records.places import LikelyPlace, Whereabouts
from tapscan.records.scan import Condition, Indication, Interpretation, RuleNotRun, Scan, Status
from tapscan.records.screening import Disposition, Doubt, Fingerprint, Screening, StationPicture
from tapscan.records.sound import ComplexArray, Compression, FloatArray, Force, Recording, Segment, Strike
from tapscan.sensors import NO_SENSOR, Sensor

__all__ = [
    "IN_PIANO",
    "NO_ROOM",
    "NO_SENSOR",
    "STATES",
    "AddedMass",
    "BarMode",
    "BarReading",
    "BarReadings",
    "BesidePattern",
    "ChainChange",
    "ChainSign",
    "CommonShift",
    "Comparison",
    "ComplexArray",
    "Compression",
    "Condition",
    "Disposition",
    "Doubt",
    "Fingerprint",
    "FloatArray",
    "Force",
    "ForceShift",
    "ForeignTone",
    "Indication",
    "Interpretation",
    "Known",
    "LateSound",
    "Layout",
    "LikelyPlace",
    "ModalAmplitude",
    "Mode",
    "ModePair",
    "Origin",
    "PatternFigure",
    "PlayedNote",
    "PlayedNotes",
    "Pole",
    "Recording",
    "Reference",
    "RingingTone",
    "RoomLimit",
    "RoomRing",
    "RuleNotRun",
    "Scan",
    "ScanConditions",
    "ScanForComparison",
    "Screening",
    "Segment",
    "SelfScatter",
    "Sensor",
    "Sister",
    "State",
    "StationChange",
    "StationPicture",
    "Status",
    "SteadyTone",
    "Strike",
    "Tone",
    "UnpairedMode",
    "Whereabouts",
]
