"""The report: one HTML file that opens offline, with its pictures, its turning view and its sources inside."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from castq import __version__
from castq.core.cautions import cautions_for
from castq.report import figures, tables
from castq.report.colours import VERDICTS
from castq.report.fields import WheelFields, scale_of, shown_fields
from castq.report.payload import viewer_payload
from castq.report.section import sections_png, verdict_sections_png
from castq.report.still import still_png
from castq.report.words import DASH, decisive, given, percent
from castq.screening.types import Comparison, Screening

# Fields drawn as half sections when the wheel has them, in this order.
SECTION_FIELDS: tuple[str, ...] = ("local_solidification_time_s", "porosity_pct", "elongation_pct")
STILL_FIELD = "local_solidification_time_s"

Wheels = Mapping[str, tuple[WheelFields, Screening]]


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("castq.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(png=_png_address, given=lambda value: given(value, ""), percent=percent)
    return environment


def _png_address(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def data_block(document: Mapping[str, Any]) -> Markup:
    """Return a document as JSON that cannot end the script element it stands in."""
    text = json.dumps(document, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))  # noqa: S704


def _script() -> tuple[Markup, str]:
    """Return the viewer's own code and the hash by which the page's policy allows it, and nothing else."""
    text = files("castq.report").joinpath("viewer.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return Markup(text), f"'sha256-{digest}'"  # noqa: S704


def _render(template: str, wheels: Wheels, **content: Any) -> str:
    script, digest = _script()
    allowed = digest if wheels else "'none'"
    policy = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src {allowed}"
    return (
        _environment()
        .get_template(template)
        .render(
            script=script if wheels else "",
            policy=f"{policy}; base-uri 'none'; form-action 'none'",
            viewer=data_block(viewer_payload(wheels)) if wheels else "",
            wheel_names=list(wheels),
            style=Markup(files("castq.report").joinpath("templates/report.css").read_text(encoding="utf-8")),  # noqa: S704
            version=__version__,
            looks=VERDICTS,
            dash=DASH,
            **content,
        )
    )


def _counts(screening: Screening) -> list[tuple[int, str]]:
    verdicts = [c.verdict for c in screening.checks]
    words = (("fails", "fail"), ("at risk", "at risk"), ("not decided", "not decided"), ("pass", "pass"))
    return [(verdicts.count(v), word) for v, word in words if verdicts.count(v)]  # type: ignore[arg-type]


def _section_pictures(fields: WheelFields, screening: Screening) -> list[tuple[str, bytes]]:
    names = [name for name in SECTION_FIELDS if name in fields.fields]
    pictures = [(f"{scale_of(name, fields).label} in half section", sections_png(fields, name)) for name in names]
    return [*pictures, ("Zones and their verdicts in half section", verdict_sections_png(fields, screening))]


def _still_name(fields: WheelFields) -> str:
    return STILL_FIELD if STILL_FIELD in fields.fields else shown_fields(fields)[0]


def screening_html(screening: Screening, fields: WheelFields | None = None, pictures: bool = True) -> str:
    """Return the report of one screening as one self-contained HTML document.

    Parameters
    ----------
    screening : Screening
        The result.
    fields : WheelFields, optional
        The shape with its results; without it the report has no picture of the shape.
    pictures : bool
        False for a report of words and tables only.

    Returns
    -------
    str
        HTML.
    """
    shown = fields if pictures and fields is not None and shown_fields(fields) else None
    wheels: Wheels = {screening.case.name: (shown, screening)} if shown else {}
    return _render(
        "screening.html",
        wheels,
        s=screening,
        look=VERDICTS[screening.verdict],
        counts=_counts(screening),
        decisive=decisive(screening),
        heads=tables.zone_heads(screening),
        groups=tables.zone_groups(screening),
        checks=tables.check_rows(screening),
        sources=tables.source_rows(screening.relations),
        settings=tables.setting_rows(screening.case),
        limits=figures.limits_png(screening) if pictures else None,
        freezing=figures.freezing_png(screening) if pictures else None,
        drivers=figures.drivers_png(screening) if pictures else None,
        sections=_section_pictures(shown, screening) if shown else [],
        stills=[still_png(shown, _still_name(shown))] if shown else [],
        cautions=tuple(dict.fromkeys((*screening.cautions, *cautions_for("screen")))),
    )


def comparison_html(
    comparison: Comparison,
    fields_a: WheelFields | None = None,
    fields_b: WheelFields | None = None,
    pictures: bool = True,
) -> str:
    """Return the report of A against B as one self-contained HTML document.

    Parameters
    ----------
    comparison : Comparison
        The result.
    fields_a, fields_b : WheelFields, optional
        The two shapes with their results; both are needed for pictures of the shapes.
    pictures : bool
        False for a report of words and tables only.

    Returns
    -------
    str
        HTML.
    """
    a, b = comparison.a, comparison.b
    wheels: dict[str, tuple[WheelFields, Screening]] = {}
    if pictures and fields_a is not None and fields_b is not None and shown_fields(fields_a, fields_b):
        wheels = {"A": (fields_a, a), "B": (fields_b, b)}
    return _render(
        "comparison.html",
        wheels,
        c=comparison,
        look=VERDICTS[comparison.verdict],
        sides=[("A", a, VERDICTS[a.verdict], _counts(a)), ("B", b, VERDICTS[b.verdict], _counts(b))],
        speaks=[("A", tables.strongest(comparison, "A better")), ("B", tables.strongest(comparison, "B better"))],
        grid=tables.difference_grid(comparison),
        differences=figures.differences_png(comparison) if pictures else None,
        limits=[(name, figures.limits_png(s)) for name, s in (("A", a), ("B", b))] if pictures else [],
        **_paired_pictures(wheels),
        sources=tables.source_rows((*a.relations, *b.relations)),
        settings=[(name, tables.setting_rows(s.case)) for name, s in (("A", a), ("B", b))],
        cautions=tuple(dict.fromkeys((*cautions_for("compare"), *a.cautions, *b.cautions))),
    )


def _paired_pictures(wheels: Wheels) -> dict[str, Any]:
    """Return sections and stills of both wheels on one colour scale."""
    if not wheels:
        return {"sections": [], "stills": []}
    both = [wheel for wheel, _ in wheels.values()]
    shared = [name for name in SECTION_FIELDS if name in shown_fields(*both)][:2]
    sections, stills = [], []
    for field in shared:
        scale = scale_of(field, *both)
        for name, (wheel, _) in wheels.items():
            title = f"Design {name}: {scale.label} in half section"
            sections.append((title, sections_png(wheel, field, scale, title)))
    scale = scale_of(shared[0] if shared else shown_fields(*both)[0], *both)
    for name, (wheel, _) in wheels.items():
        stills.append(still_png(wheel, scale.name, f"Design {name}: {scale.label} in the cut wheel", scale))
    return {"sections": sections, "stills": stills}
