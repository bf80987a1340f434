"""The hydrogen that a design stands, for every output: rows for people, plain data for programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from castq.core.errors import plain
from castq.report.words import DASH, SIDE_SIGNS, given, label, number, percent
from castq.screening.room_records import HydrogenRoom, ZoneRoom

SHOWN = (0.90, 0.50)
NONE_WORDS = "none: no hydrogen would do, because shrinkage alone exceeds the limit in too many draws."


@dataclass(frozen=True, slots=True)
class RoomRow:
    """One zone and limit, or all zones together: hydrogen at 90 % and at 50 %, and what is to be said."""

    zone: str
    limit: str
    at_90: str
    at_50: str
    note: str
    decides: bool


def room_rows(room: HydrogenRoom | None) -> list[RoomRow]:
    """Return the table of the hydrogen that a design stands, least first, all zones together at the end.

    Parameters
    ----------
    room : HydrogenRoom or None
        From a screening.

    Returns
    -------
    list of RoomRow
        Empty when no zone has a limit on porosity.
    """
    if room is None or not room.zones:
        return []
    deciding = room.deciding(SHOWN)
    ordered = sorted(room.zones, key=lambda zone: (bool(zone.undecided), zone.at(), zone.at(0.5)))
    rows = [_row(zone, room, zone.zone in deciding) for zone in ordered]
    return [*rows, RoomRow("All zones together", "", *_texts(room, room), note=_together(room), decides=False)]


def _row(zone: ZoneRoom, room: HydrogenRoom, decides: bool) -> RoomRow:
    star = "*" if zone.house_default else ""
    limit = f"{label(zone.quantity)} {SIDE_SIGNS['<=']} {given(zone.limit_pct, '%')}{star}"
    if zone.undecided:
        return RoomRow(zone.zone, limit, DASH, DASH, f"not decided: {plain(zone.undecided)}", decides=False)
    note = f"shrinkage alone exceeds it in {percent(zone.shrinkage_alone)}" if zone.shrinkage_alone else ""
    return RoomRow(zone.zone, limit, *_texts(zone, room), note=note, decides=decides)


def _texts(held: ZoneRoom | HydrogenRoom, room: HydrogenRoom) -> tuple[str, str]:
    first, second = (_text(held.at(probability), room.reaches_ml_100g) for probability in SHOWN)
    return first, second


def _text(hydrogen_ml_100g: float, reaches_ml_100g: float) -> str:
    if hydrogen_ml_100g >= reaches_ml_100g:
        return f"{SIDE_SIGNS['>=']} {reaches_ml_100g:g}"
    return "none" if hydrogen_ml_100g == 0.0 else number(hydrogen_ml_100g)


def _together(room: HydrogenRoom) -> str:
    if not room.decided:
        return "no zone is decided"
    first, second = (plain(zone, 60) for zone in room.deciding(SHOWN))
    words = [f"{zone} decides at {percent(p)}" for zone, p in zip((first, second), SHOWN, strict=True) if zone]
    if first and first == second:
        words = [f"{first} decides"]
    left = list(dict.fromkeys(plain(zone.zone, 60) for zone in room.undecided))
    return ", ".join([*words, *([f"without {', '.join(left)}"] if left else [])])


def room_document(room: HydrogenRoom | None) -> dict[str, Any] | None:
    """Return the hydrogen that a design stands as plain data, as `schemas/screen.schema.json` describes it.

    Parameters
    ----------
    room : HydrogenRoom or None
        From a screening.

    Returns
    -------
    dict or None
        Numbers as they are, NaN where not decided; None when it was not worked out.
    """
    if room is None:
        return None
    names = [zone or None for zone in room.deciding(SHOWN)]
    return {
        "reaches_ml_100g": room.reaches_ml_100g,
        "all_zones": {**_numbers(room), "decides_at_90": names[0], "decides_at_50": names[1]},
        "zones": [
            {"zone": zone.zone, "role": zone.role, "quantity": zone.quantity, "limit_pct": zone.limit_pct,
             "house_default": zone.house_default, **_numbers(zone),
             "shrinkage_alone": None if zone.undecided else zone.shrinkage_alone,
             "undecided": zone.undecided}
            for zone in room.zones
        ],
    }  # fmt: skip


def _numbers(held: ZoneRoom | HydrogenRoom) -> dict[str, float]:
    return {f"at_{100 * p:.0f}_ml_100g": held.at(p) for p in SHOWN}
