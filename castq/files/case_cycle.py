"""The production cycle of a case file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from castq.core.errors import Fault
from castq.core.toml_table import Table
from castq.files.case_cooling import THROUGHOUT_S
from castq.files.case_defaults import Default, fill
from castq.files.case_tables import read_quantities
from castq.thermal.tool import Cycle, ToolParts

# field of the record: (key, kind of quantity, lowest, highest in the kind's base unit)
CYCLE: Final[Mapping[str, tuple[str, str, float, float]]] = {
    "fill_s": ("fill", "time_s", 0.0, 120.0),
    "hold_s": ("hold", "time_s", 0.0, 1200.0),
    "freeze_s": ("freeze", "time_s", 0.0, 1800.0),
    "open_s": ("open", "time_s", 0.0, 1800.0),
    "spray_s": ("spray", "time_s", 0.0, 300.0),
    "close_s": ("close", "time_s", 0.0, 1800.0),
    "open_w_m2k": ("open_coefficient", "heat_transfer_w_m2k", 1.0, 500.0),
    "spray_w_m2k": ("spray_coefficient", "heat_transfer_w_m2k", 1.0, 10_000.0),
    "air_temp_c": ("air_temp", "temperature_c", -30.0, 200.0),
    "spray_temp_c": ("spray_temp", "temperature_c", 0.0, 200.0),
}
DEFAULTS: Final = (
    Default("cycle", "hold", "0 s", "gravity casting holds no pressure", ("gravity",)),
    Default("cycle", "fill", "10 s", "low-pressure wheels, 5 to 20 s"),
    Default("cycle", "open", "20 s", "taking the casting out; common practice"),
    Default("cycle", "spray", "0 s", "coated dies are not sprayed each shot; common practice"),
    Default("cycle", "close", "20 s", "until the next shot; common practice"),
    Default("cycle", "open_coefficient", "30 W/m2K", "still air and radiation; common practice"),
    Default("cycle", "spray_coefficient", "500 W/m2K", "die spray, 100 to 1000; common practice"),
    Default("cycle", "air_temp", "40 degC", "air around a hot die; common practice"),
    Default("cycle", "spray_temp", "60 degC", "spray warmed by the die; common practice"),
)
SHORTEST_CLOSED_S: Final = 5.0
# Ordinary length of a wheel cycle from shot to shot [s]: 3 to 8 minutes, with room; common practice.
ORDINARY_S: Final = (90.0, 900.0)


def read_cycle(top: Table, used: list[str], route: str) -> Cycle | None:
    """Return the production cycle, or None when the case has none or it is at fault.

    Parameters
    ----------
    top : Table
        The case file.
    used : list of str
        Receives the defaults taken.
    route : str
        "low-pressure" or "gravity".
    """
    table = top.table("cycle")
    if table is None:
        return None
    if route == "gravity" and table.has("hold"):
        table.fault("hold", "gravity casting holds no pressure", "", "remove it and put the time under freeze")
    table.require(("freeze",) if route == "gravity" else ("hold", "freeze"))
    before = len(table.faults)
    table = fill(table, DEFAULTS, used, route)
    values = read_quantities(table, CYCLE)
    table.close()
    if len(table.faults) > before or not {"hold", "freeze"} <= set(table.data):
        return None
    cycle = Cycle(**values)
    if cycle.closed_s < SHORTEST_CLOSED_S:
        found = f"the die opens {cycle.closed_s:g} s after pouring: nothing has frozen"
        wanted = f"fill, hold and freeze of {SHORTEST_CLOSED_S:g} s or more together"
        table.fault("freeze", found, wanted, "give the times of one shot")
    if cycle.length_s > THROUGHOUT_S:
        table.fault("", f"the cycle lasts {cycle.length_s:g} s", f"at most {THROUGHOUT_S:g} s", "check the units")
    return cycle


def check_cycle(tool: ToolParts, source: str) -> Iterator[Fault]:
    """Yield the circuits that are on when the cycle is over.

    Parameters
    ----------
    tool : ToolParts
        Circuits and cycle.
    source : str
        File name, for the message.
    """
    if tool.cycle is None:
        return
    for circuit in tool.circuits:
        off = circuit.on_s[-1][1]
        if tool.cycle.length_s < off < THROUGHOUT_S:
            found = f"is on until {off:g} s, after the cycle of {tool.cycle.length_s:g} s is over"
            place, mend = f"on of cooling '{circuit.name}'", "end it earlier, or lengthen the cycle"
            yield Fault(source, place, found, "times within one cycle", mend)


def cycle_warnings(tool: ToolParts) -> Iterator[str]:
    """Yield what is possible but out of the ordinary in the cycle.

    Parameters
    ----------
    tool : ToolParts
        Circuits and cycle.
    """
    low, high = ORDINARY_S
    if tool.cycle is not None and not low <= tool.cycle.length_s <= high:
        yield f"a cycle of {tool.cycle.length_s:g} s is unusual for a wheel, {low:g} to {high:g} s"
