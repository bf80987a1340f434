"""The shift's card: answers, clocks, samples, charts and pouring table on one A4 page, as HTML; pages of charts too."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from castq import __version__
from castq.core.cautions import BANNER, BANNER_SHORT, BY_COMMAND
from castq.core.errors import plain
from castq.melt.chart_types import ChartBook, GroupChart
from castq.melt.release import ReleaseRow, ReleaseTable
from castq.melt.sample_times import DAYS, MONTHS
from castq.melt.types import Clock, Judgement, Sample
from castq.report.colours import VERDICTS
from castq.report.melt_words import ANSWER_LOOKS, POUR_LOOKS, STATE_LOOKS, clock_words, pour_share, stands_words

# More does not fit on the page; what is left out is counted, and stands in the log book.
MOST_FURNACES: Final = 4
MOST_DESIGNS: Final = 8
MOST_CHARTS: Final = 3
# Lines that furnaces, designs and samples share below the charts.
_ROOM, _FURNACE_LINES = 20, 9
CARD_CAUTIONS: Final = (*BY_COMMAND["melt"], *BY_COMMAND["additions"])


@dataclass(frozen=True, slots=True)
class FurnaceAnswer:
    """What the card says of one furnace.

    Attributes
    ----------
    furnace : str
        Its name.
    judgement : Judgement or None
        The answer; None when there is none.
    refused : str
        Why there is none.
    at : datetime or None
        The moment of the answer.
    notes : tuple of str
        What has happened since the sample, or how old it is.
    clocks : tuple of Clock
        Clocks of the melt.
    table : ReleaseTable or None
        Which designs it may pour; None when that is not known.
    """

    furnace: str
    judgement: Judgement | None
    refused: str = ""
    at: datetime | None = None
    notes: tuple[str, ...] = ()
    clocks: tuple[Clock, ...] = ()
    table: ReleaseTable | None = None

    @property
    def look(self) -> str:
        """Look of the answer, a key of `VERDICTS`."""
        return "not decided" if self.judgement is None else ANSWER_LOOKS[self.judgement.answer][0]

    @property
    def word(self) -> str:
        """The answer in one or two words."""
        return "No answer" if self.judgement is None else ANSWER_LOOKS[self.judgement.answer][1]

    @property
    def words(self) -> str:
        """The answer in one sentence."""
        return self.refused if self.judgement is None else self.judgement.words

    def clock_lines(self) -> tuple[str, ...]:
        """Return the clocks in words."""
        return tuple(clock_words(clock, self.at) for clock in self.clocks) if self.at else ()


@dataclass(frozen=True, slots=True)
class SampleAnswer:
    """One sample of the shift with its answer.

    Attributes
    ----------
    row : int
        Row of the log book.
    sample : Sample
        The sample.
    judgement : Judgement or None
        Its answer, as of when it was taken; None when it was refused.
    """

    row: int
    sample: Sample
    judgement: Judgement | None


@dataclass(frozen=True, slots=True, eq=False)
class ShiftCard:
    """What stands on the card.

    Attributes
    ----------
    since, until : datetime
        The time it covers.
    book, head : str
        The log book, and the end of its chain.
    target : str
        What the melts must meet, in words.
    furnaces : tuple of FurnaceAnswer
        One each.
    samples : tuple of SampleAnswer
        Newest first.
    charts : tuple of GroupChart
        Charts to draw.
    grounds : tuple of str
        What the answers rest on.
    """

    since: datetime
    until: datetime
    book: str
    head: str
    target: str
    furnaces: tuple[FurnaceAnswer, ...]
    samples: tuple[SampleAnswer, ...]
    charts: tuple[GroupChart, ...]
    grounds: tuple[str, ...] = field(default=())

    @property
    def shown_samples(self) -> tuple[SampleAnswer, ...]:
        """Those for which the page has room."""
        shown = self.furnaces[:MOST_FURNACES]
        taken = _FURNACE_LINES * (max(len(shown) - 1, 0) // 2) + min(len(pour_lines(shown)), MOST_DESIGNS)
        return self.samples[: min(max(_ROOM - taken, 3), 10)]

    @property
    def title(self) -> str:
        """Day and hours in words."""
        until = self.until
        day = f"{DAYS[until.weekday()]} {until.day} {MONTHS[until.month - 1]} {until.year}"
        hours = (until - self.since).total_seconds() / 3600.0
        return f"Melt card, {day}, {hours:.3g} h to {until:%H:%M}"


def value(interval: Any, digits: int) -> str:
    """Return the middle of an interval, a dash for none."""
    return "-" if interval is None else f"{interval.median:.{digits}f}"


def sample_cells(one: SampleAnswer) -> tuple[str, ...]:
    """Return the cells of a sample's line: time, furnace, state, temperature, index, hydrogen, answer.

    Parameters
    ----------
    one : SampleAnswer
        The sample.

    Returns
    -------
    tuple of str
        Cells; a tilde stands before a hydrogen-equivalent, which is no measurement.
    """
    sample, answer = one.sample, one.judgement
    hydrogen = "-"
    if answer is not None:
        hydrogen = ("~" if answer.hydrogen_is_equivalent else "") + value(answer.hydrogen_ml_100g, 3)
    word = "refused" if answer is None else short_answer(answer)
    return (f"{sample.taken_at:%H:%M}", plain(sample.furnace, 20), sample.after or "-", f"{sample.melt_temp_c:.0f}",
            value(answer.density_index_pct if answer else None, 2), hydrogen, word)  # fmt: skip


SAMPLE_HEADS: Final = ("time", "furnace", "taken", "°C", "DI %", "H2 ml/100g", "answer")


def whole(value: float) -> int:
    """Return minutes rounded up."""
    return max(math.ceil(value - 1e-9), 0)


def short_answer(answer: Judgement) -> str:
    """Return an answer in a few words, for a table."""
    word = ANSWER_LOOKS[answer.answer][1]
    if answer.answer == "degas" and answer.minutes_sure < 24 * 60:
        return f"{word} {whole(answer.minutes_median)} min, {whole(answer.minutes_sure)} sure"
    return f"{word}: sample suspect" if answer.bad_sample else word


def sample_look(one: SampleAnswer) -> str:
    """Return the look of a sample's answer."""
    return "not decided" if one.judgement is None else ANSWER_LOOKS[one.judgement.answer][0]


