"""What stands before every request: who may ask, how much may be sent, how long it may take, what goes out with it."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from castq.core.errors import plain

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES: Final = 16_384
MOST_QUERY: Final = 512
MOST_PATH: Final = 60
BODY_S: Final = 10.0
FORM_TYPE: Final = "application/x-www-form-urlencoded"
SECURITY_HEADERS: Final[Mapping[str, str]] = {
    "content-security-policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not `no-referrer`: with it a browser sends `Origin: null` even to its own page.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
LOG = logging.getLogger("castq.page")
_WORDS = {
    400: "This request cannot be understood.",
    403: "This entry did not come from this page, so nothing was written. Open the page anew and enter it there.",
    405: "This page is only read and posted to.",
    408: "The entry took too long to arrive; nothing was written. Try again.",
    411: "The length of the entry is not stated; nothing was written.",
    413: "The entry is too large; nothing was written.",
    414: "This address is too long.",
    415: "Only the form of this page is taken, no files; nothing was written.",
    421: "This page does not answer to that name. Use the address it was started with.",
    500: "A fault in castq; whether the entry was kept, the list of samples tells.",
}


class Guard:
    """ASGI middleware that lets through what the page itself would ask."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str], origins: frozenset[str], body_s: float = BODY_S) -> None:
        """Set up.

        Parameters
        ----------
        app : ASGIApp
            What is guarded.
        hosts, origins : frozenset of str
            Values of Host, and of Origin where something is posted, that are answered.
        body_s : float
            Longest time for an entry to arrive [s].
        """
        self.app, self.hosts, self.origins, self.body_s = app, hosts, origins, body_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        guarded = _Sending(send)
        refused = self._refused(scope)
        body = b""
        if not refused and scope["method"] == "POST":
            refused, body = await self._body(receive)
        if refused:
            await guarded.refuse(refused)
            return
        try:
            await self.app(scope, _again(body, receive), guarded)
        except Exception as error:
            LOG.error("internal fault, %s: %s", type(error).__name__, plain(error))
            LOG.debug("where it happened", exc_info=True)
            if not guarded.started:
                await guarded.refuse(500)

    def _refused(self, scope: Scope) -> int:
        """Return the status with which a request is refused by its head alone, 0 when it is not."""
        headers = _headers(scope)
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 421
        if scope["method"] not in {"GET", "HEAD", "POST"}:
            return 405
        if len(scope["query_string"]) > MOST_QUERY or len(scope["path"]) > MOST_PATH:
            return 414
        if scope["method"] == "POST":
            return self._post_refused(headers)
        return 400 if {"content-length", "transfer-encoding"} & set(headers) - _empty(headers) else 0

    def _post_refused(self, headers: dict[str, list[str]]) -> int:
        origins = headers.get("origin", [])
        from_here = headers.get("sec-fetch-site", ["same-origin"]) == ["same-origin"]
        if len(origins) != 1 or origins[0].lower() not in self.origins or not from_here:
            return 403
        if "transfer-encoding" in headers or "content-length" not in headers:
            return 411
        lengths = headers["content-length"]
        if len(lengths) != 1 or not (lengths[0].isascii() and lengths[0].isdigit()):
            return 400
        if len(lengths[0]) > 9 or int(lengths[0]) > MOST_BYTES:
            return 413
        kind = headers.get("content-type", [""])[0].partition(";")[0].strip().lower()
        return 0 if kind == FORM_TYPE else 415

    async def _body(self, receive: Receive) -> tuple[int, bytes]:
        """Return a status to refuse with, 0 for none, and what was sent."""
        body = b""
        try:
            async with asyncio.timeout(self.body_s):
                while True:
                    message = await receive()
                    if message["type"] != "http.request":
                        return 400, b""
                    body += message.get("body", b"")
                    if len(body) > MOST_BYTES:
                        return 413, b""
                    if not message.get("more_body", False):
                        return 0, body
        except TimeoutError:
            return 408, b""


class _Sending:
    """The way out: adds the headers that every answer carries."""

    def __init__(self, send: Send) -> None:
        self.send, self.started = send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            own = {name.lower() for name, _ in message.get("headers", [])}
            more = {"cache-control": "private, no-cache", **SECURITY_HEADERS}
            added = [(n.encode(), v.encode()) for n, v in more.items() if n.encode() not in own]
            message = {**message, "headers": [*message.get("headers", []), *added]}
        await self.send(message)

    async def refuse(self, status: int) -> None:
        body = (_WORDS[status] + "\n").encode()
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()),
                   (b"connection", b"close")]  # fmt: skip
        if status == 405:
            headers.append((b"allow", b"GET, HEAD, POST"))
        await self({"type": "http.response.start", "status": status, "headers": headers})
        await self({"type": "http.response.body", "body": body})


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1").strip())
    return found


def _empty(headers: dict[str, list[str]]) -> set[str]:
    """Return the name of the length header where it says that nothing follows."""
    return {"content-length"} if headers.get("content-length") == ["0"] else set()


def _again(body: bytes, receive: Receive) -> Receive:
    """Return a receiver that hands out what was read already, once, and then what comes."""
    handed: list[Any] = []

    async def once() -> Message:
        if handed:
            return await receive()
        handed.append(True)
        return {"type": "http.request", "body": body, "more_body": False}

    return once
