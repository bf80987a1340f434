"""Words and tables of solid depth: what was solved, what the grid study says, places, and CSV that comes back whole."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import report_sample as sample
import solid_sample as solid

from castq.core.nomenclature import unit_of
from castq.report.solid_tables import ISLAND_COLUMNS, MOST_ROWS, REGION_COLUMNS, islands_csv, regions_csv, solid_view
from castq.report.solid_words import at_places, depth_words, grid_words, place_words, solved_words
from castq.report.tables import worst_zone
from castq.report.words import decisive
from castq.screening.solid_records import RegionRow
from castq.thermal.tool import Body, Circuit, Region, Ring, ToolParts


@pytest.fixture(scope="module")
def summary():
    return solid.shape()[1].summary


def test_the_paragraph_names_voxel_sector_cells_heat_die_and_cooling(summary) -> None:
    text = " ".join(solved_words(sample.case(), summary))
    for part in ("voxels of 6 mm", "one tenth, between two mirror planes", "7 837 cells of casting", "380 steps",
                 "1.4e-08", "2.1 K above all around it", "99.8\u00a0% of its surface", "the hub, taken as the gate",
                 "hot-work steel 1.2343", "a wall of 45 mm", "starting at 420 °C", "No cooling circuit"):  # fmt: skip
        assert part.replace(" of its surface", "") in text, part


def test_the_paragraph_names_circuits_and_what_stands_in_the_die(summary) -> None:
    case = sample.case()
    ring = Circuit("hub ring", Ring(60.0, 90.0, 10.0), "water", 4000.0, 30.0, ((20.0, 60.0), (80.0, 90.0)))
    chill = Body("copper chill", Region((0.0, 20.0), (0.0, 10.0)), case.tool.die)
    text = " ".join(solved_words(replace(case, parts=ToolParts(circuits=(ring,), bodies=(chill,))), summary))
    assert "hub ring (water, on 20 to 60 s, 80 to 90 s)" in text
    assert "In the die: copper chill (hot-work steel 1.2343)." in text


def test_the_grid_study_is_told_with_its_limits(summary) -> None:
    words = grid_words(summary.grid_study)
    assert "9 mm instead of 6 mm" in words and "2.1\u00a0% in the mean" in words
    assert "Two grids cannot show an order of convergence; 1 is assumed" in words
    assert "nothing here says how far" in grid_words(None)
    view = solid_view(sample.case(), summary)
    assert [row["difference"] for row in view.grid] == ["+2.0 %", "-2.0 %"]
    assert [row["index"] for row in view.grid] == ["± 4.0 %", "± 5.0 %"]
    assert solid_view(sample.case(), replace(summary, grid_study=None)).grid == []


def test_places_are_radius_height_and_angle(summary) -> None:
    row = RegionRow((0.0, -120.0, -0.2), "spoke", 4.0, "porosity_pct", 0.5, 1.2, "%", 0.0, 1.0, "gas")
    assert place_words(row) == "radius 120 mm, height 0 mm, angle 270°"
    assert depth_words(row) == "at the surface" and depth_words(replace(row, depth_mm=3.6)) == "4 mm"
    assert place_words(replace(row, centre_mm=(10.0, -1e-9, -35.0))) == "radius 10 mm, height −35 mm, angle 0°"
    view = solid_view(sample.case(), summary)
    assert len(view.regions) == 1
    assert view.regions[0]["where"].startswith("5 like places: radius ")
    assert view.regions[0]["volume"].startswith("5 × ")
    assert view.regions[0]["cause"].startswith("Island cut off at 3") and view.regions[0]["cause"].endswith("the spoke")
    assert view.islands[0]["choke"] == "spoke" and view.islands[0]["cut"].endswith(" s")


def test_long_tables_leave_the_rest_to_the_files(summary) -> None:
    base = summary.regions[0]
    many = tuple(replace(base, centre_mm=(20.0 * n, 0.0, 0.0)) for n in range(1, 14))
    view = solid_view(sample.case(), replace(summary, regions=many))
    assert len(view.regions) == MOST_ROWS and view.more_regions == 13 - MOST_ROWS
    assert len(regions_csv(replace(summary, regions=many)).splitlines()) == 14


def test_nothing_found_gives_empty_tables_and_dashes() -> None:
    view = solid_view(sample.case(), solid.summary_of())
    assert view.islands == [] and view.regions == []
    assert dict(view.facts)["Heaviest zone of risk"] == "–"
    assert dict(view.facts)["Liquid islands, every copy counted"] == "0"


def test_the_csv_files_come_back_as_they_went(summary) -> None:
    islands = pd.read_csv(io.StringIO(islands_csv(summary)))
    assert tuple(islands.columns) == ISLAND_COLUMNS
    np.testing.assert_allclose(islands["lack_cm3"], [row.lack_cm3 for row in summary.islands], rtol=1e-5)
    np.testing.assert_allclose(islands["angle_deg"], [row.angle_deg for row in summary.islands], rtol=1e-5)
    assert islands["choked_by"].tolist() == ["spoke"] * 5
    regions = pd.read_csv(io.StringIO(regions_csv(summary)))
    assert tuple(regions.columns) == REGION_COLUMNS
    assert regions["rank"].tolist() == [1, 2, 3, 4, 5]
    np.testing.assert_allclose(regions["worst"], [row.worst for row in summary.regions], rtol=1e-5)
    assert regions["cause"].tolist() == [row.cause for row in summary.regions]


def test_csv_text_never_becomes_a_formula(summary) -> None:
    bad = replace(summary, regions=(replace(summary.regions[0], cause='=cmd|"/c calc"!A1', zone="+1"),))
    back = pd.read_csv(io.StringIO(regions_csv(bad)))
    assert back["cause"][0].startswith("'=") and str(back["zone"][0]).startswith("'+")


def test_a_number_in_the_csv_names_its_unit() -> None:
    bare = {"number", "rank", "zone", "choked_by", "words", "quantity", "unit", "limit", "worst", "cause"}
    named = {*ISLAND_COLUMNS, *REGION_COLUMNS} - bare
    assert {name for name in named if unit_of(name) is None} == set()


def test_every_decisive_zone_says_limit_and_cause(summary) -> None:
    for screening in (sample.screening(), solid.screening()):
        for item in decisive(screening):
            assert item.cause, item.zone
            assert " at least " in item.limit or " at most " in item.limit
    told = {item.zone: item.cause for item in decisive(sample.screening())}
    assert told["spoke-rim junction"].startswith("Its way to feed metal, the spoke, closes too early")
    assert (
        "the median meets the limit" in told["outboard flange"]
        and "widest uncertainty: elongation law" in (told["outboard flange"])
    )
    zone = summary.regions[0].zone
    ours = [item for item in decisive(solid.screening(), 8) if item.zone == zone]
    assert all("island cut off" in item.cause.lower() for item in ours if "Yield" not in item.limit)


def test_the_worst_zone_is_the_one_that_decides() -> None:
    screening = sample.screening()
    assert screening.zones["zone"][worst_zone(screening)] == decisive(screening, 1)[0].zone == "spoke-rim junction"
    assert worst_zone(replace(screening, checks=())) == 0


def test_copies_are_told_with_their_angles(summary) -> None:
    from castq.report.solid_places import grouped

    words = at_places(grouped(summary.regions, 6.0)[0])
    assert words.startswith("5 like places: radius ") and words.count(",") == 6
    one = grouped(summary.regions[:1], 6.0)[0]
    assert at_places(one) == place_words(summary.regions[0])
