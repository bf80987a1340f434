"""How long the melt desk takes on a year of samples, as a table: `python -m tests.bench.bench_melt`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from castq.files.logbook import open_book
from castq.files.logbook.entry import NewEntry
from castq.files.melt_book import furnace_now
from castq.files.melt_frames import samples_frame
from castq.melt.charting import chart_samples
from castq.melt.judge import judge, melt_draws_of
from castq.melt.release import release
from tests.report.test_melt_card import design

ROWS = 100_000
END = datetime(2026, 3, 1, tzinfo=UTC)


def fill(path: Path) -> None:
    """Write a year of samples of four furnaces."""
    rng = np.random.default_rng(1)
    index = 0.8 * np.exp(0.25 * rng.normal(size=ROWS))
    step = timedelta(days=365) / ROWS
    entries = [
        NewEntry("sample", {
            "furnace": str(i % 4 + 1), "alloy": "AlSi7Mg0.3", "melt_temp_c": 720.0, "after": "after treatment",
            "pairs": [{"in_air_g_cm3": 2.66, "in_vacuum_g_cm3": round(2.66 * (1 - float(index[i]) / 100), 5),
                       "test_pressure_mbar": 80.0}],
            "readings": [{"hydrogen_ml_100g": 0.09}] if i % 10 == 0 else [],
        }, "bench", END - timedelta(days=365) + i * step)
        for i in range(ROWS)
    ]  # fmt: skip
    with open_book(path) as book:
        book.append_many(entries)


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that the second of two calls takes."""
    work()
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def main() -> None:
    """Print the table."""
    designs = [design(f"wheel {i}", 0.10 + 0.002 * i) for i in range(30)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "melts.db"
        fill(path)

        def judged() -> object:
            with open_book(path, create=False) as book:
                state = furnace_now(book, "1", END)
            return judge(state.samples, None, state.kinetics, state.air, now=END)

        def charted() -> object:
            with open_book(path, create=False) as book:
                return chart_samples(samples_frame(book))

        def released() -> object:
            with open_book(path, create=False) as book:
                state = furnace_now(book, "1", END)
            draws = melt_draws_of(state.samples, state.kinetics, state.air, now=END)
            return release(designs, draws.hydrogen_ml_100g, alloy="AlSi7Mg0.3")

        words = ["melt", "judge", "--furnace", "1", "--alloy", "AlSi7Mg0.3", "--melt-temp", "720 degC", "--hydrogen",
                 "0.2 ml/100g"]  # fmt: skip
        process = [sys.executable, "-m", "castq", *words]
        rows = {
            "judge the newest melt": timed(judged), "chart all samples": timed(charted),
            "release 30 designs": timed(released),
            "castq melt judge, whole process": timed(lambda: subprocess.run(process, capture_output=True, check=False)),
        }  # fmt: skip
    print(f"book of {ROWS:,} rows")
    for name, seconds in rows.items():
        print(f"  {name:34} {seconds:6.2f} s")


if __name__ == "__main__":
    main()
