"""Strikes of a scan that is being recorded, on their way into the register.

strikes_of(register)      Direct for a folder, Waiting for a server
    .take(number, strike, content, name)    TakenStrike with its key; it is safe on a disk when this returns
    .undo(number, key)                      taken back
    .path_of(sha256)                        where its sound lies now
    .settle(number)                         all of that recording is in the register, or NotReached; what is left is sent later
    .trouble                                a few words while something could not be sent
send_waiting(register)    what was left from before is sent; a sentence where that cannot be done

On a server a strike lies on this bench's own disk first and a thread sends it, so that the recorder never waits for the network. What waits is a
file each, in order; it goes when the server has said that it has it. A strike that was sent twice is stored once, by its key. One that the register does
not take holds up what comes after it in the same recording, and no other recording.
"""

import json
import threading
import time
import uuid
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from msgspec import to_builtins
from msgspec.structs import replace

from tapscan.errors import NotReached, RegisterProblem, TapscanError
from tapscan.register.address import Server
from tapscan.register.database import Register
from tapscan.register.entries import KeptFile
from tapscan.register.file_store import FolderFiles
from tapscan.register.files import FILES, flush_folder, path_of
from tapscan.register.recording_entries import TakenStrike
from tapscan.register.trouble import plain_words
from tapscan.register.unfinished import take, undo
from tapscan.targets import whole_file
from tapscan.wording import counted

FOLDER = "waiting"
AGAIN_S = 3.0
IDLE_S = 60.0
TROUBLE = "The server does not answer: this is kept here and sent later."


class Strikes(Protocol):
    """See the module."""

    @property
    def trouble(self) -> str | None:
        """A few words while something could not be sent."""

    def take(self, number: int, strike: TakenStrike, content: bytes, name: str) -> TakenStrike:
        """`strike` without its file."""

    def undo(self, number: int, key: str) -> None:
        """By the key that `take` gave."""

    def path_of(self, sha256: str) -> Path:
        """Of its sound."""

    def settle(self, number: int) -> None:
        """See the module."""


def strikes_of(register: Register) -> Strikes:
    """By where the register lies."""
    return Waiting(register) if isinstance(register.place, Server) else Direct(register)


def new_key() -> str:
    """Never given twice."""
    return uuid.uuid4().hex


class Direct:
    """Into the folder at once."""

    trouble: str | None = None

    def __init__(self, register: Register) -> None:
        self.register = register

    def take(self, number: int, strike: TakenStrike, content: bytes, name: str) -> TakenStrike:
        """File first, then both rows."""
        taken = replace(strike, file=self.register.files.keep_bytes(content, name), key=new_key())
        take(self.register, number, taken)
        return taken

    def undo(self, number: int, key: str) -> None:
        """At once."""
        undo(self.register, number, key)

    def path_of(self, sha256: str) -> Path:
        """In the folder."""
        return self.register.files.path_of(sha256)

    def settle(self, number: int) -> None:
        """Nothing ever waits."""