@dataclass(frozen=True, slots=True)
class PourLine:
    """One design against the melt of each furnace: name, hydrogen it stands in words, and look and words for each."""

    design: str
    stands: str
    cells: tuple[tuple[str, str], ...]


def pour_lines(furnaces: Sequence[FurnaceAnswer]) -> list[PourLine]:
    """Return the pouring tables of several furnaces as one, a line for each design.

    Parameters
    ----------
    furnaces : sequence of FurnaceAnswer
        Furnaces, each with its table.

    Returns
    -------
    list of PourLine
        In the order of the first table.
    """
    tables = [furnace.table for furnace in furnaces]
    first = next((table for table in tables if table is not None), None)
    lines = []
    for row in first.rows if first else ():
        cells = []
        for table in tables:
            own = next((r for r in table.rows if r.design == row.design), None) if table else None
            cells.append(_pour_cell(own))
        lines.append(PourLine(plain(row.design, 60), stands_words(row.stands_ml_100g), tuple(cells)))
    return lines


def _pour_cell(row: ReleaseRow | None) -> tuple[str, str]:
    if row is None:
        return "not decided", "-"
    odds = "" if row.probability_ok != row.probability_ok else f", {pour_share(row.probability_ok)}"
    return POUR_LOOKS[row.answer], f"{row.answer}{odds}"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("castq.report", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters.update(png=_png_address, plain=plain)
    return environment


def _png_address(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def card_html(card: ShiftCard, picture: bytes | None) -> str:
    """Return the card as one self-contained HTML page that prints on one A4 sheet.

    Parameters
    ----------
    card : ShiftCard
        What stands on it.
    picture : bytes or None
        The charts as PNG; None when there is none.

    Returns
    -------
    str
        HTML.
    """
    shown = card.furnaces[:MOST_FURNACES]
    return _environment().get_template("melt_card.html").render(
        card=card, furnaces=shown, left_furnaces=len(card.furnaces) - len(shown), looks=VERDICTS, picture=picture,
        samples=[(sample_look(s), sample_cells(s), s.row) for s in card.shown_samples], heads=SAMPLE_HEADS,
        left_samples=len(card.samples) - len(card.shown_samples), pours=pour_lines(shown)[:MOST_DESIGNS],
        left_designs=max(0, len(pour_lines(shown)) - MOST_DESIGNS), cautions=CARD_CAUTIONS, banner=BANNER_SHORT,
        chart_words=[(STATE_LOOKS[c.state], c.words) for c in card.charts], version=__version__,
    )  # fmt: skip


def charts_html(charts: ChartBook, pictures: Sequence[bytes]) -> str:
    """Return the charts as one self-contained HTML page.

    Parameters
    ----------
    charts : ChartBook
        The charts, with their words.
    pictures : sequence of bytes
        PNG of each furnace.

    Returns
    -------
    str
        HTML.
    """
    groups = sorted(charts.groups, key=lambda g: (bool(g.shift), g.furnace, g.quantity.name))
    return _environment().get_template("melt_charts.html").render(
        groups=[(STATE_LOOKS[g.state], g) for g in groups], notes=charts.notes, pictures=pictures, looks=VERDICTS,
        banner=BANNER, version=__version__, cautions=BY_COMMAND["melt"],
    )  # fmt: skip
