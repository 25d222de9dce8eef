"""Requests as an attacker sends them: raw bytes where a well-behaved client would not do."""

import socket
from typing import Any


def raw(site: Any, text: bytes, wait_s: float = 10.0) -> bytes:
    """The first bytes of the answer to these bytes; empty where the connection was closed."""
    with socket.create_connection(("127.0.0.1", site.port), timeout=wait_s) as to:
        to.sendall(text)
        try:
            return to.recv(65536)
        except (TimeoutError, ConnectionResetError):
            return b""


def status(answer: bytes) -> int:
    return int(answer.split()[1]) if answer.startswith(b"HTTP/") else 0


def request(site: Any, line: str, *headers: str, body: bytes = b"", cookie: bool = True) -> int:
    """Status of a request written by hand."""
    told = [line, *headers, *([f"Cookie: tapscan={site.door.cookie}"] if cookie else []), "Connection: close"]
    return status(raw(site, "\r\n".join(told).encode("latin-1") + b"\r\n\r\n" + body))


def host(site: Any) -> str:
    return f"Host: 127.0.0.1:{site.port}"
