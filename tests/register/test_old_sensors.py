"""Registers from before sensors had a kind: their words are read once, when the register is brought up to date."""

import json
import shutil
import sqlite3
from pathlib import Path

from tapscan.register.database import open_register
from tapscan.register.migrations.versions.r0003 import kind_by_words
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import unfinished_scans
from tapscan.sensors import Sensor
from tests.every import each

SNAPSHOT = Path(__file__).with_name("snapshot_0001.sqlite")
WORDS = {
    "Contact Pickup": "contact",
    "contact pickup, 20 g": "contact",
    "piezo disc on the strut": "contact",
    "contact microphone, waxed": "contact",
    "accelerometer": "contact",
    "pick-up": "contact",
    "microphone": "microphone",
    "Mic at 10 cm": "microphone",
    "microphone, no contact with the iron": "microphone",
    "non-contact microphone": "microphone",
    "phone on a cloth": "microphone",
    "contact pickup and a microphone": None,
    "no contact": None,
    "magnetic pickup, not in contact": None,
    "the usual one": None,
    "microscope": None,
    "": None,
    None: None,
}


@each("words", WORDS, ids=repr)
def test_words_are_read_or_left_unknown(words):
    assert kind_by_words(words) == WORDS[words]


def old_register(folder: Path, words: str) -> Path:
    (folder / "files").mkdir(parents=True)
    shutil.copy(SNAPSHOT, folder / "register.sqlite")
    with sqlite3.connect(folder / "register.sqlite") as connection:
        connection.execute("UPDATE scan SET sensor = ?", (words,))
    connection.close()
    return folder


def test_a_stored_scan_keeps_its_words_and_gains_a_kind(tmp_path):
    for number, words in enumerate(
        ("piezo disc on the strut", "microphone, no contact with the iron", "the usual one")
    ):
        (entry,) = list_scans(open_register(old_register(tmp_path / str(number), words)))
        assert entry.conditions.sensor == Sensor(WORDS[words], words, None, "treble-break strut, underside")


def test_a_scan_that_was_stopped_half_way_is_brought_up_to_date(tmp_path):
    folder = old_register(tmp_path / "register", "microphone")
    up_to_two(folder)
    facts = {
        "date": "2026-03-14",
        "conditions": {"state": "stripped", "sensor": "Piezo disc", "sensor_place": "strut 2", "hammer": "plastic"},
    }
    with sqlite3.connect(folder / "register.sqlite") as connection:
        values = (1, "2026-03-14T10:00:00Z", json.dumps(facts), "{}")
        connection.execute("INSERT INTO unfinished (plate_id, begun_utc, facts, plan) VALUES (?, ?, ?, ?)", values)
    connection.close()
    (found,) = unfinished_scans(open_register(folder))
    assert found.facts.conditions.sensor == Sensor("contact", "Piezo disc", None, "strut 2")
    assert found.facts.conditions.hammer == "plastic"


def up_to_two(folder: Path) -> None:
    from tapscan.register.migrating import migrate
    from tapscan.register.sqlite_side import engine_of

    with engine_of(folder).execution_options(writes=True).begin() as connection:
        migrate(connection, "0002")
