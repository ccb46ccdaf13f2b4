"""The survey: facts, plan and warnings from headers and a sparse sample."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from terrain.reading.dem import read_dem
from terrain.reading.survey import ReadOptions, survey_dem
from terrain.values.errors import RasterReadError, VerticalUnitError
from tests.terrain.conftest import NORTH, WEST, hills

Floats = NDArray[np.float32]
MakeDem = Callable[..., Path]


def test_facts_of_a_plain_raster(make_dem: MakeDem, ground: Floats) -> None:
    survey = survey_dem(make_dem(ground, nodata=-9999, blockysize=7))
    (facts,) = survey.files
    assert (facts.driver, facts.dtype, facts.rows, facts.cols) == ("GTiff", "float32", 60, 80)
    assert facts.nodata == -9999
    assert facts.block_rows == 7
    assert survey.vertical_unit == "m"
    assert survey.projection is None
    assert survey.place == pytest.approx((-105.0, 39.57), abs=0.01)
    assert survey.sample.low == pytest.approx(float(ground.min()), abs=0.01)
    assert survey.sample.high == pytest.approx(float(ground.max()), abs=0.1)
    assert survey.problems == ()


def test_the_grid_of_the_survey_is_that_of_the_reading(make_dem: MakeDem, ground: Floats) -> None:
    paths = [make_dem(ground, "a.tif"), make_dem(ground, "b.tif", west=WEST + 80)]
    survey_dem(paths).grid.require_same(read_dem(paths).raster.grid)
    degrees = make_dem(ground, "d.tif", crs="EPSG:4269", cell=1e-4, west=-104.5, north=39.6)
    survey_dem(degrees).grid.require_same(read_dem(degrees).raster.grid)


def test_a_cell_size_for_projected_degrees(make_dem: MakeDem, ground: Floats) -> None:
    degrees = make_dem(ground, crs="EPSG:4269", cell=1e-4, west=-104.5, north=39.6)
    assert survey_dem(degrees, ReadOptions(cell_m=5)).grid.cell_width_m == 5
    metric = survey_dem(make_dem(ground, "m.tif"), ReadOptions(cell_m=5))
    assert metric.grid.cell_width_m == 1
    assert any("the cell size asked for is not used" in n for n in metric.notes)


@pytest.mark.parametrize(
    ("cell", "text"),
    [(10.0, "headcuts cannot be seen"), (4.0, "about 12 to 20 m wide"), (1.0, None)],
)
def test_what_a_cell_size_can_show(
    make_dem: MakeDem, ground: Floats, cell: float, text: str | None
) -> None:
    notes = " ".join(survey_dem(make_dem(ground, cell=cell)).notes)
    if text is None:
        assert "Cells of" not in notes
    else:
        assert text in notes


def test_problems_are_named(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[:, :30] = 0
    z[:, 50:] = -9999
    survey = survey_dem(make_dem(z, nodata=-9999))
    assert any("of the cells looked at are exactly 0" in p for p in survey.problems)
    assert any("of the cells looked at hold no ground" in p for p in survey.problems)
    grey = np.clip(ground - 1500, 0, 255).astype(np.uint8)
    assert any("hillshade" in p for p in survey_dem(make_dem(grey, "grey.tif")).problems)
    far = [make_dem(ground, "a.tif"), make_dem(ground, "b.tif", west=WEST + 800)]
    assert any("cover only 18 %" in p for p in survey_dem(far).problems)


def test_a_place_where_the_system_is_not_used(make_dem: MakeDem, ground: Floats) -> None:
    survey = survey_dem(make_dem(ground, west=0, north=384, cell=5))
    assert survey.place is None
    assert any("places on the map will be wrong" in p for p in survey.problems)


def test_the_survey_stops_as_the_reading_does(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(VerticalUnitError):
        survey_dem(make_dem((ground / 0.3048).astype(np.float32)))
    steep = ground + 4 * np.arange(80, dtype=np.float32) % 2000
    with pytest.raises(VerticalUnitError, match="half of the ground would be steeper"):
        survey_dem(make_dem(steep, "steep.tif"))


def test_feet_in_a_later_tile_are_seen(make_dem: MakeDem, ground: Floats) -> None:
    paths = [make_dem(ground, "a.tif"), make_dem(ground + 5000, "b.tif", west=WEST + 80)]
    with pytest.raises(VerticalUnitError, match="look like feet"):
        survey_dem(paths)


def test_tiles_in_different_units_stop(make_dem: MakeDem, ground: Floats) -> None:
    paths = [
        make_dem(ground, "a.tif", units="m"),
        make_dem(ground, "b.tif", units="ft", west=WEST + 80),
    ]
    with pytest.raises(VerticalUnitError, match="do not say the same unit"):
        survey_dem(paths)


def test_only_a_little_is_read(make_dem: MakeDem) -> None:
    # Damage outside of the nine windows goes unseen here and is found by the reading.
    z = hills(900, 900) + np.random.default_rng(0).normal(0, 1, (900, 900)).astype(np.float32)
    path = make_dem(z, compress="deflate", blockysize=1)
    size = path.stat().st_size
    data = bytearray(path.read_bytes())
    data[size * 30 // 100 : size * 31 // 100] = bytes(size * 31 // 100 - size * 30 // 100)
    path.write_bytes(bytes(data))
    assert survey_dem(path).grid.shape == (900, 900)
    with pytest.raises(RasterReadError, match="damaged or cut short"):
        read_dem(path)


def test_a_void_first_tile_is_no_trouble(make_dem: MakeDem, ground: Floats) -> None:
    paths = [
        make_dem(np.full_like(ground, -9999), "a.tif", nodata=-9999),
        make_dem(ground, "b.tif", nodata=-9999, north=NORTH - 60),
    ]
    assert survey_dem(paths).sample.high is not None
    assert read_dem(paths).raster.valid_cells == ground.size


def test_a_picture_of_nothing_has_an_empty_sample(make_dem: MakeDem, ground: Floats) -> None:
    survey = survey_dem(make_dem(np.full_like(ground, -9999), nodata=-9999))
    assert survey.sample.high is None
    assert survey.sample.void_share == 1.0
