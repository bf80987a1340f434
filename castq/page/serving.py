"""The server under the page: one process, closed to slow and half-finished requests."""

from __future__ import annotations

import asyncio
import logging
from typing import TYPE_CHECKING, Any, Final

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from castq.core.errors import input_error

if TYPE_CHECKING:
    from castq.page.settings import PageSettings

HEAD_S: Final = 10.0
KEEP_ALIVE_S: Final = 20
MOST_AT_ONCE: Final = 64
MOST_HEAD_BYTES: Final = 16_384
STOP_S: Final = 5


class TimedProtocol(H11Protocol):
    """HTTP whose connections are closed when the head of a request does not arrive in time."""

    head_s = HEAD_S
    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what came; wait on when it is the beginning of a head only."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
        elif self._head_timer is None and self.conn.trailing_data[0]:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing more."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._head_timer = self.loop.call_later(self.head_s, self.transport.close)

    def _stop_waiting(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None


def server_for(settings: PageSettings, protocol: type[TimedProtocol] = TimedProtocol) -> uvicorn.Server:
    """Return the server of a page, not yet running.

    Parameters
    ----------
    settings : PageSettings
        Book, names, address.
    protocol : type
        HTTP with its time limits.
    """
    from castq.page.app import build_app

    config = uvicorn.Config(
        build_app(settings), host=settings.host.strip("[]"), port=settings.port, http=protocol, ws="none",
        lifespan="off", log_config=None, access_log=False, server_header=False, proxy_headers=False,
        limit_concurrency=MOST_AT_ONCE, timeout_keep_alive=KEEP_ALIVE_S, timeout_graceful_shutdown=STOP_S,
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
    )  # fmt: skip
    # A request that cannot be read is answered; it is no event for those who watch the terminal.
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    return uvicorn.Server(config)


def serve(settings: PageSettings) -> None:
    """Serve a page until it is stopped with Ctrl-C.

    Parameters
    ----------
    settings : PageSettings
        Book, names, address.

    Raises
    ------
    InputError
        If the address is in use or not of this machine.
    """
    server = server_for(settings)
    try:
        socket = bound(settings.host.strip("[]"), settings.port)
    except OSError as error:
        raise input_error("address", f"{settings.host}:{settings.port}", f"cannot be served ({error.strerror})", "",
                          "choose another --port, or stop what is using it") from None  # fmt: skip
    with socket:
        server.run(sockets=[socket])


def bound(host: str, port: int) -> Any:
    """Return a socket that is bound to an address; unlike the server itself, it raises when that cannot be."""
    import socket

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
    except BaseException:
        made.close()
        raise
    return made
