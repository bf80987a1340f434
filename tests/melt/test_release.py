"""Which designs a melt may pour: both distributions integrated, what would help, and what is never claimed."""

from __future__ import annotations

import json
import time
from dataclasses import asdict, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from castq import __version__
from castq.core.errors import InputError
from castq.files.library import designs, keep
from castq.melt.designs import LEVELS, KeptDesign, KeptZone, share_met
from castq.melt.release import POINTS, ReleaseRow, melt_points, release
from castq.melt.types import Interval
from castq.screening.screen import screen
from castq.screening.types import Limit
from tests.screening.cases import wheel

PERCENT = np.arange(LEVELS) / (LEVELS - 1)
ALLOY = "AlSi7Mg0.3"


def zone(values: np.ndarray, name: str = "spoke", **changes: object) -> KeptZone:
    quantiles = tuple(float(v) for v in values)
    return replace(
        KeptZone(name, "spoke", "porosity_pct", 0.5, False, float(np.sum(values == 0.0)) / LEVELS, quantiles), **changes
    )


def design(values: np.ndarray | None = None, name: str = "wheel", **changes: object) -> KeptDesign:
    """A kept design whose draws of the limit have these quantiles (SYNTHETIC); one zone decides at every level."""
    values = np.full(LEVELS, 0.16) if values is None else values
    base = KeptDesign(
        name, ALLOY, datetime(2026, 5, 4, 12, tzinfo=UTC), __version__, "section", "pass", 1, 256, 0.12, 150.0, 1.0,
        "0" * 64, 0.4, tuple(float(v) for v in values), (0,) * LEVELS, (zone(values),),
    )  # fmt: skip
    return replace(base, **changes)


def normal_design(mean: float, sigma: float, name: str = "wheel") -> KeptDesign:
    levels = np.clip(PERCENT, 0.5 / 256, 1.0 - 0.5 / 256)
    return design(np.clip(mean + sigma * norm.ppf(levels), 0.0, 0.4), name)


def only(kept: KeptDesign, hydrogen: object, **changes: object) -> ReleaseRow:
    (row,) = release([kept], hydrogen, **{"alloy": ALLOY, **changes}).rows
    return row


def test_the_probability_integrates_both_distributions() -> None:
    # Two normal distributions: the difference is normal, so the probability has a closed form.
    for limit, melt in ((0.16, 0.12), (0.14, 0.14), (0.15, 0.17)):
        expected = norm.cdf((limit - melt) / np.hypot(0.015, 0.012))
        half = 0.012 * norm.ppf(0.9)
        by_interval = only(normal_design(limit, 0.015), Interval(melt, melt - half, melt + half)).probability_ok
        drawn = melt + 0.012 * np.random.default_rng(3).standard_normal(40_000)
        by_draws = only(normal_design(limit, 0.015), drawn).probability_ok
        assert by_interval == pytest.approx(expected, abs=0.006)
        assert by_draws == pytest.approx(expected, abs=0.006)


def test_a_melt_that_is_known_exactly_meets_what_the_draws_say() -> None:
    kept = design(np.where(PERCENT < 0.25, 0.10, 0.20))
    for hydrogen, expected in ((0.099, 1.0), (0.10, 1.0), (0.15, 0.755), (0.20, 0.755), (0.21, 0.0)):
        assert only(kept, [hydrogen]).probability_ok == pytest.approx(expected, abs=1e-12)


def test_the_share_met_is_that_of_the_draws_within_half_a_level() -> None:
    draws = np.sort(np.random.default_rng(1).gamma(20.0, 0.007, 256))
    quantiles = tuple(np.percentile(draws, 100.0 * PERCENT, method="lower"))
    tried = np.linspace(0.01, 0.3, 400)
    exact = np.array([np.mean(draws >= value) for value in tried])
    assert np.abs(share_met(quantiles, tried) - exact).max() < 0.0101


