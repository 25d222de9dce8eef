"""A phone is let in for one thing: recordings for one scan, or photos of one plate. Then, or after a while, it is out again.

    Invitations().make(plate, draft)     Invitation; `draft` None: photos
    Invitations().find(token)            raises UnknownName where it is over

The first phone that comes is the only one: the address in other hands is worth nothing any more.
"""

import secrets
import time
from threading import Lock

from msgspec import Struct, field

from tapscan.errors import UnknownName
from tapscan.page.events import Channel

PATIENCE_S = 15 * 60.0  # without anything sent
MOST_FILES = 60


class Invitation(Struct, eq=False):
    """`token` stands in the address, `change` on every file that is sent, `phone` in the cookie of the one that came first."""

    plate: str
    draft: str | None
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    change: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    phone: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    channel: Channel = field(default_factory=Channel)
    came: bool = False
    taken: int = 0
    over: bool = False
    until_s: float = field(default_factory=lambda: time.monotonic() + PATIENCE_S)

    def admit(self, cookie: str) -> bool:
        """Whether this phone may go on; the first one may, and gets the cookie."""
        if self.came:
            return secrets.compare_digest(cookie.encode(), self.phone.encode())
        self.came = True
        self.channel.say({"said": "A phone is here."})
        return True

    def took(self, name: str) -> None:
        """One file more."""
        self.taken += 1
        self.until_s = time.monotonic() + PATIENCE_S
        self.channel.say({"said": f"Taken in: {name} ({self.taken} so far).", "taken": self.taken})

    def end(self) -> None:
        """Nothing more is taken."""
        self.over = True
        self.channel.say({"said": "Done.", "taken": self.taken, "over": True}, last=True)


class Invitations:
    """Those that are open."""

    def __init__(self) -> None:
        self._lock, self._open = Lock(), dict[str, Invitation]()

    def make(self, plate: str, draft: str | None) -> Invitation:
        """A new one; the one before for the same plate ends."""
        made = Invitation(plate, draft)
        with self._lock:
            for old in [i for i in self._open.values() if i.plate == plate]:
                old.end()
                del self._open[old.token]
            self._open[made.token] = made
        return made

    def find(self, token: str) -> Invitation:
        """Raises UnknownName."""
        with self._lock:
            found = self._open.get(token)
            if found is not None and (found.over or time.monotonic() > found.until_s):
                del self._open[token]
                if not found.over:
                    found.end()
                found = None
        if found is None:
            raise UnknownName("This invitation is over. Ask for a new code on the computer.")
        return found
