"""The page at the furnace as an application: its addresses, and what each one does."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import parse_qsl

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from castq.core.errors import InputError, plain
from castq.files.logbook import Entry, StorageError
from castq.page import desk, views
from castq.page.fields import Filled
from castq.page.forms import MOST_ROWS, SampleForm, read_sample, rows_of, shown_again
from castq.page.guard import Guard
from castq.page.settings import PageSettings
from castq.page.tokens import COOKIE, Once, Tickets

_MOST_FIELDS = 80
_REMEMBERED = 500
# What a database holds as a whole number.
_MOST_ROWS = 2**63
_PRESET = ("furnace", "alloy", "entered_by")
_STALE = (
    "This page had been open since before it was started anew, so nothing was written. Your entries are still here: "
    "check them and press again."
)
_NOTHING = {
    400: ("This cannot be read", "What was sent is no form of this page; nothing was written."),
    404: ("There is nothing here", "No page has this address, and no sample this number."),
    405: ("Not this way", "This address is not used in this way; nothing was written."),
}


class Page:
    """What the addresses do; one for each application."""

    def __init__(self, settings: PageSettings) -> None:
        """Set up.

        Parameters
        ----------
        settings : PageSettings
            Book, target, names and clock.
        """
        self.settings, self.tickets, self.once = settings, Tickets(), Once()
        self._read: OrderedDict[int, list[tuple[str, str]]] = OrderedDict()

    def form(self, request: Request) -> Response:
        """Show an empty form, with what the address says of furnace, alloy and person."""
        preset = {name: request.query_params[name][:100] for name in _PRESET if name in request.query_params}
        return self._form(request, shown_again(preset))

    def post(self, request: Request, values: dict[str, str]) -> Response:
        """Read a form; write its sample and show the answer, or show what is wrong."""
        cookie = request.cookies.get(COOKIE)
        key = values.pop("key", "")
        if not self.tickets.fits(cookie, key, values.pop("token", "")):
            return self._form(request, shown_again(values), 403, _STALE)
        if values.get("do") == "row":
            more = {**values, "rows": str(min(rows_of(values) + 1, MOST_ROWS))}
            return self._form(request, shown_again(more))
        form = read_sample(values, self.settings.target, self.settings.time)
        if form.sample is None:
            return self._form(request, form, 422)
        return self._write(request, form, key)

    def _write(self, request: Request, form: SampleForm, key: str) -> Response:
        sample, again = form.sample, False

        def write() -> int:
            nonlocal again
            if sample is None:
                raise TypeError("a form without a sample is not written")
            row, again = desk.write_sample(self.settings, sample, form.entered_by)
            return row

        try:
            row = self.once.run(key, form.filled.values, write)
        except InputError as error:
            return self._form(request, replace(form, sample=None), 409, _not_written(error))
        self._remember(row, list(form.filled.read.items()))
        return RedirectResponse(f"/samples/{row}{'?again=1' if again else ''}", 303)

    def _remember(self, row: int, read: list[tuple[str, str]]) -> None:
        """Keep how decimal commas were read, to be shown beside the answer."""
        self._read.setdefault(row, read)
        while len(self._read) > _REMEMBERED:
            self._read.popitem(last=False)

    def answer(self, request: Request, row: int) -> Response:
        """Show the answer to a sample."""
        entry = self._sample(row)
        answered = desk.answered(self.settings, entry)
        browser = self.tickets.browser(request.cookies.get(COOKIE))
        again = request.query_params.get("again") == "1"
        text = views.answer_page(self.settings, answered, self._read.get(row, []), again, self.tickets.new(browser))
        return _with_cookie(HTMLResponse(text), browser)

    def withdraw(self, request: Request, row: int, values: dict[str, str]) -> Response:
        """Take a sample out of what holds; its row stays in the book."""
        if not self.tickets.fits(request.cookies.get(COOKIE), values.get("key", ""), values.get("token", "")):
            return self._says("Nothing was taken back", ["This page had been open since before it was started anew.",
                                                         "Open the sample again and repeat it."], 403)  # fmt: skip
        form = Filled(values)
        name, reason = form.line("name", "your name"), form.line("reason", "the reason")
        if form.errors:
            return self._says("Nothing was taken back", list(form.errors.values()), 422)
        entry, book = self._sample(row), self.settings.book
        try:
            self.once.run(values["key"], {"taken back": f"{row}"}, lambda: book.withdraw(row, name, reason).sequence)
        except InputError as error:
            return self._says("Nothing was taken back", [_not_written(error)], 409)
        told = [f"Row {row} (furnace {entry.furnace}) no longer counts. It stays in the book, with your name and why.",
                "If a sample is missing now, enter it anew."]  # fmt: skip
        return self._says("Taken back", told)

    def day(self) -> Response:
        """Show the samples of the last day."""
        return HTMLResponse(views.day_page(self.settings))

    def _sample(self, row: int) -> Entry:
        if not 0 < row < _MOST_ROWS:
            raise HTTPException(404)
        try:
            entry = self.settings.book.entry(row)
        except StorageError:
            raise
        except InputError:
            raise HTTPException(404) from None
        if entry.kind != "sample":
            raise HTTPException(404)
        return entry

    def _form(self, request: Request, form: SampleForm, status: int = 200, notice: str = "") -> Response:
        browser = self.tickets.browser(request.cookies.get(COOKIE))
        text = views.form_page(self.settings, form, self.tickets.new(browser), notice)
        return _with_cookie(HTMLResponse(text, status), browser)

    def _says(self, heading: str, sentences: Sequence[str], status: int = 200) -> Response:
        return HTMLResponse(views.message_page(self.settings, heading, sentences), status)

    def trouble(self, _: Request, error: Exception) -> Response:
        """Say in one sentence why a page cannot be shown."""
        if isinstance(error, InputError):
            return self._says("The log book does not answer", [str(fault) for fault in error.faults], 503)
        status = error.status_code if isinstance(error, HTTPException) else 400
        heading, sentence = _NOTHING.get(status, _NOTHING[400])
        return self._says(heading, [sentence], status)


def _not_written(error: InputError) -> str:
    return "Nothing was written. " + "; ".join(plain(fault) for fault in error.faults)


def _with_cookie(response: Response, browser: str) -> Response:
    response.set_cookie(COOKIE, browser, max_age=30 * 86400, path="/", httponly=True, samesite="strict")
    return response


async def _values(request: Request) -> dict[str, str]:
    """Return the fields of a posted form; the first of each name holds."""
    try:
        text = (await request.body()).decode("ascii")
        fields = parse_qsl(text, keep_blank_values=True, max_num_fields=_MOST_FIELDS, errors="strict")
    except (UnicodeDecodeError, ValueError):
        raise HTTPException(400) from None
    values: dict[str, str] = {}
    for name, value in fields:
        values.setdefault(name, value)
    return values


def build_app(settings: PageSettings) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    settings : PageSettings
        Book, target, names and clock.
    """
    app, page = FastAPI(title="castq", docs_url=None, redoc_url=None, openapi_url=None), Page(settings)
    app.add_middleware(Guard, hosts=settings.host_values(), origins=settings.origins())
    for kind in (InputError, HTTPException):
        app.add_exception_handler(kind, page.trouble)
    shows: dict[str, Any] = {"methods": ["GET", "HEAD"], "response_class": HTMLResponse}

    async def post(request: Request) -> Response:
        return await run_in_threadpool(page.post, request, await _values(request))

    async def withdraw(request: Request, row: int) -> Response:
        return await run_in_threadpool(page.withdraw, request, row, await _values(request))

    def own(name: str) -> Response:
        if name not in views.STATIC:
            raise HTTPException(404)
        return Response(views.static(name), media_type=views.STATIC[name],
                        headers={"cache-control": "private, max-age=86400"})  # fmt: skip

    app.add_api_route("/", page.form, **shows)
    app.add_api_route("/samples", post, methods=["POST"])
    app.add_api_route("/samples/{row:int}", page.answer, **shows)
    app.add_api_route("/samples/{row:int}/withdraw", withdraw, methods=["POST"])
    app.add_api_route("/day", page.day, **shows)
    app.add_api_route("/own/{name}", own, **shows)
    return app