def test_the_answers_and_their_order() -> None:
    rows = release(
        [design(np.full(LEVELS, 0.11), "b tight"), design(np.full(LEVELS, 0.2), "z wide"),
         design(np.where(PERCENT < 0.3, 0.1, 0.2), "c between"), design(np.full(LEVELS, 0.2), "a wide"),
         design(name="no limit", zones=(), quantiles_ml_100g=(), deciding=())],
        Interval(0.15, 0.14, 0.16), alloy=ALLOY,
    ).rows  # fmt: skip
    assert [(row.design, row.answer) for row in rows] == [
        ("a wide", "may pour"), ("z wide", "may pour"), ("c between", "pour with care"), ("b tight", "do not pour"),
        ("no limit", "not comparable"),
    ]  # fmt: skip
    assert rows[0].degas_to_ml_100g is None and "may pour as far as this screening tells" in rows[0].words
    assert "to be 90 % sure, degas to" in rows[2].words and rows[2].degas_to_ml_100g < 0.10
    assert "sets no limit on porosity" in rows[4].words and np.isnan(rows[4].probability_ok)


def test_a_melt_degassed_to_the_level_named_does_with_the_certainty_asked_for() -> None:
    for sure in (0.8, 0.9, 0.95):
        kept, melt = normal_design(0.14, 0.01), Interval(0.20, 0.18, 0.23)
        target = only(kept, melt, sure=sure).degas_to_ml_100g
        share = target / melt.median
        after = Interval(target, share * melt.p10, share * melt.p90)
        assert only(kept, after, sure=sure).probability_ok >= sure
        higher = Interval(target + 0.006, share * melt.p10 + 0.006, share * melt.p90 + 0.006)
        assert only(kept, higher, sure=sure).probability_ok < sure


def test_where_shrinkage_alone_is_too_much_degassing_is_not_advised() -> None:
    row = only(design(np.where(PERCENT < 0.4, 0.0, 0.3)), Interval(0.12, 0.11, 0.13))
    assert row.degas_to_ml_100g is None and row.stands_ml_100g == 0.0
    assert "no hydrogen would do: shrinkage alone exceeds a limit in 39 % of the draws" in row.words
    assert "degas" not in row.words


def test_where_the_spread_of_the_melt_is_in_the_way_another_sample_is_asked_for() -> None:
    row = only(design(np.full(LEVELS, 0.16)), Interval(0.14, 0.10, 0.20))
    assert row.answer == "pour with care"
    assert "take another sample" in row.words and row.degas_to_ml_100g < 0.14
    assert "take another sample" not in only(design(np.full(LEVELS, 0.16)), Interval(0.19, 0.15, 0.25)).words
    wild = only(design(np.full(LEVELS, 0.10)), Interval(0.09, 0.05, 0.30))
    assert wild.degas_to_ml_100g is None and "take more samples" in wild.words


def test_another_alloy_is_told_and_never_poured_and_its_other_names_are_the_same_alloy() -> None:
    good = Interval(0.05, 0.05, 0.05)
    row = only(design(), good, alloy="AlSi11Mg")
    assert row.answer == "do not pour" and np.isnan(row.probability_ok) and row.degas_to_ml_100g is None
    assert "the melt is AlSi11Mg, this design was screened for AlSi7Mg0.3" in row.words
    assert _aliases()
    for alias in _aliases():
        assert only(design(), good, alloy=alias).answer == "may pour"
    assert only(design(alloy="Plant Mix 7"), good, alloy=" plant mix 7 ").answer == "may pour"


def _aliases() -> tuple[str, ...]:
    from castq.materials import alloy

    return alloy(ALLOY).aliases


