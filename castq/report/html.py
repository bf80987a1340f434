"""The report: one HTML file that opens offline, with its pictures, its turning view and its sources inside."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from castq import __version__
from castq.core.cautions import cautions_for
from castq.report import tables
from castq.report.colours import VERDICTS
from castq.report.fields import shown_fields
from castq.report.hydrogen import NONE_WORDS, room_rows
from castq.report.payload import viewer_payload
from castq.report.pictures import Pictures, comparison_pictures, screening_pictures, sections_of, stills_of
from castq.report.solid_report import player, titled
from castq.report.solid_tables import solid_view
from castq.report.timelapse import TimeLapse
from castq.report.words import DASH, decisive, given, percent
from castq.screening.fields import WheelFields
from castq.screening.types import Comparison, Screening

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth

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


def _script(name: str) -> tuple[Markup, str]:
    """Return one of the page's own scripts and the hash by which its policy allows it, and nothing else."""
    text = files("castq.report").joinpath(name).read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return Markup(text), f"'sha256-{digest}'"  # noqa: S704


def _render(template: str, wheels: Wheels, lapse: TimeLapse | None, **content: Any) -> str:
    scripts: list[tuple[str, Markup, Markup]] = []
    allowed: list[str] = []
    parts = (("viewer-data", "viewer.js", viewer_payload(wheels) if wheels else None),
             ("lapse-data", "timelapse.js", lapse.payload() if lapse else None))  # fmt: skip
    for block, name, payload in parts:
        if payload is not None:
            text, digest = _script(name)
            scripts.append((block, data_block(payload), text))
            allowed.append(digest)
    hashes = " ".join(allowed) or "'none'"
    policy = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src {hashes}"
    return (
        _environment()
        .get_template(template)
        .render(
            scripts=scripts,
            policy=f"{policy}; base-uri 'none'; form-action 'none'",
            viewer=bool(wheels),
            lapse=lapse,
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


def screening_html(
    screening: Screening,
    fields: WheelFields | None = None,
    pictures: bool | Pictures = True,
    solid: SolidDepth | None = None,
) -> str:
    """Return the report of one screening as one self-contained HTML document.

    Parameters
    ----------
    screening : Screening
        The result.
    fields : WheelFields, optional
        The shape with its results; without it the report has no picture of the shape.
    pictures : bool or dict of name to PNG
        Pictures that are drawn already; True to draw them here, False for a report of words and tables only.
    solid : SolidDepth, optional
        The solved freezing of the shape, at solid depth.

    Returns
    -------
    str
        HTML.
    """
    shown = fields if pictures and fields is not None and shown_fields(fields) else None
    drawn = screening_pictures(screening, shown, solid) if pictures is True else pictures or {}
    wheels: Wheels = {screening.case.name: (shown, screening)} if shown else {}
    return _render(
        "screening.html",
        wheels,
        player({"": (shown, solid)}),
        solids=[solid_view(screening.case, screening.solid)] if screening.solid else [],
        risks=list(titled(drawn, True)),
        fronts=list(titled(drawn, False)),
        s=screening,
        look=VERDICTS[screening.verdict],
        counts=_counts(screening),
        decisive=decisive(screening),
        heads=tables.zone_heads(screening),
        worst=tables.worst_zone(screening),
        room=room_rows(screening.hydrogen_room),
        none_words=NONE_WORDS,
        groups=tables.zone_groups(screening),
        checks=tables.check_rows(screening),
        sources=tables.source_rows(screening.relations),
        settings=tables.setting_rows(screening.case),
        drawn=drawn,
        sections=list(sections_of(drawn)),
        stills=stills_of(drawn),
        cautions=tuple(dict.fromkeys((*screening.cautions, *cautions_for("screen")))),
    )


def comparison_html(
    comparison: Comparison,
    fields_a: WheelFields | None = None,
    fields_b: WheelFields | None = None,
    pictures: bool | Pictures = True,
    solids: tuple[SolidDepth | None, SolidDepth | None] = (None, None),
) -> str:
    """Return the report of A against B as one self-contained HTML document.

    Parameters
    ----------
    comparison : Comparison
        The result.
    fields_a, fields_b : WheelFields, optional
        The two shapes with their results; both are needed for pictures of the shapes.
    pictures : bool or dict of name to PNG
        Pictures that are drawn already; True to draw them here, False for a report of words and tables only.
    solids : tuple of SolidDepth or None
        The solved freezing of both, at solid depth.

    Returns
    -------
    str
        HTML.
    """
    a, b = comparison.a, comparison.b
    wheels: dict[str, tuple[WheelFields, Screening]] = {}
    if pictures and fields_a is not None and fields_b is not None and shown_fields(fields_a, fields_b):
        wheels = {"A": (fields_a, a), "B": (fields_b, b)}
    drawn = comparison_pictures(comparison, fields_a, fields_b, solids) if pictures is True else pictures or {}
    names, shown = ("Design A", "Design B"), (fields_a, fields_b) if wheels else (None, None)
    return _render(
        "comparison.html",
        wheels,
        player(dict(zip(names, zip(shown, solids, strict=True), strict=True))),
        solids=[solid_view(s.case, s.solid, name) for name, s in zip(names, (a, b), strict=True) if s.solid],
        risks=list(titled(drawn, True)),
        fronts=list(titled(drawn, False)),
        c=comparison,
        look=VERDICTS[comparison.verdict],
        sides=[("A", a, VERDICTS[a.verdict], _counts(a)), ("B", b, VERDICTS[b.verdict], _counts(b))],
        speaks=[("A", tables.strongest(comparison, "A better")), ("B", tables.strongest(comparison, "B better"))],
        grid=tables.difference_grid(comparison),
        drawn=drawn,
        sections=list(sections_of(drawn)),
        stills=stills_of(drawn),
        sources=tables.source_rows((*a.relations, *b.relations)),
        settings=[(name, tables.setting_rows(s.case)) for name, s in (("A", a), ("B", b))],
        cautions=tuple(dict.fromkeys((*cautions_for("compare"), *a.cautions, *b.cautions))),
    )


def page(template: str, **content: Any) -> str:
    """Return a page that has neither a turning view nor a time-lapse, as one self-contained HTML document.

    Parameters
    ----------
    template : str
        Name of the template.
    **content : Any
        What it shows.

    Returns
    -------
    str
        HTML.
    """
    return _render(template, {}, None, **content)
