"""What solid depth adds to a report: its pictures by name, its player, and the files beside the page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from castq.report.fields import Scale, scale_of
from castq.report.solid_pictures import OPEN_SHARES, die_face_png, niyama_png, sequence_png
from castq.report.solid_tables import islands_csv, regions_csv
from castq.report.solid_zoom import region_pictures
from castq.report.timelapse import Front, TimeLapse, front_of, has_times, time_lapse
from castq.screening.fields import WheelFields
from castq.screening.types import Screening

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth
    from castq.screening.solid_records import SolidSummary

PREFIX = "solid_"
MOST_RISKS, MOST_RISKS_BESIDE = 3, 2
Shape = tuple["WheelFields | None", "SolidDepth | None"]


def joined(wheel: WheelFields, solid: SolidDepth | None) -> WheelFields:
    """Return a wheel with every solved field, those it has already kept as they are.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    solid : SolidDepth or None
        The solved depth; nothing is added without it.
    """
    return wheel if solid is None else replace(wheel, fields={**solid.fields, **wheel.fields})


def _solved(shape: Shape) -> tuple[WheelFields, SolidDepth] | None:
    """Return fields and solved depth where both are there and can be drawn."""
    wheel, solid = shape
    if wheel is None or solid is None:
        return None
    whole = joined(wheel, solid)
    return (whole, solid) if has_times(whole) else None


def solid_pictures(screening: Screening, shape: Shape) -> dict[str, bytes]:
    """Return the pictures of solid depth of one design.

    Parameters
    ----------
    screening : Screening
        The result.
    shape : tuple of WheelFields and SolidDepth
        The wheel with its fields, and the solved depth; nothing is drawn where either is None.

    Returns
    -------
    dict of name to PNG
        `solid_risk_<n>`, `solid_sequence`, `solid_niyama`, `solid_die_face`.
    """
    found = _solved(shape)
    if found is None or screening.solid is None:
        return {}
    wheel, solid = found
    drawn: dict[str, bytes | None] = {
        **region_pictures(wheel, solid, screening.solid, MOST_RISKS),
        "sequence": sequence_png(front_of(wheel, solid)),
        "niyama": niyama_png(wheel) if "niyama" in wheel.fields else None,
        "die_face": die_face_png(wheel) if "die_peak_c" in wheel.fields else None,
    }
    return {PREFIX + name: png for name, png in drawn.items() if png is not None}


def solid_pictures_beside(screenings: tuple[Screening, Screening], shapes: tuple[Shape, Shape]) -> dict[str, bytes]:
    """Return the pictures of solid depth of two designs, at the same times and on the same scales.

    Parameters
    ----------
    screenings : tuple of Screening
        The two results.
    shapes : tuple of (WheelFields, SolidDepth)
        Their shapes; nothing is drawn unless both were solved.

    Returns
    -------
    dict of name to PNG
        As `solid_pictures`, each name with `_a` or `_b`.
    """
    pair = [found for found in map(_solved, shapes) if found is not None]
    if len(pair) < 2:
        return {}
    wheels = [wheel for wheel, _ in pair]
    fronts = [front_of(wheel, solid) for wheel, solid in pair]
    times = tuple(sum(front.time_of_share(share) for front in fronts) / len(fronts) for share in OPEN_SHARES)
    scales = {
        name: scale_of(name, *wheels) for name in ("niyama", "die_peak_c") if all(name in w.fields for w in wheels)
    }
    sides = [
        _of_two(
            f"Design {side}: ",
            screening.solid,
            found,
            sequence_png(front, f"Design {side}: how the wheel freezes", times),
            scales,
        )
        for side, screening, found, front in zip("AB", screenings, pair, fronts, strict=True)
    ]
    kinds = dict.fromkeys(name for drawn in sides for name in drawn)
    both = (
        (f"{PREFIX}{kind}_{side}", drawn.get(kind)) for kind in kinds for side, drawn in zip("ab", sides, strict=True)
    )
    return {name: png for name, png in both if png is not None}


def _of_two(
    who: str,
    summary: SolidSummary | None,
    found: tuple[WheelFields, SolidDepth],
    sequence: bytes,
    scales: Mapping[str, Scale],
) -> dict[str, bytes | None]:
    """Return the pictures of one of two designs by their kind, on the scales of both."""
    wheel, solid = found
    drawn: dict[str, bytes | None] = {}
    if summary is not None:
        drawn |= region_pictures(wheel, solid, summary, MOST_RISKS_BESIDE, who)
    drawn["sequence"] = sequence
    if "niyama" in scales:
        drawn["niyama"] = niyama_png(wheel, scales["niyama"], f"{who}Niyama value along the way to the feeder")
    if "die_peak_c" in scales:
        drawn["die_face"] = die_face_png(wheel, scales["die_peak_c"], f"{who}how hot the die's face becomes")
    return drawn


def player(shapes: Mapping[str, Shape]) -> TimeLapse | None:
    """Return the player of the freezing front for the designs that were solved; None when none was.

    Parameters
    ----------
    shapes : mapping of name to (WheelFields, SolidDepth)
        Designs in the order of display.
    """
    fronts: dict[str, Front] = {}
    for name, shape in shapes.items():
        if (found := _solved(shape)) is not None:
            fronts[name] = front_of(*found)
    return time_lapse(fronts) if fronts else None


def titled(pictures: Mapping[str, bytes], risks: bool) -> Iterator[tuple[str, bytes]]:
    """Yield words and PNG of the pictures of solid depth: those of zones of risk, or the others."""
    words = {"sequence": "The freezing front at six times", "niyama": "Niyama value in half section",
             "die_face": "Peak temperature of the die's face"}  # fmt: skip
    for name, png in pictures.items():
        kind = name.removeprefix(PREFIX)
        if not name.startswith(PREFIX) or kind.startswith("risk") != risks:
            continue
        side = f"Design {kind[-1].upper()}: " if kind.endswith(("_a", "_b")) else ""
        bare = kind[:-2] if side else kind
        yield side + (f"Zone of risk {bare.rpartition('_')[2]}" if risks else words[bare]), png


def solid_files(screening: Screening, end: str = "") -> dict[str, str]:
    """Return the tables of solid depth as files by name; none at section depth.

    Parameters
    ----------
    screening : Screening
        The result.
    end : str
        What the names end in before `.csv`, for two designs in one folder.
    """
    if screening.solid is None:
        return {}
    return {
        f"islands{end}.csv": islands_csv(screening.solid),
        f"risk_regions{end}.csv": regions_csv(screening.solid),
    }
