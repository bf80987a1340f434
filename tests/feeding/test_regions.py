"""Zones of risk on handmade fields: volume, place, depth, order and cause."""

import numpy as np
import pytest

from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.feeding.regions import Evidence, Part, risk_regions

SHAPE = (30, 12, 12)


def part(fraction=None):
    codes = np.ones(SHAPE, dtype=np.int8)
    codes[15:] = 2
    return Part(np.ones(SHAPE, dtype=np.float32) if fraction is None else fraction, 2.0, codes, ("left", "right"))


def two_spots():
    field = np.zeros(SHAPE, dtype=np.float32)
    field[3:6, 4:7, 4:7] = 1.5
    field[4, 5, 5] = 3.0
    field[14:20, 1:4, 3:6] = 2.0
    return field


def test_regions_know_volume_place_depth_and_values():
    big, small = risk_regions(two_spots(), 1.0, part())
    assert (big.volume_mm3, small.volume_mm3) == (54 * 8.0, 27 * 8.0)
    assert (big.zone, small.zone) == ("right", "left")
    assert big.zone_share == pytest.approx(5 / 6)
    # The grid ends at the part's surface: cell 1 lies 1.5 cells deep, cell 3 of x lies 3.5 cells deep.
    assert (big.depth_mm, small.depth_mm) == (pytest.approx(3.0), pytest.approx(7.0))
    assert small.worst == 3.0 and small.worst_place == (4, 5, 5)
    assert small.mean == pytest.approx((26 * 1.5 + 3.0) / 27)
    assert small.middle == pytest.approx((4.0, 5.0, 5.0))
    assert big.cause == "no single cause"


def test_low_values_are_a_risk_when_asked_for():
    (region,) = risk_regions(5.0 - two_spots(), 2.5, part(), above=False, least_mm3=0.0)
    assert (region.worst, region.worst_place, region.volume_mm3) == (2.0, (4, 5, 5), 8.0)


def test_weights_change_the_order_and_small_ones_are_left_out():
    first, _ = risk_regions(two_spots(), 1.0, part(), weight_by_zone={"left": 3.0})
    assert first.zone == "left"
    assert [r.zone for r in risk_regions(two_spots(), 1.0, part(), least_mm3=300.0)] == ["right"]
    assert risk_regions(two_spots(), 9.0, part()) == ()


def test_partly_filled_cells_count_by_their_metal():
    fraction = np.full(SHAPE, 0.75, dtype=np.float32)
    assert risk_regions(two_spots(), 1.0, part(fraction))[0].volume_mm3 == pytest.approx(0.75 * 54 * 8.0)


def test_unknown_values_are_no_risk():
    field = np.where(two_spots() > 0.0, np.float32(np.nan), np.float32(0.0))
    assert risk_regions(field, 1.0, part()) == ()
    assert risk_regions(field, -1.0, part(), above=False) == ()


def spot(value_in, value_out=0.0):
    return np.where(two_spots() > 0.0, value_in, value_out).astype(np.float32)


def test_island_is_named_with_its_time_and_its_choke():
    cutoff = np.full(SHAPE, 41.4, dtype=np.float32)
    cutoff[0] = 90.0
    cutoff[3:6, 4:7, 4:7] = 60.0
    gate = np.zeros(SHAPE, dtype=bool)
    gate[0] = True
    flooded = flood(cutoff, gate, spacing_mm=2.0)
    islands = find_islands(flooded, shrinkage_pct=5.0, cutoff_fs=0.7, least_mm3=0.0)
    regions = risk_regions(two_spots(), 1.0, part(), evidence=Evidence(islands=islands))
    assert [r.cause for r in regions] == ["no single cause", "island cut off at 41 s by the left"]


def test_flat_gradient_and_gas_are_named():
    flat = Evidence(niyama=spot(0.1, 2.0), gas_pct=spot(0.2), shrinkage_pct=spot(0.5))
    gassy = Evidence(niyama=spot(1.0), gas_pct=spot(0.4), shrinkage_pct=spot(0.1))
    both = Evidence(niyama=spot(0.1), gas_pct=spot(0.4), shrinkage_pct=spot(0.1))
    causes = [risk_regions(two_spots(), 1.0, part(), evidence=e)[0].cause for e in (flat, gassy, both)]
    assert causes == [
        "flat gradient on the way to the feeder", "gas", "gas and flat gradient on the way to the feeder",
    ]  # fmt: skip
