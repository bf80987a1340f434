"""What stands on each page: the words and figures that its template shows."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from castq import __version__
from castq.core.cautions import BANNER_SHORT, BY_COMMAND
from castq.materials import alloy_names
from castq.melt.chart_types import QUANTITIES
from castq.melt.chart_words import group_words
from castq.melt.types import Interval, Judgement, MeltTarget
from castq.page import desk
from castq.page.day_chart import DayChart, day_chart
from castq.page.fields import LINE_LETTERS, NOTE_LETTERS
from castq.page.forms import MOST_ROWS, STATES, SampleForm
from castq.page.settings import PageSettings
from castq.page.tokens import Ticket

STATIC: Final = {"page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8"}
# Class of the look and id of the sign that go with each answer; the word is always there too.
LOOKS: Final = {
    "cast": ("good", "sign-cast"),
    "degas": ("act", "sign-degas"),
    "hold and resample": ("open", "sign-hold"),
    "cannot reach": ("stop", "sign-stop"),
}
POUR_LOOKS: Final = {
    "may pour": ("good", "sign-cast"),
    "pour with care": ("act", "sign-care"),
    "do not pour": ("stop", "sign-stop"),
    "not comparable": ("open", "sign-hold"),
}
HEADINGS: Final = {"cast": "Cast", "degas": "Degas", "hold and resample": "Hold and resample",
                   "cannot reach": "Cannot reach the target"}  # fmt: skip
_LONGEST_MIN = 24 * 60.0


@dataclass(frozen=True, slots=True)
class Tile:
    """A figure that is read at arm's length, with what it means."""

    figure: str
    unit: str
    meaning: str
    first: bool = False


@dataclass(frozen=True, slots=True)
class Gauge:
    """A band against a limit, in per cent of the width [-]."""

    low: float
    middle: float
    high: float
    limit: float
    words: str


@cache
def static(name: str) -> bytes:
    """Return one of the page's own files."""
    return files("castq.page").joinpath("static", name).read_bytes()


