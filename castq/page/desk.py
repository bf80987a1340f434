"""What the page shows of the book: the answer to a sample, the samples of the last day, the wheels, the drifts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from castq.core.errors import InputError, plain
from castq.files.library import designs
from castq.files.logbook import Entry
from castq.files.melt_book import FurnaceNow, check_clock, enter, furnace_now, furnaces_of
from castq.files.melt_frames import samples_frame
from castq.melt.chart_types import QUANTITIES, GroupChart
from castq.melt.charting import chart_samples
from castq.melt.judge import judge, melt_draws_of
from castq.melt.records import payload_of, record_of
from castq.melt.release import ReleaseTable, release
from castq.melt.types import Judgement, Kinetics, Sample
from castq.page.settings import PageSettings
from castq.physics.density_index import density_index

DAY = timedelta(hours=24)
# A sample that is older says nothing about the melt of now; common practice.
FRESH = timedelta(hours=4)
# Limits and drifts rest on so much of the past.
CHARTED = timedelta(days=60)
# The same values by the same person within this time are one sample, entered twice.
TWIN = timedelta(minutes=10)
_MOST_SHOWN = 60
_NEWEST = 200


@dataclass(frozen=True, slots=True)
class Taken:
    """A sample of the book with its measured values.

    Attributes
    ----------
    entry : Entry
        Row of the book.
    sample : Sample
        The record.
    at : datetime
        When it was taken, on the plant's clock.
    density_index_pct, hydrogen_ml_100g : float or None
        Mean density index [%] and mean reading [ml/100g]; none where not measured.
    """

    entry: Entry
    sample: Sample
    at: datetime
    density_index_pct: float | None
    hydrogen_ml_100g: float | None

    def value(self, quantity: str) -> float | None:
        """Return one of the two by the name of its quantity."""
        return self.density_index_pct if quantity == "density_index_pct" else self.hydrogen_ml_100g


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """The answer to a sample.

    Attributes
    ----------
    taken : Taken
        The sample.
    moment : datetime
        Of when the answer is.
    now : FurnaceNow
        What else the book holds of this melt.
    newest : bool
        True when no later sample of this furnace is in the book.
    stale : bool
        True when the newest sample is too old to tell of the melt of now.
    counts : bool
        False when the entry was corrected or taken back.
    judgement : Judgement or None
        The answer; none when there is none.
    refused : str
        Why there is none.
    wheels : ReleaseTable or None
        Which wheels it may pour; none when that is not known.
    no_wheels : str
        Why not.
    """

    taken: Taken
    moment: datetime
    now: FurnaceNow
    newest: bool
    stale: bool
    counts: bool
    judgement: Judgement | None
    refused: str
    wheels: ReleaseTable | None
    no_wheels: str


def write_sample(settings: PageSettings, sample: Sample, entered_by: str) -> tuple[int, bool]:
    """Add a sample to the book, unless it is there already.

    Parameters
    ----------
    settings : PageSettings
        Book and clock.
    sample : Sample
        The record, checked.
    entered_by : str
        Who enters it.

    Returns
    -------
    tuple
        Number of its row, and whether that was there before.
    """
    now = settings.time.now()
    payload = payload_of(sample)
    for entry in settings.book.entries("sample", sample.furnace, last=20):
        near = abs(entry.at - sample.taken_at) < TWIN and abs(entry.entered_at - now) < TWIN
        if near and entry.entered_by == entered_by and entry.payload == payload:
            return entry.sequence, True
    return enter(settings.book, [sample], entered_by, clock=settings.time.clock)[0].sequence, False


def taken(settings: PageSettings, entry: Entry) -> Taken:
    """Return a sample of the book with its measured values."""
    sample = record_of(entry.kind, entry.payload, entry.at)
    if not isinstance(sample, Sample):
        raise TypeError(entry.kind)
    index = [float(density_index(pair.in_air_g_cm3, pair.in_vacuum_g_cm3)) for pair in sample.pairs]
    read = [reading.hydrogen_ml_100g for reading in sample.readings]
    return Taken(entry, sample, settings.time.shown(entry.at), _mean(index), _mean(read))


def _mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if values else None


def last_day(settings: PageSettings, furnace: str | None = None) -> list[Taken]:
    """Return the samples of the last 24 hours, newest first."""
    since = settings.time.now() - DAY
    entries = settings.book.entries("sample", furnace, since=since)[-_NEWEST:]
    return sorted((taken(settings, entry) for entry in entries), key=lambda t: (t.at, t.entry.sequence), reverse=True)


def answered(settings: PageSettings, entry: Entry) -> Answered:
    """Return the answer to a sample: as of now when it is the newest of its furnace, else as of then.

    Parameters
    ----------
    settings : PageSettings
        Book, target and clock.
    entry : Entry
        Row of the sample.
    """
    one = taken(settings, entry)
    later = settings.book.entries("sample", entry.furnace, since=entry.at)
    newest = all((e.at, e.sequence) <= (entry.at, entry.sequence) for e in later)
    counts = any(e.sequence == entry.sequence for e in later)
    stale = newest and settings.time.now() - one.at > FRESH
    moment = max(settings.time.now(), one.at) if newest and not stale else one.at
    now = furnace_now(settings.book, entry.furnace, moment)
    samples = now.samples if counts and now.samples else (one.sample,)
    kinetics = _kinetics(settings, now)
    try:
        judgement = judge(samples, settings.target, kinetics, now.air, now=moment)
    except InputError as error:
        return Answered(one, moment, now, newest, stale, counts, None, _sentence(error), None, "")
    wheels, no_wheels = _wheels(settings, samples, kinetics, now, moment)
    return Answered(one, moment, now, newest, stale, counts, judgement, "", wheels, no_wheels)


def _kinetics(settings: PageSettings, now: FurnaceNow) -> Kinetics | None:
    """Return the calibration of a furnace: that of the book, else one handed in."""
    if now.kinetics is not None:
        return now.kinetics
    return next((k for k in settings.kinetics if k.furnace in ("", now.furnace)), None)


def _wheels(
    settings: PageSettings, samples: Sequence[Sample], kinetics: Kinetics | None, now: FurnaceNow, moment: datetime
) -> tuple[ReleaseTable | None, str]:
    if settings.designs is None:
        return None, "This page was started without a folder of screened designs."
    try:
        library = designs(settings.designs)
        if not len(library):
            return None, f"No screened design is kept in {plain(settings.designs.name)} yet."
        draws = melt_draws_of(samples, kinetics, now.air, now=moment)
        return release(library, draws.hydrogen_ml_100g, alloy=samples[-1].alloy), ""
    except InputError as error:
        return None, _sentence(error)


def _sentence(error: InputError) -> str:
    return "; ".join(str(fault) for fault in error.faults)


def drifts(settings: PageSettings, furnace: str) -> dict[str, GroupChart]:
    """Return the control charts of a furnace over the last weeks, by quantity; none with too few samples.

    Parameters
    ----------
    settings : PageSettings
        Book and clock.
    furnace : str
        Name of the furnace.
    """
    frame = samples_frame(settings.book, furnace, since=settings.time.now() - CHARTED)
    if not len(frame):
        return {}
    book = chart_samples(frame, by="furnace")
    names = [quantity.name for quantity in QUANTITIES]
    return {group.quantity.name: group for group in book.groups if group.quantity.name in names and group.baseline}


def names_of(settings: PageSettings) -> tuple[str, ...]:
    """Return who entered something lately, by name."""
    return tuple(sorted({entry.entered_by for entry in settings.book.entries("sample", last=_NEWEST)}))[:_MOST_SHOWN]


def furnaces(settings: PageSettings) -> tuple[str, ...]:
    """Return the furnaces that get a button."""
    return tuple(dict.fromkeys((*settings.furnaces, *furnaces_of(settings.book))))[:12]


def clock_fault(settings: PageSettings) -> str:
    """Return what is wrong with the clock of this machine, empty when nothing is."""
    try:
        check_clock(settings.book, settings.time.now())
    except InputError as error:
        return _sentence(error)
    return ""
