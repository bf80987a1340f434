"""What the page at the furnace is set up with: book, library, target, plant clock and the names it answers to."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from castq.core.clock import SYSTEM_CLOCK, WallClock
from castq.core.errors import input_error
from castq.melt.types import Kinetics, MeltTarget

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook

_NAME_LETTERS = 253
_HTTP_PORT = 80


@dataclass(frozen=True, slots=True)
class PlantTime:
    """The clock of the machine, read in the time zone of the plant.

    Attributes
    ----------
    zone : tzinfo or None
        Zone of the plant; none for that of the machine.
    clock : WallClock
        Tells the time.
    """

    zone: tzinfo | None = None
    clock: WallClock = SYSTEM_CLOCK

    def now(self) -> datetime:
        """Return the time now in the plant's zone."""
        return self.shown(self.clock())

    def shown(self, moment: datetime) -> datetime:
        """Return a moment as the clock on the plant's wall shows it."""
        return moment.astimezone(self.zone)

    def moments(self, day: date, at: time) -> tuple[datetime, ...]:
        """Return the moments at which the wall shows this: none or two where the clock is changed.

        Parameters
        ----------
        day, at : date, time
            What the wall shows.
        """
        found: list[datetime] = []
        for fold in (0, 1):
            wall = datetime.combine(day, at).replace(fold=fold)
            moment = (wall.astimezone() if self.zone is None else wall.replace(tzinfo=self.zone)).astimezone(UTC)
            if self.shown(moment).replace(tzinfo=None, fold=0) == wall.replace(fold=0) and moment not in found:
                found.append(moment)
        return tuple(self.shown(moment) for moment in found)


@dataclass(frozen=True, slots=True, eq=False)
class PageSettings:
    """Everything the page needs.

    Attributes
    ----------
    book : LogBook
        The open log book.
    designs : Path or None
        Folder of the screened designs; none for a page without the table of wheels.
    furnaces : tuple of str
        Furnaces that get a button, beside those in the newest rows of the book.
    alloys : tuple of str
        Alloys that come first among the buttons.
    target : MeltTarget
        What the melt must meet.
    kinetics : tuple of Kinetics
        Calibrations beside those in the book.
    time : PlantTime
        Clock and zone.
    host, port : str, int
        Address it is bound to.
    allowed_hosts : tuple of str
        Further names under which it may be asked.
    """

    book: LogBook
    designs: Path | None = None
    furnaces: tuple[str, ...] = ()
    alloys: tuple[str, ...] = ()
    target: MeltTarget = field(default_factory=MeltTarget)
    kinetics: tuple[Kinetics, ...] = ()
    time: PlantTime = field(default_factory=PlantTime)
    host: str = "127.0.0.1"
    port: int = 8321
    allowed_hosts: tuple[str, ...] = ()

    def host_values(self) -> frozenset[str]:
        """Return every value of the Host header that is answered."""
        own = ("127.0.0.1", "localhost", "[::1]", self.host) if is_loopback(self.host) else ()
        names = (*own, *(name.lower() for name in self.allowed_hosts))
        exact = {f"{name}:{self.port}" for name in names}
        # Browsers leave the usual port out.
        return frozenset(exact | set(names)) if self.port == _HTTP_PORT else frozenset(exact)

    def origins(self) -> frozenset[str]:
        """Return every Origin from which an entry is taken."""
        return frozenset(f"http://{value}" for value in self.host_values())


def is_loopback(host: str) -> bool:
    """Return whether an address is reached from this machine only."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def check_host_name(name: str) -> None:
    """Refuse what cannot be the name of a machine in an address line.

    Parameters
    ----------
    name : str
        Name or address, without port.

    Raises
    ------
    InputError
        If it holds anything but letters, digits, dots and hyphens, or stands for every address.
    """
    letters = name.replace("-", "").replace(".", "")
    fits = letters.isascii() and letters.isalnum() and len(name) <= _NAME_LETTERS
    six = name.startswith("[") and name.endswith("]") and _is_six(name[1:-1])
    if not (fits or six) or name == "0.0.0.0":  # noqa: S104
        raise input_error("--allow-host", name, "is no name of a machine", "the name or address that the tablet uses",
                          "write it without http:// and port, for example furnace-pc or 192.168.1.20")  # fmt: skip


def _is_six(text: str) -> bool:
    try:
        return not ipaddress.IPv6Address(text).is_unspecified
    except ValueError:
        return False
