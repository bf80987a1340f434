"""All pictures of a result, drawn once: for the report and as files beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from castq.report import figures
from castq.report.fields import describe, scale_of, shown_fields
from castq.report.section import sections_png, verdict_sections_png
from castq.report.solid_report import solid_pictures, solid_pictures_beside
from castq.report.still import still_png
from castq.screening.fields import WheelFields
from castq.screening.types import Comparison, Screening

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth

Pictures = dict[str, bytes]

# Fields drawn as half sections when the wheel has them, in this order.
SECTION_FIELDS: tuple[str, ...] = ("local_solidification_time_s", "sdas_um", "porosity_pct", "elongation_pct")
# Of these, the ones a comparison draws for both wheels.
PAIRED_FIELDS: tuple[str, ...] = ("local_solidification_time_s", "porosity_pct")


def screening_pictures(screening: Screening, fields: WheelFields | None, solid: SolidDepth | None = None) -> Pictures:
    """Return the pictures of a screening.

    Parameters
    ----------
    screening : Screening
        The result.
    fields : WheelFields or None
        The shape with its results, when there is one.
    solid : SolidDepth, optional
        The solved freezing of the shape, at solid depth.

    Returns
    -------
    dict of name to PNG
        `limits`, `freezing_order`, `drivers`, `section_<field>`, `section_verdict`, `wheel` and those of
        `solid_pictures`; those that there is something to draw for.
    """
    drawn: dict[str, bytes | None] = {
        "limits": figures.limits_png(screening),
        "freezing_order": figures.freezing_png(screening),
        "drivers": figures.drivers_png(screening),
    }
    if fields is not None and (shown := shown_fields(fields)):
        drawn |= {f"section_{name}": sections_png(fields, name) for name in SECTION_FIELDS if name in shown}
        drawn["section_verdict"] = verdict_sections_png(fields, screening)
        drawn["wheel"] = still_png(fields, _first(shown))
        drawn |= solid_pictures(screening, (fields, solid))
    return {name: png for name, png in drawn.items() if png is not None}


def comparison_pictures(
    comparison: Comparison,
    a: WheelFields | None,
    b: WheelFields | None,
    solids: tuple[SolidDepth | None, SolidDepth | None] = (None, None),
) -> Pictures:
    """Return the pictures of a comparison, both wheels on the same colour scales.

    Parameters
    ----------
    comparison : Comparison
        The result.
    a, b : WheelFields or None
        The two shapes with their results; both are needed for pictures of the shapes.
    solids : tuple of SolidDepth or None
        The solved freezing of both, at solid depth.

    Returns
    -------
    dict of name to PNG
        `differences`, `limits_a`, `limits_b`, `section_<field>_a` and `_b`, `wheel_a`, `wheel_b` and those of
        `solid_pictures_beside`.
    """
    drawn: dict[str, bytes | None] = {
        "differences": figures.differences_png(comparison),
        "limits_a": figures.limits_png(comparison.a),
        "limits_b": figures.limits_png(comparison.b),
    }
    if a is not None and b is not None and (shown := shown_fields(a, b)):
        pair = (("a", a), ("b", b))
        for name in (field for field in PAIRED_FIELDS if field in shown):
            scale = scale_of(name, a, b)
            for side, wheel in pair:
                drawn[f"section_{name}_{side}"] = sections_png(wheel, name, scale, _title(f"section_{name}_{side}"))
        scale = scale_of(_first(shown), a, b)
        for side, wheel in pair:
            title = f"Design {side.upper()}: {scale.label} in the cut wheel"
            drawn[f"wheel_{side}"] = still_png(wheel, scale.name, title, scale)
        drawn |= solid_pictures_beside((comparison.a, comparison.b), ((a, solids[0]), (b, solids[1])))
    return {name: png for name, png in drawn.items() if png is not None}


def _first(shown: tuple[str, ...]) -> str:
    return next((name for name in SECTION_FIELDS if name in shown), shown[0])


def _title(name: str) -> str:
    """Return the words for a section by the name of its picture."""
    field = name.removeprefix("section_")
    if field == "verdict":
        return "Zones and their verdicts in half section"
    side = field[-1].upper() if field.endswith(("_a", "_b")) else ""
    label = describe(field.removesuffix(f"_{side.lower()}") if side else field)[0]
    return f"Design {side}: {label} in half section" if side else f"{label} in half section"


def sections_of(pictures: Pictures) -> Iterator[tuple[str, bytes]]:
    """Yield title and PNG of each half section."""
    yield from ((_title(name), png) for name, png in pictures.items() if name.startswith("section_"))


def stills_of(pictures: Pictures) -> list[bytes]:
    """Return the still pictures of the cut wheel or wheels."""
    return [png for name, png in pictures.items() if name.startswith("wheel")]
