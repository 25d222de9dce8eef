"""Who may ask, and how much: stands before every page.

    Guard(app, Door)    the ASGI middleware
    Door                what is let in: hosts, key, sizes, patience

Only this computer's own names count as host (a foreign name that resolves to this computer is refused); every change comes from a page of ours
(Origin) and carries its token; the browser was opened with the key, which then lives in a cookie that other sites' pages never make it send.
"""

import asyncio
import hashlib
import hmac
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, parse_qsl

from msgspec import Struct, field
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "tapscan"
READS = ("GET", "HEAD")
FORM_BYTES = 200_000
PIECE_S = 20.0  # patience for the next piece of an upload
LONGEST_QUERY = 4000
MOST_FIELDS = 1000
DAYS_30_S = 30 * 86400
OLD_PAGE = "This page is not from this program, or too old: load it again, then do it once more."
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; img-src 'self' data: blob:; "
    "media-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


class Door(Struct, frozen=True):
    """`key` : nobody without it is let in; it comes once in the address and stays in a cookie."""

    hosts: frozenset[str]
    key: str
    sizes: Mapping[str, int] = field(default_factory=dict)  # most bytes of a body, by path; else FORM_BYTES

    @property
    def cookie(self) -> str:
        """What the browser keeps."""
        return self._made("cookie")

    @property
    def token(self) -> str:
        """What every change carries."""
        return self._made("change")

    def _made(self, what: str) -> str:
        return hmac.new(self.key.encode(), what.encode(), hashlib.sha256).hexdigest()


class TooMuch(Exception):
    """A body larger than is allowed, or slower."""


class Guard:
    """See the module."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await refused(scope, receive, _with_headers(send))
            return
        body = _Body(receive, self.most(scope))
        try:
            if scope["method"] == "POST" and not await self._told(scope, body, headers):
                await PlainTextResponse(OLD_PAGE, 403)(scope, receive, _with_headers(send))
                return
            await self.app(scope, body, _with_headers(send))
        except TooMuch as problem:
            await PlainTextResponse(str(problem), 413)(scope, receive, _with_headers(send))

    async def _told(self, scope: Scope, body: Receive, headers: Headers) -> bool:
        """Reads the form into the scope; whether it carries the token."""
        if headers.get("content-type", "").partition(";")[0].strip() != "application/x-www-form-urlencoded":
            return False
        pieces, more = [], True
        while more:
            message = await body()
            if message["type"] != "http.request":
                return False
            pieces.append(message.get("body", b""))
            more = message.get("more_body", False)
        try:
            pairs = parse_qsl(b"".join(pieces).decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS)
        except ValueError:
            return False
        scope["form"] = pairs
        return self._right(scope, dict(pairs).get("token", ""))

    def _right(self, scope: Scope, token: str) -> bool:
        return token.isascii() and hmac.compare_digest(token, self.token(scope))

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "").casefold()
        if host not in self.door.hosts or len(headers.getlist("host")) != 1:
            return PlainTextResponse("This address is not served here.", 421)
        if len(scope["query_string"]) > LONGEST_QUERY:
            return PlainTextResponse("The address is too long.", 414)
        if (answer := self.stranger(scope, headers)) is not None:
            return answer
        return None if scope["method"] in READS else self._change_refused(scope, headers, host)

    def stranger(self, scope: Scope, headers: Headers) -> Response | None:
        """What is answered to somebody who was not let in yet."""
        if (opened := self._opening(scope)) is not None:
            return opened
        if not hmac.compare_digest(cookie_in(headers), self.door.cookie):
            return PlainTextResponse(
                "Open this page with the address that `tapscan open` prints: it holds the key for this computer's browser.",
                403,
            )
        return None

    def token(self, scope: Scope) -> str:
        """What a change on this address carries."""
        return self.door.token

    def most(self, scope: Scope) -> int:
        """Only what is sent as a file may be large."""
        return self.door.sizes.get(scope["path"], FORM_BYTES) if scope["method"] == "PUT" else FORM_BYTES

    def _opening(self, scope: Scope) -> Response | None:
        """The key in the address becomes a cookie, and leaves the address."""
        keys = parse_qs(scope["query_string"].decode("latin-1")).get("key", [])
        if scope["path"] != "/" or scope["method"] != "GET" or not keys:
            return None
        if not hmac.compare_digest(keys[0].encode(), self.door.key.encode()):
            return PlainTextResponse("This key is not the one that `tapscan open` printed.", 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, self.door.cookie, max_age=DAYS_30_S, httponly=True, samesite="strict", path="/")
        return answer

    def _change_refused(self, scope: Scope, headers: Headers, host: str) -> Response | None:
        if scope["method"] not in ("POST", "PUT"):
            return PlainTextResponse("Pages are read or changed here, and nothing else.", 405)
        if headers.get("origin", "").casefold() != f"http://{host}":
            return PlainTextResponse("Changes come from a page of this program only.", 403)
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return PlainTextResponse("Changes come from a page of this program only.", 403)
        if scope["method"] == "PUT" and not self._right(scope, headers.get("x-token", "")):
            return PlainTextResponse(OLD_PAGE, 403)
        length, most = headers.get("content-length", ""), self.most(scope)
        if length and (not length.isdecimal() or int(length) > most):
            return PlainTextResponse(f"Too large: {_bytes(most)} are the most here.", 413)
        return None


def cookie_in(headers: Headers) -> str:
    """The page's own; empty where there is none that could be right."""
    try:
        kept = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    value = kept[COOKIE].value if COOKIE in kept else ""
    return value if value.isascii() else ""


def _bytes(most: int) -> str:
    return f"{most / 1e6:.0f} MB" if most >= 1e6 else f"{most / 1e3:.0f} kB"


class _Body:
    """Counts what comes, and does not wait for ever."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive, self._left, self._most, self._whole = receive, most, most, False

    async def __call__(self) -> Message:
        if self._whole:
            return await self._receive()  # waits for the other side to go
        try:
            message = await asyncio.wait_for(self._receive(), PIECE_S)
        except TimeoutError:
            raise TooMuch(f"Nothing came for {PIECE_S:.0f} seconds; send it again.") from None
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            self._whole = not message.get("more_body", False)
            if self._left < 0:
                raise TooMuch(f"Too large: {_bytes(self._most)} are the most here.")
        return message


def _with_headers(send: Send) -> Send:
    """What a page of ours tells the browser; a page may have set a stricter or other one of its own."""

    async def wrapped(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return wrapped
