"""Where a register lies: a folder, or a PostgreSQL database that several benches share.

Server(url, folder)      the database's address, and this bench's own folder beside it
server_url(text)         whether a text is such an address; BadRequest for one that cannot be read
place_told(place)        how a place is told to a person, without any password
without_secrets(text, url)   a text in which nothing of the address is left that nobody should read

An address may hold a password. It is kept in memory alone: `repr`, errors, logs, notes and pages have `shown`.
"""

from pathlib import Path
from urllib.parse import parse_qsl, quote, unquote, urlencode, urlsplit, urlunsplit

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest

SCHEMES = ("postgresql", "postgres")
SECRET_WORDS = ("password", "sslpassword", "passfile")  # what libpq takes in an address beside the one before the @
EXAMPLE = "postgresql://bench@shop-server/tapscan"


class Server(Struct, frozen=True):
    """See the module. `folder` : of this bench, for strikes that wait, for copies of recordings, for its layouts and defaults."""

    url: str
    folder: Path

    def __repr__(self) -> str:
        return f"Server({self.shown!r}, {self.folder!r})"

    @property
    def shown(self) -> str:
        """Account, machine and database; no password, and nothing behind a question mark."""
        parts = urlsplit(self.url)
        account = f"{quote(unquote(parts.username))}@" if parts.username else ""
        return f"postgresql://{account}{_machine(self.url)}{parts.path}"

    @property
    def without_password(self) -> "Server":
        """For another computer, which has its own: in ~/.pgpass or PGPASSWORD."""
        parts = urlsplit(self.url)
        query = urlencode([(k, v) for k, v in parse_qsl(parts.query) if k not in SECRET_WORDS])
        account = f"{parts.username}@" if parts.username else ""
        return replace(self, url=urlunsplit((parts.scheme, account + _machine(self.url), parts.path, query, "")))


Place = Path | Server


def _machine(url: str) -> str:
    return urlsplit(url).netloc.rpartition("@")[2]


def server_url(text: str) -> bool:
    """Raises BadRequest, without the text: it may hold a password."""
    scheme, sign, _ = text.partition("://")
    if not sign:
        return False
    wrong = f"the register's address cannot be read; write it like {EXAMPLE}, signs other than letters and digits as %-codes"
    if scheme.partition("+")[0].lower() not in SCHEMES:
        raise BadRequest(f"{wrong}: only a folder or PostgreSQL holds a register")
    try:
        parts = urlsplit(text)
        readable = bool(parts.path.strip("/")) and (parts.port or True) and not parts.fragment
    except ValueError:
        readable = False
    if not readable:
        raise BadRequest(wrong)
    return True


def place_told(place: Place) -> str:
    """A folder with its whole path."""
    return place.shown if isinstance(place, Server) else str(place.absolute())


def without_secrets(text: str, url: str) -> str:
    """Each password of `url`, as it is typed and as it is meant, gives way to three dots."""
    parts = urlsplit(url)
    told = [parts.password or "", *(v for k, v in parse_qsl(parts.query) if k in SECRET_WORDS)]
    for secret in sorted({s for one in told for s in (one, unquote(one), quote(unquote(one), safe="")) if s}, key=len):
        text = text.replace(secret, "...")
    return text