class Outbox:
    """Files of one bench that wait for one server, oldest first."""

    def __init__(self, register: Register) -> None:
        self.register, self.folder = register, register.folder / FOLDER
        (self.folder / FILES).mkdir(parents=True, exist_ok=True)
        self.sounds = FolderFiles(self.folder)
        self._one = threading.Lock()
        self.identity = register.identity

    def add(self, what: str, number: int, told: dict[str, Any]) -> None:
        """Flushed to the disk before this returns."""
        name = f"{time.time_ns():020d}-{told['key']}.json"
        document = {"what": what, "unfinished": number, "register": self.identity, **told}
        with plain_words(self.folder), whole_file(self.folder / name) as file:
            file.write(json.dumps(document).encode())
        flush_folder(self.folder)

    def waiting(self) -> list[Path]:
        """Oldest first."""
        return sorted(self.folder.glob("*.json"))

    def left(self, number: int) -> int:
        """Strikes of that recording that were not sent yet."""
        return self._left(number)[0]

    def _left(self, number: int) -> tuple[int, str]:
        left, what = 0, "tap"
        for path in self.waiting():
            with suppress(FileNotFoundError):
                told = json.loads(path.read_text(encoding="utf-8"))
                if (told["what"], told["unfinished"]) == ("take", number):
                    left += 1
                    what = "note" if told["strike"]["force"] is None else "tap"
        return left, what

    def left_words(self, number: int) -> str:
        """How many, taps or notes."""
        return counted(*self._left(number))

    def send(self, number: int | None = None) -> None:
        """Raises NotReached, and other trouble: the first of all, or of that recording alone."""
        stuck: dict[tuple[str | None, int], TapscanError] = {}
        with self._one:
            for path in self.waiting():
                with suppress(FileNotFoundError):  # another window of this bench has sent it
                    told = json.loads(path.read_text(encoding="utf-8"))
                    recording = (told["register"], told["unfinished"])
                    try:
                        if recording not in stuck:
                            self._send_one(path, told)
                    except NotReached:
                        raise
                    except TapscanError as problem:
                        stuck[recording] = problem
        for recording, trouble in stuck.items():
            if number is None or recording == (self.identity, number):
                raise trouble

    def _send_one(self, path: Path, told: dict[str, Any]) -> None:
        if told["register"] != self.identity:
            raise RegisterProblem(f"{path}: a tap waits here for another register than the one at {self.register.told}")
        if told["what"] == "undo":
            undo(self.register, told["unfinished"], told["key"])
            path.unlink()
            return
        strike = TakenStrike(**{**told["strike"], "file": KeptFile(**told["strike"]["file"])})
        sound = path_of(self.folder, strike.file.sha256)
        if sound.exists():
            try:
                self.register.files.keep_file(sound, strike.file.name)
            except RegisterProblem:
                path.stat()  # raises FileNotFoundError where another has sent it meanwhile and taken the sound away
                raise
        elif self.register.files.wrong(strike.file.sha256, strike.file.size_bytes):
            path.stat()
            raise RegisterProblem(f"{sound}: the sound of a tap at {strike.station} that waits to be sent is gone")
        take(self.register, told["unfinished"], strike)
        path.unlink()
        if not any(strike.file.sha256 in p.read_text(encoding="utf-8") for p in self.waiting()):
            sound.unlink(missing_ok=True)


class Waiting:
    """On this bench's disk first; a thread sends it."""

    def __init__(self, register: Register) -> None:
        self.register, self.outbox = register, Outbox(register)
        self.trouble: str | None = None
        self._number: int | None = None  # the recording that goes on
        self._something = threading.Event()
        self._thread: threading.Thread | None = None

    def take(self, number: int, strike: TakenStrike, content: bytes, name: str) -> TakenStrike:
        """Sound first, then the note that it waits."""
        file, key = self.outbox.sounds.keep_bytes(content, name), new_key()
        taken = replace(strike, file=file, key=key)
        self.outbox.add("take", number, {"key": key, "strike": to_builtins(taken)})
        self._wake(number)
        return taken

    def undo(self, number: int, key: str) -> None:
        """After the strike itself, in the order in which it was done."""
        self.outbox.add("undo", number, {"key": key})
        self._wake(number)

    def path_of(self, sha256: str) -> Path:
        """On this bench while it waits."""
        here = self.outbox.sounds.path_of(sha256)
        return here if here.exists() else self.register.files.path_of(sha256)

    def settle(self, number: int) -> None:
        """What cannot be sent stays here."""
        try:
            self.outbox.send(number)
        except NotReached as problem:
            left = self.outbox.left_words(number)
            raise NotReached(f"{problem} (not sent yet of this recording: {left}, kept on this computer)") from None
        self.trouble = None

    def _wake(self, number: int) -> None:
        self._number = number
        self._something.set()
        if self._thread is None or not self._thread.is_alive():
            self._thread = threading.Thread(target=self._send_on, name="tapscan-sends", daemon=True)
            self._thread.start()

    def _send_on(self) -> None:
        """As long as something waits; other trouble than a lost way is told by `settle` and by the next start."""
        while self._something.wait(IDLE_S):
            self._something.clear()
            try:
                self.outbox.send(self._number)
                self.trouble = None
            except NotReached:
                self.trouble = TROUBLE
                time.sleep(AGAIN_S)
                self._something.set()
            except (TapscanError, OSError) as problem:
                self.trouble = f"This is kept here and not sent: {problem}"


def send_waiting(register: Register) -> str | None:
    """Once, when a register is opened by a person."""
    if not isinstance(register.place, Server) or not any((register.folder / FOLDER).glob("*.json")):
        return None
    try:
        Outbox(register).send()
    except TapscanError as problem:
        return f"taps of a recording wait on this computer and could not be sent: {problem}"
    return None