def test_a_zone_that_is_not_decided_allows_no_more_than_care() -> None:
    unknown = zone(np.array([]), "hub", undecided="a relation behind it is used outside its range", shrinkage_alone=0.0)
    kept = design(zones=(zone(np.full(LEVELS, 0.3)), unknown), quantiles_ml_100g=(0.3,) * LEVELS)
    row = only(kept, Interval(0.10, 0.09, 0.11))
    assert row.answer == "pour with care" and row.probability_ok == 1.0
    assert "nothing is known of hub" in row.words and "every decided zone" in row.words
    assert row.zones[-1].undecided and np.isnan(row.zones[-1].stands_ml_100g)
    nothing = design(zones=(unknown,), quantiles_ml_100g=(), deciding=())
    assert only(nothing, Interval(0.10, 0.09, 0.11)).answer == "not comparable"


def test_a_gassy_melt_beyond_the_estimate_is_never_poured() -> None:
    assert only(design(np.full(LEVELS, 0.4)), Interval(0.45, 0.44, 0.46)).answer == "do not pour"


def test_what_else_to_know_stands_in_the_notes() -> None:
    kept = design(np.full(LEVELS, 0.4), verdict="fails", castq_version="0.0.1",
                  zones=(zone(np.full(LEVELS, 0.4), "hub", house_default=True),))  # fmt: skip
    notes = " | ".join(only(kept, [0.1]).notes)
    for words in ("says: fails", "kept by castq 0.0.1", "limits of hub are house defaults", "no further than 0.4"):
        assert words in notes
    assert only(design(), [0.1]).notes == ()
    row = only(kept, [0.1])
    assert row.answer == "pour with care" and row.words.endswith("its screening says: fails")


FINE = settings(max_examples=40, deadline=None)
LIMIT = st.lists(st.floats(0.0, 0.4), min_size=LEVELS, max_size=LEVELS).map(lambda v: design(np.sort(v)))


@FINE
@given(kept=LIMIT, hydrogen=st.floats(0.05, 0.4), more=st.floats(0.0, 0.2), spread=st.floats(0.0, 0.4))
def test_more_hydrogen_never_makes_a_design_more_likely(
    kept: KeptDesign, hydrogen: float, more: float, spread: float
) -> None:
    def odds(middle: float) -> float:
        return only(kept, Interval(middle, middle * (1 - spread), middle * (1 + spread))).probability_ok

    assert 0.0 <= odds(hydrogen + more) <= odds(hydrogen) + 1e-12 <= 1.0 + 1e-12


@FINE
@given(kept=LIMIT, a=st.floats(0.5, 0.99), b=st.floats(0.5, 0.99))
def test_more_certainty_never_stands_more_hydrogen_nor_allows_a_higher_melt(
    kept: KeptDesign, a: float, b: float
) -> None:
    low, high = sorted((a, b))
    first, second = (only(kept, Interval(0.15, 0.12, 0.19), sure=sure) for sure in (low, high))
    assert second.stands_ml_100g <= first.stands_ml_100g
    assert first.probability_ok == second.probability_ok
    if second.answer == "may pour":
        assert first.answer == "may pour"
    if first.degas_to_ml_100g is not None and second.degas_to_ml_100g is not None:
        assert second.degas_to_ml_100g <= first.degas_to_ml_100g


@FINE
@given(kept=LIMIT, lift=st.floats(0.0, 0.2), hydrogen=st.floats(0.05, 0.4))
def test_a_design_that_stands_more_in_every_draw_is_never_less_likely(
    kept: KeptDesign, lift: float, hydrogen: float
) -> None:
    better = design(np.asarray(kept.quantiles_ml_100g) + lift)
    assert only(better, [hydrogen]).probability_ok >= only(kept, [hydrogen]).probability_ok


@pytest.mark.parametrize(
    "hydrogen",
    [[], [0.1, float("nan")], [-0.1], [0.0], float("inf"), Interval(0.1, 0.2, 0.3), Interval(float("nan"), 0.1, 0.2),
     Interval(0.1, -0.1, 0.2)],
)  # fmt: skip
def test_hydrogen_that_cannot_be_is_refused_in_one_sentence(hydrogen: object) -> None:
    with pytest.raises(InputError, match="hydrogen") as caught:
        release([design()], hydrogen, alloy=ALLOY)
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize("sure", [0.0, 0.49, 0.995, 1.0, 90.0, float("nan")])
def test_a_certainty_that_the_draws_cannot_tell_is_refused(sure: float) -> None:
    with pytest.raises(InputError, match="sure"):
        release([design()], [0.1], alloy=ALLOY, sure=sure)