@cache
def static_version(name: str) -> str:
    """Return a short hash of one of the page's own files: a new one makes a new address."""
    return hashlib.sha256(static(name)).hexdigest()[:12]


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("castq.page", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.globals.update(static_version=static_version, version=__version__, banner=BANNER_SHORT)
    environment.filters.update(places=lambda value, digits: f"{value:.{digits}f}", percent=percent, told=told,
                               short=lambda value: f"{value:g}",
                               furnace=lambda name: group_words(name, ""))  # fmt: skip
    return environment


def render(template: str, settings: PageSettings, **content: Any) -> str:
    """Return a page as HTML.

    Parameters
    ----------
    template : str
        Name of the template.
    settings : PageSettings
        For the clock.
    **content : Any
        What the template shows.
    """
    now = settings.time.now()
    return _environment().get_template(template).render(now=now, zone=zone_words(now), **content)


def zone_words(now: datetime) -> str:
    """Return the offset of the plant's clock as people write it, `UTC+01:00`."""
    offset = f"{now:%z}"
    return f"UTC{offset[:3]}:{offset[3:5]}"


def told(words: str) -> str:
    """Return words as a sentence: a capital first, one full stop at the end."""
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")


def percent(share: float) -> str:
    """Return a probability in whole percent, rounded down; counted in draws, it is never certain."""
    if share > 0.99:
        return "over 99 %"
    return f"{math.floor(100.0 * share + 1e-9)} %" if share >= 0.01 else "under 1 %"


def form_page(settings: PageSettings, form: SampleForm, ticket: Ticket, notice: str = "") -> str:
    """Return the page with the form of a sample.

    Parameters
    ----------
    settings : PageSettings
        Book, names and clock.
    form : SampleForm
        What was typed, and what is said of it.
    ticket : Ticket
        Ticket of this form.
    notice : str
        What is said above the form.
    """
    known = desk.furnaces(settings)
    values = form.filled.values
    chosen = values.get("alloy") or (settings.alloys[0] if len(settings.alloys) == 1 else "")
    return render(
        "sample.html", settings, form=form.filled, rows=form.rows, ticket=ticket, notice=notice, furnaces=known,
        alloys=tuple(dict.fromkeys((*settings.alloys, *alloy_names()))), alloy=chosen, states=STATES,
        furnace=values.get("furnace") or (known[0] if len(known) == 1 else ""),
        method=values.get("method") or "densities", most_rows=MOST_ROWS, people=desk.names_of(settings),
        clock_fault=desk.clock_fault(settings), letters={"line": LINE_LETTERS, "note": NOTE_LETTERS},
        first_wrong=next(iter(form.filled.errors), ""),
    )  # fmt: skip


def answer_page(
    settings: PageSettings, answered: desk.Answered, read: Sequence[tuple[str, str]], again: bool, ticket: Ticket
) -> str:
    """Return the page with the answer to a sample.

    Parameters
    ----------
    settings : PageSettings
        Book, target and clock.
    answered : Answered
        The answer.
    read : sequence of pairs
        Fields whose decimal comma was read, with how.
    again : bool
        True when the same was in the book already.
    ticket : Ticket
        For taking the entry back.
    """
    judgement, target = answered.judgement, settings.target
    furnace = answered.taken.entry.furnace
    samples = desk.last_day(settings, furnace)
    look, sign = LOOKS[judgement.answer] if judgement else ("open", "sign-hold")
    return render(
        "answer.html", settings, a=answered, j=judgement, target=target, look=look, sign=sign, read=read, again=again,
        heading=HEADINGS[judgement.answer] if judgement else "No answer",
        tiles=tiles(judgement, target) if judgement else (),
        gauge=gauge(judgement.hydrogen_ml_100g, target) if judgement else None,
        charts=charts(settings, furnace, samples, answered.taken.entry.sequence), samples=samples,
        moment=settings.time.shown(answered.moment), cautions=BY_COMMAND["melt"], pour_looks=POUR_LOOKS, ticket=ticket,
        entered_at=settings.time.shown(answered.taken.entry.entered_at), letters={"line": LINE_LETTERS},
    )  # fmt: skip


def day_page(settings: PageSettings) -> str:
    """Return the page with the samples of the last day, furnace by furnace."""
    samples = desk.last_day(settings)
    by_furnace = {name: [one for one in samples if one.entry.furnace == name]
                  for name in sorted({one.entry.furnace for one in samples})}  # fmt: skip
    drawn = {name: charts(settings, name, own, None) for name, own in by_furnace.items()}
    return render("day.html", settings, by_furnace=by_furnace, charts=drawn, clock_fault=desk.clock_fault(settings))


def message_page(settings: PageSettings, heading: str, sentences: Sequence[str]) -> str:
    """Return a page that only says something."""
    return render("message.html", settings, heading=heading, sentences=sentences)


def charts(
    settings: PageSettings, furnace: str, samples: Sequence[desk.Taken], shown: int | None
) -> tuple[DayChart, ...]:
    """Return the drawings of the last day of a furnace, one for each quantity that was measured.

    Parameters
    ----------
    settings : PageSettings
        Target and clock.
    furnace : str
        Name of the furnace.
    samples : sequence of Taken
        Its samples of the last day.
    shown : int or None
        Row of the sample that is marked out.
    """
    past = desk.drifts(settings, furnace)
    target = settings.target
    limits: Mapping[str, float | None] = {
        "density_index_pct": target.density_index_pct, "hydrogen_ml_100g": target.hydrogen_ml_100g,
    }  # fmt: skip
    drawn = (
        day_chart(samples, quantity, settings.time.now(), limit=limits[quantity.name], past=past.get(quantity.name),
                  shown=shown)
        for quantity in QUANTITIES
    )  # fmt: skip
    return tuple(chart for chart in drawn if chart is not None)


def tiles(judgement: Judgement, target: MeltTarget) -> tuple[Tile, ...]:
    """Return the figures of an answer.

    Parameters
    ----------
    judgement : Judgement
        The answer.
    target : MeltTarget
        What it was held against.
    """
    sure = f"{100 * target.sure:g} % sure"
    if judgement.answer == "degas":
        found = []
        if math.isfinite(judgement.minutes_sure):
            found.append(Tile(f"{math.ceil(judgement.minutes_sure)}", "min more", f"makes it {sure}", True))
        if judgement.minutes_median > 0.0:
            found.append(Tile(f"{math.ceil(judgement.minutes_median)}", "min more", "even odds"))
        return tuple(found)
    if judgement.answer == "hold and resample" and judgement.samples_needed is not None:
        count = judgement.samples_needed
        unit = "more sample" if count == 1 else "more samples"
        return (Tile(f"{count}", unit, "would decide if they come out alike", True),)
    if judgement.answer == "cast":
        kept = [clock for clock in judgement.clocks if clock.minutes_sure <= _LONGEST_MIN]
        odds = Tile(percent(judgement.probability_ok), "", "probability that the melt meets its target now", True)
        return (odds, *(Tile(f"{c.minutes_sure:.0f}", "min", f"it stays so, {sure}") for c in kept[:1]))
    return ()


def gauge(hydrogen: Interval, target: MeltTarget) -> Gauge:
    """Return the band of the melt's hydrogen against the target.

    Parameters
    ----------
    hydrogen : Interval
        Hydrogen of the melt [ml/100g].
    target : MeltTarget
        With its limit.
    """
    limit = target.hydrogen_ml_100g
    end = 1.25 * max(hydrogen.p90, limit)
    low, middle, high, at = (100.0 * value / end for value in (hydrogen.p10, hydrogen.median, hydrogen.p90, limit))
    words = (
        f"Hydrogen {hydrogen.median:.3f} ml/100 g, between {hydrogen.p10:.3f} and {hydrogen.p90:.3f} with 80 % "
        f"probability; target {limit:g}."
    )
    return Gauge(low, middle, high, at, words)
