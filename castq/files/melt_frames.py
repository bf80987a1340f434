"""The log book as tables: samples for charts, side-by-side pairs for studies, and treatments for fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.melt.defaults import air_level
from castq.melt.evidence import evidence_of
from castq.melt.fit import Run
from castq.melt.records import record_of
from castq.melt.types import Air, Sample, Treatment
from castq.physics.density_index import density_index

if TYPE_CHECKING:
    import pandas as pd

    from castq.files.logbook.book import LogBook

# A sample belongs to a treatment when it was taken this long before its start or after its end; common practice.
BEFORE, AFTER = timedelta(minutes=60), timedelta(minutes=30)
# Pairs taken within this time from one furnace are of one melt; common practice.
SIDE_BY_SIDE = timedelta(minutes=15)
# A fit rests on the newest so many.
MOST_TREATMENTS, MOST_SAMPLES = 200, 2000


def samples_frame(
    book: LogBook, furnace: str | None = None, since: datetime | None = None, until: datetime | None = None
) -> pd.DataFrame:
    """Return the samples of a book for charts, one row a sample.

    Parameters
    ----------
    book : LogBook
        The book.
    furnace : str, optional
        Only of this furnace.
    since, until : datetime, optional
        Only those taken from `since` on and before `until`.

    Returns
    -------
    DataFrame
        `sequence`, `at` with its offset, `furnace`, `after`, mean `density_index_pct` [%] and mean reading
        `hydrogen_ml_100g` [ml/100g], NaN where not measured.
    """
    frame = book.frame("sample", furnace, since, until, fields=("after", "pairs", "readings"))
    rows = len(frame)
    pairs = [(i, p["in_air_g_cm3"], p["in_vacuum_g_cm3"]) for i, own in enumerate(frame["pairs"]) for p in own or ()]
    readings = [(i, r["hydrogen_ml_100g"]) for i, own in enumerate(frame["readings"]) for r in own or ()]
    flat = np.array(pairs, dtype=float).reshape(-1, 3)
    frame["density_index_pct"] = _means(flat[:, 0], density_index(flat[:, 1], flat[:, 2]), rows)
    read = np.array(readings, dtype=float).reshape(-1, 2)
    frame["hydrogen_ml_100g"] = _means(read[:, 0], read[:, 1], rows)
    frame["at"] = _with_offset(frame["at"], frame["at_offset_s"].to_numpy())
    return frame[["sequence", "at", "furnace", "after", "density_index_pct", "hydrogen_ml_100g"]]


def _means(rows: NDArray[np.float64], values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    place = rows.astype(int)
    with np.errstate(invalid="ignore", divide="ignore"):
        sums = np.bincount(place, weights=values, minlength=count)
        return np.asarray(sums / np.bincount(place, minlength=count))


def _with_offset(utc: pd.Series[Any], offset_s: NDArray[np.int64]) -> pd.Series[Any]:
    """Return times with the offset they were given with: one zone for all where it is the same."""
    import pandas as pd

    def shifted(part: pd.Series[Any], seconds: int) -> pd.Series[Any]:
        zone = timedelta(seconds=int(seconds))
        return part.dt.tz_convert(_zone(zone))

    found = np.unique(offset_s)
    if len(found) <= 1:
        return shifted(utc, int(found[0]) if len(found) else 0)
    mixed = pd.Series(index=utc.index, dtype=object)
    for seconds in found.tolist():
        own = offset_s == seconds
        mixed[own] = shifted(utc[own], seconds).astype(object)
    return mixed


def _zone(offset: timedelta) -> Any:
    from datetime import timezone

    return timezone(offset)


def pairs_frame(book: LogBook, furnace: str | None = None) -> pd.DataFrame:
    """Return the repeats of a book: pairs and readings taken side by side from one melt, one row each.

    Parameters
    ----------
    book : LogBook
        The book.
    furnace : str, optional
        Only of this furnace.

    Returns
    -------
    DataFrame
        `melt`, `furnace`, `operator`, `density_index_pct` [%], `hydrogen_ml_100g` [ml/100g]; melts with one only are
        left out.
    """
    import pandas as pd

    frame = book.frame("sample", furnace, fields=("after", "pairs", "readings", "sampled_by"))
    frame = frame.sort_values(["furnace", "at"], kind="stable").reset_index(drop=True)
    after = frame["after"].fillna("")
    near = frame["at"].diff().le(pd.Timedelta(SIDE_BY_SIDE))
    alike = near & frame["furnace"].eq(frame["furnace"].shift()) & after.eq(after.shift())
    melts = (~alike).cumsum()
    rows = []
    for melt, name, by, pairs, readings in zip(
        melts, frame["furnace"], frame["sampled_by"], frame["pairs"], frame["readings"], strict=True
    ):
        operator = by or "not noted"
        rows += [(melt, name, operator, float(density_index(p["in_air_g_cm3"], p["in_vacuum_g_cm3"])), np.nan)
                 for p in pairs or ()]  # fmt: skip
        rows += [(melt, name, operator, np.nan, r["hydrogen_ml_100g"]) for r in readings or ()]
    table = pd.DataFrame(rows, columns=["melt", "furnace", "operator", "density_index_pct", "hydrogen_ml_100g"])
    counts = table.groupby("melt")[["density_index_pct", "hydrogen_ml_100g"]].transform("count")
    for name in counts.columns:
        table[name] = table[name].where(counts[name] > 1)
    return table.dropna(subset=list(counts.columns), how="all").reset_index(drop=True)


@dataclass(frozen=True, slots=True)
class Treated:
    """Treatments of one furnace with one rotor that can be learnt from.

    Attributes
    ----------
    furnace, rotor : str
        Which ones.
    runs : tuple of Run
        Treatments with hydrogen readings at two times at least.
    unused : int
        Treatments without [-].
    air_ml_100g : float
        Middle of the levels that these melts go to under their air [ml/100g].
    """

    furnace: str
    rotor: str
    runs: tuple[Run, ...]
    unused: int
    air_ml_100g: float


def treated(book: LogBook, furnace: str, rotor: str = "") -> Treated:
    """Return the treatments of a furnace and rotor with the hydrogen readings that belong to them.

    Parameters
    ----------
    book : LogBook
        The book.
    furnace : str
        Furnace.
    rotor : str
        Rotor; empty when the furnace has had one only.

    Returns
    -------
    Treated
        Treatments with their readings on castq's scale of alloy factors.

    Raises
    ------
    InputError
        If there is none, or several rotors and none is named.
    """
    all_own = [r for e in book.entries("treatment", furnace, last=MOST_TREATMENTS)
               if isinstance(r := record_of(e.kind, e.payload, e.at), Treatment)]  # fmt: skip
    rotors = sorted({t.rotor for t in all_own})
    if (rotor and rotor not in rotors) or not all_own:
        found = f"holds no treatment of furnace {furnace}" + (f" with rotor {rotor}" if rotor else "")
        raise input_error(book.name, "treatment", found, "", "enter treatments, with castq melt add treatment")
    if not rotor and len(rotors) > 1:
        raise input_error(book.name, "rotor", f"furnace {furnace} was treated with {len(rotors)} rotors", "one rotor",
                          f"name it with --rotor: {', '.join(name or 'none noted' for name in rotors)}")  # fmt: skip
    chosen = [t for t in all_own if t.rotor == (rotor or rotors[0])]
    samples = [r for e in book.entries("sample", furnace, last=MOST_SAMPLES)
               if isinstance(r := record_of(e.kind, e.payload, e.at), Sample) and r.readings]  # fmt: skip
    runs = [run for run in (_run(t, samples, chosen) for t in sorted(chosen, key=lambda t: t.started_at)) if run]
    level = float(np.median([air_level(_melt_temp(t, samples), _air(book, t)) for t in chosen]))
    return Treated(furnace, rotor or rotors[0], tuple(runs), len(chosen) - len(runs), level)


def _run(treatment: Treatment, samples: Sequence[Sample], others: Sequence[Treatment]) -> Run | None:
    """Return a treatment with its readings, none where they do not tell of two times."""
    start, end = treatment.started_at, treatment.started_at + timedelta(minutes=treatment.minutes)
    before = max([start - BEFORE, *(t.started_at + timedelta(minutes=t.minutes) for t in others
                                    if t.started_at < start)])  # fmt: skip
    after = min([end + AFTER, *(t.started_at for t in others if t.started_at > start)])
    points = []
    for sample in samples:
        if not before <= sample.taken_at <= after:
            continue
        minutes = min(max((sample.taken_at - start).total_seconds() / 60.0, 0.0), treatment.minutes)
        evidence = evidence_of([[sample]])
        sigma = float(evidence.reading_sigma_ml_100g[0] / np.sqrt(evidence.readings[0]))
        points.append((minutes, float(evidence.reading_ml_100g[0]), sigma))
    points.sort()
    if len({minutes for minutes, _, _ in points}) < 2:
        return None
    return Run(f"treatment {start:%Y-%m-%d %H:%M}", *(tuple(column) for column in zip(*points, strict=True)))


def _melt_temp(treatment: Treatment, samples: Sequence[Sample]) -> float:
    nearest = min(samples, key=lambda s: abs(s.taken_at - treatment.started_at), default=None)
    return 720.0 if nearest is None else nearest.melt_temp_c


def _air(book: LogBook, treatment: Treatment) -> Air | None:
    from castq.files.melt_book import air_at

    return air_at(book, treatment.started_at)
