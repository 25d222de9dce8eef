"""Is the register whole, and a copy of it.

    check_register(register)           Findings: what is wrong, and what is only left lying about
    back_up(register, target)          Backup: a consistent copy while others read and write
    restore(backup, target)            Backup: a backup as a register in a new or empty folder; every file held against its hash

A copy is made under another name and takes its own name when it is complete.
"""

from collections.abc import Callable
from pathlib import Path

from msgspec import Struct
from sqlalchemy import Connection, func, select

from tapscan.errors import RegisterProblem
from tapscan.register import tables as t
from tapscan.register.address import Server
from tapscan.register.beside import harmed_drafts, left_of_drafts, take_along
from tapscan.register.database import BACKUPS, DATABASE, Register, copy_database, damage, open_register
from tapscan.register.file_store import FolderFiles
from tapscan.register.files import FILES, copy_flushed, path_of
from tapscan.register.missing_rows import missing_rows, uncounted
from tapscan.register.moving import move_register
from tapscan.register.names import scan_name
from tapscan.register.trouble import plain_words
from tapscan.register.whole_folder import whole_folder

Progress = Callable[[int, int], None]


class Findings(Struct, frozen=True):
    """What a check found."""

    plates: int
    scans: int
    files: int
    wrong: tuple[str, ...]  # something is missing or changed
    leftover: tuple[str, ...]  # harmless: nothing refers to it
    uncounted: int = 0  # scans of whose reading the last rows could be missing unnoticed
    uncounted_void: int = 0  # crossed-out ones besides, which are not read anew

    @property
    def unsure(self) -> str:
        """In sentences; empty without any."""
        told = []
        if self.uncounted:
            told = [
                f"Scans that an older tapscan read: {self.uncounted}. It did not note how many taps and tones it had found, so this check would not notice if another program "
                "had taken the last of them away. To have them noted: `tapscan register rescreen`."
            ]
        if self.uncounted_void:
            told.append(
                f"Crossed-out scans that an older tapscan read: {self.uncounted_void}. They are not read anew and do not count: nothing need be done."
            )
        return " ".join(told)


class Backup(Struct, frozen=True):
    """What was copied."""

    folder: Path
    files: int
    size_bytes: int
    missing: tuple[str, ...]  # files that were damaged or gone before


def check_register(register: Register, progress: Progress = lambda done, total: None) -> Findings:
    """Files against hashes, rows against files, the database against itself."""
    with register.reading() as connection:
        files = _files(connection)
        wrong = [*damage(register, connection), *_empty_scans(connection), *missing_rows(connection)]
        unknown, crossed_out = (
            len(found) for found in (uncounted(connection), uncounted(connection, crossed_out=True))
        )
        plates, scans = (
            connection.execute(select(func.count()).select_from(table)).scalar_one() for table in (t.plate, t.scan)
        )
    for i, (sha256, size) in enumerate(files.items()):
        progress(i, len(files))
        if said := register.files.wrong(sha256, size):
            wrong.append(f"{said}; {_used_by(register, sha256)}")
    progress(len(files), len(files))
    wrong.extend(harmed_drafts(register.folder))
    return Findings(plates, scans, len(files), tuple(wrong), _leftover(register, set(files)), unknown, crossed_out)


def _leftover(register: Register, known: set[str]) -> tuple[str, ...]:
    """What another bench stored while the files were looked at is not left over."""
    lying = [*register.files.strangers(known), *left_of_drafts(register.folder)]
    if not lying:
        return ()
    with register.reading() as connection:
        new = set(_files(connection)) - known
    return tuple(line for line in lying if not any(sha256 in line for sha256 in new))


def _files(connection: Connection) -> dict[str, int]:
    rows = connection.execute(select(t.file.c.sha256, t.file.c.size_bytes).order_by(t.file.c.sha256))
    return {row.sha256: row.size_bytes for row in rows}


def _count(folder: Path) -> int:
    with open_register(folder).reading() as connection:
        return len(_files(connection))


