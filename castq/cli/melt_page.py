"""The command that serves the page for the furnace."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from castq.cli import melt_options as o
from castq.core.errors import input_error, plain

if TYPE_CHECKING:
    from datetime import tzinfo

    from castq.page.settings import PageSettings

DEFAULT_PORT = 8321
HOST = typer.Option("127.0.0.1", "--host", help="Address to serve on; another than 127.0.0.1 needs --allow-host.")
PORT = typer.Option(DEFAULT_PORT, "--port", min=1, max=65535, help="Port to serve on.")
ALLOW_HOST = typer.Option(
    [], "--allow-host", help="Name or address by which tablets ask for the page; may be repeated."
)
FURNACES = typer.Option(
    [], "--furnace", help="Furnace that gets a button; may be repeated. Those in the book have one."
)
ALLOYS = typer.Option([], "--alloy", help="Alloy that comes first among the buttons; may be repeated.")
ZONE = typer.Option("", "--zone", help="Time zone of the plant, Europe/Berlin; that of this machine when not given.")


def page(
    book: str = o.BOOK,
    designs: Path = o.DESIGNS,
    furnace: list[str] = FURNACES,
    alloy: list[str] = ALLOYS,
    target: str = o.TARGET,
    index_limit: str = o.INDEX_LIMIT,
    limit_pressure: str = o.LIMIT_PRESSURE,
    sure: str = o.SURE,
    calibration: Path | None = o.CALIBRATION,
    zone: str = ZONE,
    host: str = HOST,
    port: int = PORT,
    allow_host: list[str] = ALLOW_HOST,
) -> None:
    """Serve a page for tablet and phone at the furnace: enter a sample, read the answer, see the chart of today.

    Only this machine can reach it unless --host says otherwise. The log book is made when it is not there.

    Example: castq melt page --furnace 1 --furnace 2
    """
    try:
        from castq.page.serving import serve
        from castq.page.settings import PageSettings, PlantTime
    except ModuleNotFoundError as missing:
        raise input_error("castq melt page", "", f"needs the package '{missing.name}', which is not installed", "",
                          "install it with: pip install 'castq[shop]'") from None  # fmt: skip
    named = _hosts(host, allow_host)
    kinetics = o.kinetics_of(calibration)
    wanted = o.target_of(target, index_limit, limit_pressure, sure)
    plant, alloys = PlantTime(_zone(zone)), _alloys(alloy)
    with o.opened(book, create=True) as opened:
        settings = PageSettings(
            opened, designs, tuple(name.strip() for name in furnace if name.strip()), alloys, wanted,
            () if kinetics is None else (kinetics,), plant, host, port, named,
        )  # fmt: skip
        _tell(settings)
        serve(settings)


def _hosts(host: str, allowed: Sequence[str]) -> tuple[str, ...]:
    """Return the names under which the page answers, refusing an open address without any."""
    from castq.page.settings import check_host_name, is_loopback

    for name in allowed:
        check_host_name(name)
    if not is_loopback(host) and not allowed:
        mend = "add --allow-host with the name or address that the tablets use, for example --allow-host furnace-pc"
        raise input_error("--host", plain(host, 60), "opens the page to other machines", "", mend)
    return tuple(allowed)


def _zone(name: str) -> tzinfo | None:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise input_error("--zone", plain(name, 60), "is no time zone of this machine", "a name such as Europe/Berlin",
                          "check its spelling") from None  # fmt: skip


def _alloys(names: Sequence[str]) -> tuple[str, ...]:
    from castq.materials import alloy

    return tuple(alloy(name).id for name in names)


def _tell(settings: PageSettings) -> None:
    """Say where the page is, and who can reach it."""
    from castq.page.settings import is_loopback

    typer.echo(f"Log book: {settings.book.name}")
    if is_loopback(settings.host):
        shown = f"[{settings.host}]" if ":" in settings.host.strip("[]") else settings.host
        typer.echo(f"Page for the furnace: http://{shown}:{settings.port}/ (this machine only; Ctrl-C stops it)")
        return
    for name in settings.allowed_hosts:
        typer.echo(f"Page for the furnace: http://{name}:{settings.port}/ (Ctrl-C stops it)")
    typer.echo("castq: everyone in this network can read the page and enter samples, under any name, and what is sent "
               "is not encrypted; use it in a closed plant network only", err=True)  # fmt: skip


def add_commands(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("page")(page)