def test_points_of_a_melt_keep_its_median_and_its_band() -> None:
    points = melt_points(Interval(0.15, 0.11, 0.22))
    assert points.size == POINTS and (np.diff(points) >= 0).all() and points.min() > 0.0
    np.testing.assert_allclose(np.quantile(points, [0.1, 0.5, 0.9]), [0.11, 0.15, 0.22], atol=5e-4)
    assert set(melt_points(Interval(0.1, 0.1, 0.1))) == {0.1}


def test_nothing_claims_a_release_or_compliance_and_the_plants_rules_come_first() -> None:
    rows = [design(name="a"), design(np.where(PERCENT < 0.3, 0.1, 0.2), "b"), design(np.full(LEVELS, 0.1), "c")]
    table = release(rows, Interval(0.13, 0.12, 0.14), alloy=ALLOY)
    told = " ".join(
        [table.words, *(row.words for row in table.rows), *(note for row in table.rows for note in row.notes)]
    )
    for word in ("released", "release", "complian", "approved", "guarantee", "safe", "certif"):
        assert word not in told.lower()
    assert "release rules of your plant decide" in table.cautions[0]
    assert any("ranks options" in text for text in table.cautions)
    assert "1 of 3 designs as far as screening tells, and 1 with care" in table.words


def test_an_empty_library_says_what_to_do() -> None:
    table = release([], Interval(0.13, 0.12, 0.14), alloy=ALLOY)
    assert table.rows == () and "--keep" in table.words


def test_hostile_names_are_one_printable_line_in_the_words() -> None:
    nasty = "a\n\x1b[31m<script>" + "x" * 500
    row = only(design(zones=(zone(np.full(LEVELS, 0.1), nasty),), quantiles_ml_100g=(0.1,) * LEVELS, alloy=nasty),
               [0.2], alloy="x\x00y\n")  # fmt: skip
    assert row.words.isprintable() and len(row.words) < 300
    assert only(design(np.full(LEVELS, 0.1), zones=(zone(np.full(LEVELS, 0.1), nasty),)), [0.2]).words.isprintable()


@cache
def kept_wheels() -> tuple[KeptDesign, ...]:
    """Screened wheels through the library (SYNTHETIC)."""
    limits = (Limit("hub", "porosity_pct", "<=", 0.8, False), Limit("spoke", "porosity_pct", "<=", 0.5, False))
    with TemporaryDirectory() as folder:
        for spoke in (14.0, 18.0):
            keep(Path(folder), screen(wheel(spoke=spoke, limits=limits, name=f"spoke {spoke:g}"), draws=256))
        return designs(Path(folder)).designs


def test_a_thinner_spoke_stands_more_gas_and_the_library_carries_it_through() -> None:
    table = release(kept_wheels(), Interval(0.12, 0.11, 0.13), alloy=ALLOY)
    assert [row.design for row in table.rows] == ["spoke 14", "spoke 18"]
    assert table.rows[0].stands_ml_100g > table.rows[1].stands_ml_100g > 0.1
    assert {row.decides for row in table.rows} == {"spoke"}
    assert table.rows[0].zones[0].zone == "spoke"
    json.dumps(asdict(table), default=str)


def test_a_melt_against_two_hundred_designs_takes_less_than_a_second() -> None:
    many = [replace(kept, name=f"{kept.name} {i}") for i in range(100) for kept in kept_wheels()]
    began = time.process_time()
    table = release(many, np.random.default_rng(1).normal(0.15, 0.02, 4096), alloy=ALLOY)
    assert len(table.rows) == 200 and time.process_time() - began < 1.0
