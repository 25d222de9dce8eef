"""The archive screened anew, on Dask: this machine's cores, or a cluster whose machines see the same folder or server.

waiting(register, settings, pattern, since)         scans that the present version with these settings has not screened yet
rescreen_all(register, names, settings, ...)        Rescreened after Rescreened, as they come

A plate's scans follow each other in order of date, since a later one is compared with earlier ones; plates go side by side. Every
scan is stored as it comes, its earlier results are kept, and one that is done is not done again: whoever is stopped, or loses a worker, starts the same
command once more.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

from msgspec import Struct

from tapscan import __version__
from tapscan.errors import BadRequest, TapscanError
from tapscan.register.address import Place, Server
from tapscan.register.database import Register, open_register
from tapscan.register.entries import ScanEntry
from tapscan.register.missing_rows import uncounted
from tapscan.register.outdated import outdated
from tapscan.register.plates import list_plates
from tapscan.register.scans import find_scan, list_scans
from tapscan.screening.rules import RULE_LIMITS
from tapscan.settings import Settings, settings_sha256
from tapscan.workflow.import_scan import rescreen
from tapscan.workflow.where import place_of

ANSWER_S = 10.0  # a scheduler has so long to answer
TRIES = 3  # a worker may be killed on a scan; then another takes it
MISSING = "--scheduler needs Dask: pip install 'tapscan[server]'"


class Rescreened(Struct, frozen=True):
    """One scan; `trouble` where it could not be done, and then nothing was changed."""

    scan: str
    before: str
    after: str | None
    trouble: str | None = None

    @property
    def changed(self) -> bool:
        """Whether the disposition is another one."""
        return self.after is not None and self.after != self.before


def waiting(
    register: Register, settings: Settings, pattern: str | None = None, since: dt.date | None = None
) -> list[ScanEntry]:
    """Oldest first, and those whose reading no longer fits what is known of them. `pattern`: plates of that one only; `since`: scans tapped on that day or later."""
    plates = {plate.name: plate.pattern for plate, _, _ in list_plates(register, retired=True)}
    if pattern is not None and not any(_same(p, pattern) for p in plates.values()):
        known = sorted({p for p in plates.values() if p})
        raise BadRequest(f"no plate is of pattern {pattern!r}; patterns here: {', '.join(known) or 'none'}")
    entries = [e for e in list_scans(register) if pattern is None or _same(plates.get(e.plate), pattern)]
    wanted = settings_sha256(settings, RULE_LIMITS)
    with register.reading() as connection:
        unknown = uncounted(connection)  # the same figures come again, and how many they are is kept with them
    unknown |= outdated(register)
    left = [e for e in entries if (since is None or e.date >= since) and not (_done(e, wanted) and e.id not in unknown)]
    return sorted(left, key=lambda e: (e.date, e.number))


def rescreen_all(
    register: Register, entries: Sequence[ScanEntry], settings: Settings, scheduler: str | None, workers: int | None
) -> Iterator[Rescreened]:
    """As they are done. scheduler : address of a Dask cluster; without it `workers` processes here (None: one a core; without Dask one scan after the other)."""
    place = _for_workers(register.place, elsewhere=scheduler is not None)
    if scheduler is None and not _has_dask():
        yield from _in_turn(place, entries, settings)
        return
    with _client(scheduler, workers) as client:
        from distributed import as_completed

        last: dict[str, Any] = {}
        scans = {}
        for entry in entries:
            task = (place, entry.name, settings, entry.current.number, last.get(entry.plate))
            last[entry.plate] = client.submit(_one, *task, pure=False, retries=TRIES)
            scans[last[entry.plate]] = entry
        for future in as_completed(scans):
            yield _answered(future, scans[future])


def _has_dask() -> bool:
    try:
        import distributed  # noqa: F401
    except ImportError:
        return False
    return True


def _in_turn(place: Place, entries: Sequence[ScanEntry], settings: Settings) -> Iterator[Rescreened]:
    """In this process."""
    for entry in entries:
        try:
            yield _one(place, entry.name, settings, entry.current.number, None)
        except Exception as problem:  # a fault of tapscan costs this scan; the others go on
            yield _failed(entry, problem)


def _failed(entry: ScanEntry, problem: BaseException) -> Rescreened:
    return Rescreened(entry.name, entry.current.disposition, None, f"{type(problem).__name__}: {problem}")


def _for_workers(place: Place, *, elsewhere: bool) -> Place:
    """Another computer has a password of its own (~/.pgpass): this one's is not sent over the network."""
    if isinstance(place, Path):
        return place.resolve()
    return place.without_password if elsewhere else place


def _answered(future: Any, entry: ScanEntry) -> Rescreened:
    """A fault of tapscan, or a scan that ends each worker that takes it, costs this scan and the plate's later ones; the other plates go on."""
    problem = future.exception()
    if problem is None:
        return cast(Rescreened, future.result())
    return _failed(entry, problem)


def _one(place: Place, name: str, settings: Settings, newest: int, _after: object) -> Rescreened:
    """In a worker. `newest`: number of its last screening when it was asked for. `_after`: what came of the plate's scan before, which must be stored first."""
    try:
        register = open_register(_on_this_computer(place))
        entry = find_scan(register, name)
        before = entry.screenings[-1].disposition
        wanted = settings_sha256(settings, RULE_LIMITS)
        if entry.current.number > newest and _done(entry, wanted):  # by a worker that was lost before it could say so
            return Rescreened(name, entry.screenings[-2].disposition, before)
        kept = rescreen(register, name, settings)
    except (TapscanError, OSError) as problem:
        return Rescreened(name, "unknown", None, str(problem))
    if kept.entry is None:
        return Rescreened(name, before, None, "; ".join(kept.unreadable) or "nothing was heard in its recordings")
    return Rescreened(name, before, kept.entry.current.disposition)


def _on_this_computer(place: Place) -> Place:
    """A bench's own folder beside a server is that of the bench which asked; here it is another."""
    return place_of(place.url) if isinstance(place, Server) else place


def _done(entry: ScanEntry, wanted: str) -> bool:
    now = entry.current
    return (now.settings_sha256, now.tapscan_version) == (wanted, __version__)


def _same(pattern: str | None, wanted: str) -> bool:
    return pattern is not None and pattern.strip().casefold() == wanted.strip().casefold()


@contextmanager
def _client(scheduler: str | None, workers: int | None) -> Iterator[Any]:
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise BadRequest(MISSING) from None
    if scheduler is not None:
        with _connected(Client, scheduler) as client:
            yield client
        return
    here = {"threads_per_worker": 1, "processes": True, "dashboard_address": None, "silence_logs": "ERROR"}
    with LocalCluster(n_workers=workers, **here) as cluster, Client(cluster) as client:
        yield client


def _connected(client: Any, scheduler: str) -> Any:
    try:
        return client(scheduler, timeout=ANSWER_S)
    except (OSError, ValueError) as problem:
        raise BadRequest(f"--scheduler {scheduler}: no Dask scheduler answers there ({problem})") from None
