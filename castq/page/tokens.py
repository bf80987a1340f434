"""That an entry comes from a form of this page, and that a form writes one row however often it is sent."""

from __future__ import annotations

import hmac
import re
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass

COOKIE = "castq-page"
_KEPT = 4096
_HEX = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Ticket:
    """What a form carries: a key of its own, and the proof that this page gave it to this browser."""

    key: str
    token: str


class Tickets:
    """Gives tickets out and checks them."""

    def __init__(self) -> None:
        self._secret = secrets.token_bytes(32)

    def browser(self, cookie: str | None) -> str:
        """Return the name of a browser: that of its cookie, or a new one."""
        return cookie if cookie and _HEX.fullmatch(cookie) else secrets.token_hex(16)

    def new(self, browser: str) -> Ticket:
        """Return a ticket for a form shown to a browser."""
        key = secrets.token_hex(16)
        return Ticket(key, self._proof(browser, key))

    def fits(self, cookie: str | None, key: str, token: str) -> bool:
        """Return whether this page gave this ticket to the browser with this cookie."""
        if not cookie or not _HEX.fullmatch(cookie) or not _HEX.fullmatch(key):
            return False
        return hmac.compare_digest(self._proof(cookie, key).encode(), token.encode("utf-8", "replace"))

    def _proof(self, browser: str, key: str) -> str:
        return hmac.new(self._secret, f"{browser} {key}".encode(), "sha256").hexdigest()


class Once:
    """Runs the writing of each form once; a second press gets the row of the first.

    A form that was filled in anew, with the same key, is another one: nothing that was typed is lost unseen.
    """

    def __init__(self) -> None:
        self._done: OrderedDict[str, int] = OrderedDict()
        self._lock = threading.Lock()

    def run(self, key: str, values: Mapping[str, str], write: Callable[[], int]) -> int:
        """Return the row of a form.

        Parameters
        ----------
        key : str
            Key of the form.
        values : mapping of field to text
            What was typed.
        write : callable
            Writes the row and returns its number; when it raises, nothing is remembered.
        """
        form = f"{key} {sorted(values.items())}"
        with self._lock:
            if form not in self._done:
                self._done[form] = write()
            while len(self._done) > _KEPT:
                self._done.popitem(last=False)
            return self._done[form]