def _used_by(register: Register, sha256: str) -> str:
    scans = (
        select(t.plate.c.name, t.scan.c.date, t.scan.c.number)
        .select_from(t.scan.join(t.plate).join(t.scan_file))
        .where(t.scan_file.c.sha256 == sha256)
    )
    bars = (
        select(t.plate.c.name, t.scan.c.date, t.scan.c.number)
        .select_from(t.scan.join(t.plate).join(t.scan_bar))
        .where(t.scan_bar.c.sha256 == sha256)
    )
    photos = select(t.plate.c.name).join(t.photo).where(t.photo.c.sha256 == sha256)
    taken = (
        select(t.plate.c.name, t.taken_strike.c.station)
        .select_from(t.plate.join(t.unfinished).join(t.taken_strike))
        .where(t.taken_strike.c.sha256 == sha256)
    )
    with register.reading() as connection:
        names = [f"the recording of {scan_name(*row)}" for row in connection.execute(scans)]
        names += [f"the reference bar of {scan_name(*row)}" for row in connection.execute(bars)]
        names += [f"a photo of {row.name}" for row in connection.execute(photos)]
        names += [f"a tap on {row.name} at {row.station}" for row in connection.execute(taken)]
    return f"it was {', '.join(names) or 'a picture of a scan, which `tapscan scan rescreen` makes anew'}"


def _empty_scans(connection: Connection) -> list[str]:
    """A scan is stored with its screening and its recordings; one without them was not stored by tapscan."""
    without = (
        select(t.plate.c.name, t.scan.c.date, t.scan.c.number)
        .select_from(
            t.scan.join(t.plate).outerjoin(t.screening).outerjoin(t.scan_file, t.scan_file.c.scan_id == t.scan.c.row)
        )
        .where(t.screening.c.row.is_(None) | t.scan_file.c.sha256.is_(None))
    )
    return [f"{scan_name(*row)}: has no screening or no recording" for row in connection.execute(without)]


def back_up(register: Register, target: Path, progress: Progress = lambda done, total: None) -> Backup:
    """Copy into `target`, which must not exist. Damaged or missing files are named and the rest is copied."""
    target = target.absolute()
    if target.exists():
        raise RegisterProblem(f"{target}: is there already; name a folder that does not exist yet")
    if isinstance(register.place, Server):
        return _from_server(register, target, progress)
    if target.is_relative_to(register.folder):
        raise RegisterProblem(f"{target}: lies inside the register; name a folder elsewhere, best on another disk")
    if not target.parent.is_dir():
        raise RegisterProblem(f"{target.parent}: there is no such folder; make it first")
    with plain_words(target), whole_folder(target) as part:
        (part / FILES).mkdir()
        (part / BACKUPS).mkdir()
        take_along(register.folder, part)  # first: a draft that is stored meanwhile is there twice, not missing
        copy_database(register.folder, part / DATABASE)
        missing, size = _copy_files(register.folder, part, progress)
    return Backup(target, _count(target) - len(missing), size, tuple(missing))


def _from_server(register: Register, target: Path, progress: Progress) -> Backup:
    """A folder with all that the server has."""
    moved = move_register(register, target, None, lambda _, done, total: progress(done, total), leave_missing=True)
    size = sum(path.stat().st_size for path in (target / FILES).glob("*/*"))
    return Backup(target, moved.files, size, moved.missing)


def restore(backup: Path, target: Path, progress: Progress = lambda done, total: None) -> Backup:
    """The backup is only read. `target` must be new or empty: nothing is ever overwritten."""
    backup, target = backup.absolute(), target.absolute()
    if not (backup / DATABASE).is_file():
        raise RegisterProblem(f"{backup}: is no backup of a register; name the folder that holds {DATABASE}")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise RegisterProblem(
            f"{target}: is there already and not empty, and nothing is overwritten; name a new folder with --register"
        )
    if target.is_relative_to(backup):
        raise RegisterProblem(f"{target}: lies inside the backup; name a folder elsewhere with --register")
    with plain_words(target), whole_folder(target) as part:
        (part / FILES).mkdir()
        (part / BACKUPS).mkdir()
        take_along(backup, part)
        copy_database(backup, part / DATABASE)
        missing, size = _copy_files(backup, part, progress)
    return Backup(target, _count(target) - len(missing), size, tuple(missing))


def _copy_files(source: Path, part: Path, progress: Progress) -> tuple[list[str], int]:
    """Every file the copied database names, held against its hash; those were complete before it was copied."""
    register = open_register(part)
    with register.reading() as connection:
        files = _files(connection)
    missing, total = [], 0
    for i, (sha256, size) in enumerate(files.items()):
        progress(i, len(files))
        if said := FolderFiles(source).wrong(sha256, size):
            missing.append(f"{said}; {_used_by(register, sha256)}")
            continue
        target = path_of(part, sha256)
        target.parent.mkdir(exist_ok=True)
        copy_flushed(path_of(source, sha256), target)
        if said := FolderFiles(part).wrong(sha256, size):
            raise RegisterProblem(f"{said} while it was copied; nothing was made: see to the disk and do it again")
        total += size
    progress(len(files), len(files))
    return missing, total
