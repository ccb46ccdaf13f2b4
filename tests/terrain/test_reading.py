"""Reading elevation rasters: metres, a mask and a metric grid, or one clear line of why not."""

from __future__ import annotations

import hashlib
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.errors import NotGeoreferencedWarning

from terrain.reading.dem import DemReading, part_of_grid, read_dem
from terrain.reading.survey import ReadOptions
from terrain.values.errors import (
    CrsError,
    GridMismatchError,
    MemoryNeedError,
    ParameterError,
    RasterReadError,
    VerticalUnitError,
)
from tests.terrain.conftest import NORTH, WEST, hills

Floats = NDArray[np.float32]
MakeDem = Callable[..., Path]


def said(reading: DemReading) -> str:
    return " ".join(reading.notes)


# --- plain reading -------------------------------------------------------------------------------


def test_a_plain_raster_comes_back_as_it_is(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    reading = read_dem(path)
    np.testing.assert_array_equal(reading.raster.elevation_m, ground)
    assert reading.raster.valid.all()
    grid = reading.raster.grid
    assert grid.transform == Affine(1, 0, WEST, 0, -1, NORTH)
    assert grid.crs is not None
    assert grid.crs.to_epsg() == 26913
    assert not reading.raster.elevation_m.flags.writeable


def test_sources_carry_the_hash_of_the_content(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    (source,) = read_dem(path).sources
    assert source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert source.size_bytes == path.stat().st_size


@pytest.mark.parametrize("dtype", ["int16", "int32", "uint16", "float64", "float32"])
def test_number_types_agree(make_dem: MakeDem, ground: Floats, dtype: str) -> None:
    whole = np.round(ground)
    reading = read_dem(make_dem(whole.astype(dtype)))
    np.testing.assert_array_equal(reading.raster.elevation_m, whole)
    assert ("whole numbers" in said(reading)) == ("int" in dtype)


def test_scale_and_offset_are_applied(make_dem: MakeDem, ground: Floats) -> None:
    stored = np.round((ground - 1000) * 100).astype(np.int32)
    stored[3, 4] = -1
    reading = read_dem(make_dem(stored, scale=0.01, offset=1000.0, nodata=-1))
    assert not reading.raster.valid[3, 4]
    np.testing.assert_allclose(reading.raster.elevation_m[10:], ground[10:], atol=0.006, rtol=0)
    assert "times 0.01 plus 1000" in said(reading)
    assert "whole numbers" not in said(reading)


@pytest.mark.parametrize(
    "profile",
    [
        {"tiled": True, "blockxsize": 16, "blockysize": 16, "compress": "deflate"},
        {"blockysize": 7, "compress": "lzw"},
    ],
)
def test_blocks_of_any_shape_read_alike(
    make_dem: MakeDem, ground: Floats, profile: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("terrain.reading.rectangles._CHUNK_CELLS", 1000)
    path = make_dem(ground, **profile)
    np.testing.assert_array_equal(read_dem(path).raster.elevation_m, ground)
    west, north = WEST, NORTH
    part = read_dem(path, bounds=(west + 9, north - 41, west + 33, north - 5)).raster
    np.testing.assert_array_equal(part.elevation_m, ground[5:41, 9:33])


def test_cells_that_are_not_square_stay_so(make_dem: MakeDem, ground: Floats) -> None:
    transform = Affine(3.9991, 0, WEST, 0, -3.9987, NORTH)
    grid = read_dem(make_dem(ground, transform=transform)).raster.grid
    assert (grid.cell_width_m, grid.cell_height_m) == (3.9991, 3.9987)


def test_rows_from_south_to_north_are_turned(make_dem: MakeDem, ground: Floats) -> None:
    transform = Affine(1, 0, WEST, 0, 1, NORTH - 60)
    turned = make_dem(ground[::-1].copy(), transform=transform, blockysize=7)
    reading = read_dem(turned)
    np.testing.assert_array_equal(reading.raster.elevation_m, ground)
    assert reading.raster.grid.bounds == (WEST, NORTH - 60, WEST + 80, NORTH)
    assert "from south to north; turned north-up" in said(reading)
    part = read_dem(turned, bounds=(WEST + 3, NORTH - 20, WEST + 30, NORTH - 4)).raster
    np.testing.assert_array_equal(part.elevation_m, ground[4:20, 3:30])


def test_a_zip_file_is_looked_into(make_dem: MakeDem, ground: Floats, tmp_path: Path) -> None:
    path = make_dem(ground)
    packed = tmp_path / "dem.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        archive.write(path, "dem.tif")
    np.testing.assert_array_equal(read_dem(packed).raster.elevation_m, ground)


def test_progress_ends_at_one(make_dem: MakeDem, ground: Floats) -> None:
    calls: list[float] = []
    read_dem(make_dem(ground), progress=lambda _, done: calls.append(done))
    assert calls == sorted(calls)
    assert calls[-1] == 1.0


def test_several_bands_use_the_first_and_say_so(make_dem: MakeDem, ground: Floats) -> None:
    reading = read_dem(make_dem(np.stack([ground, ground * 0])))
    np.testing.assert_array_equal(reading.raster.elevation_m, ground)
    assert "has 2 bands; the first is taken as heights" in said(reading)


# --- voids ---------------------------------------------------------------------------------------


def test_declared_voids_and_not_a_number(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[0, :10] = -9999
    z[5, 5] = np.nan
    z[6, 6] = np.inf
    reading = read_dem(make_dem(z, nodata=-9999))
    expected = np.isfinite(z) & (z != -9999)
    np.testing.assert_array_equal(reading.raster.valid, expected)
    assert np.isnan(reading.raster.elevation_m[~expected]).all()
    assert "10 cells (0.21 %) are missing ground as dem.tif declares (-9999)" in said(reading)


def test_undeclared_fillers_are_void_anywhere(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[30:33, 40:43] = -9999
    reading = read_dem(make_dem(z))
    assert reading.raster.valid_cells == z.size - 9
    assert "numbers that no ground can have, not declared" in said(reading)


def test_a_void_number_given_by_option(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[30:33, 40:43] = 1234
    reading = read_dem(make_dem(z), options=ReadOptions(nodata=1234))
    assert reading.raster.valid_cells == z.size - 9


def test_a_mask_band_is_obeyed(make_dem: MakeDem, ground: Floats) -> None:
    mask = np.ones(ground.shape, dtype=np.bool_)
    mask[10:20, 10:20] = False
    reading = read_dem(make_dem(ground, mask=mask))
    np.testing.assert_array_equal(reading.raster.valid, mask)
    assert "100 cells (2.1 %) are masked out by the file" in said(reading)


def test_an_undeclared_border_of_zero_is_dropped(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[:, :20] = 0
    reading = read_dem(make_dem(z, nodata=-9999))
    assert not reading.raster.valid[:, :20].any()
    assert reading.raster.valid[:, 20:].all()
    assert "exactly 0" in said(reading)


def test_a_coast_keeps_its_sea(make_dem: MakeDem, ground: Floats) -> None:
    z = np.maximum(ground - np.float32(1602.0), 0)
    reading = read_dem(make_dem(z))
    assert reading.raster.valid.all()
    np.testing.assert_array_equal(reading.raster.elevation_m, z)


# --- units ---------------------------------------------------------------------------------------


def test_heights_in_feet_become_metres(make_dem: MakeDem, ground: Floats) -> None:
    feet = (ground / 0.3048).astype(np.float32)
    reading = read_dem(make_dem(feet, units="foot"))
    np.testing.assert_allclose(reading.raster.elevation_m, ground, rtol=2e-7)
    assert "international feet into metres" in said(reading)
    reading = read_dem(make_dem(feet), options=ReadOptions(vertical_unit="ft"))
    np.testing.assert_allclose(reading.raster.elevation_m, ground, rtol=2e-7)


def test_the_height_axis_of_a_compound_system_is_obeyed(make_dem: MakeDem, ground: Floats) -> None:
    feet = (ground.astype(np.float64) * 3937 / 1200).astype(np.float32)
    # NAVD88 height in US survey feet.
    reading = read_dem(make_dem(feet, crs="EPSG:26913+6360"))
    np.testing.assert_allclose(reading.raster.elevation_m, ground, rtol=2e-7)
    assert "US survey feet into metres" in said(reading)
    assert reading.raster.grid.crs.to_epsg() == 26913


def test_feet_that_nothing_states_stop_the_reading(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(VerticalUnitError, match=r"dem.tif: heights reach 5,2.*vertical unit"):
        read_dem(make_dem((ground / 0.3048).astype(np.float32)))


def test_feet_hidden_from_the_sample_are_still_found(make_dem: MakeDem) -> None:
    # The sample looks at corners, edges and the middle; the high ground lies between.
    z = hills(1200, 1200)
    z[200:500, 200:500] += 5000
    with pytest.raises(VerticalUnitError, match="look like feet"):
        read_dem(make_dem(z))


def test_a_state_plane_map_in_feet_is_rescaled_not_resampled(
    make_dem: MakeDem, ground: Floats
) -> None:
    foot = 1200 / 3937
    x, y = 3_100_000.0, 1_700_000.0
    path = make_dem(ground, crs="EPSG:2232", cell=3.0, west=x, north=y, units="m")
    reading = read_dem(path)
    grid = reading.raster.grid
    np.testing.assert_array_equal(reading.raster.elevation_m, ground)
    assert grid.cell_width_m == pytest.approx(3 * foot, rel=1e-12)
    assert grid.crs is not None
    assert grid.crs.axis_info[0].unit_name == "metre"
    # The same place on the Earth to a millimetre.
    lon, lat = Transformer.from_crs("EPSG:2232", "EPSG:4269", always_xy=True).transform(x, y)
    xm, ym = Transformer.from_crs("EPSG:4269", grid.crs, always_xy=True).transform(lon, lat)
    assert (grid.bounds[0], grid.bounds[3]) == pytest.approx((xm, ym), abs=1e-3)
    assert "nothing resampled" in said(reading)
    with pytest.raises(VerticalUnitError, match="its map is in feet"):
        read_dem(make_dem(ground, "silent.tif", crs="EPSG:2232", cell=3.0, west=x, north=y))


# --- degrees -------------------------------------------------------------------------------------


def plane_in_degrees(rows: int = 90, cols: int = 110) -> tuple[Floats, Affine]:
    """Return a plane over UTM coordinates, sampled on a grid of degrees."""
    cell = 1 / 10800
    transform = Affine(cell, 0, -104.5, 0, -cell, 39.6)
    lon = -104.5 + (np.arange(cols) + 0.5) * cell
    lat = 39.6 - (np.arange(rows) + 0.5) * cell
    to_utm = Transformer.from_crs("EPSG:4269", "EPSG:26913", always_xy=True)
    x, y = to_utm.transform(*np.meshgrid(lon, lat))
    return plane(x, y), transform


def plane(x: NDArray[np.float64], y: NDArray[np.float64]) -> Floats:
    z = 1600 + 0.03 * (x - 543_000) - 0.02 * (y - 4_383_000)
    return z.astype(np.float32)


def test_degrees_are_projected_in_the_same_datum(make_dem: MakeDem) -> None:
    z, transform = plane_in_degrees()
    reading = read_dem(make_dem(z, crs="EPSG:4269", transform=transform))
    grid = reading.raster.grid
    assert grid.crs is not None
    assert grid.crs.to_epsg() == 26913
    # A third of an arc-second at 39.6 degrees: 10.29 m north, 7.96 m east.
    assert grid.cell_m == pytest.approx(9.05, abs=0.02)
    x, y = grid.xy(*np.indices(grid.shape))
    valid = reading.raster.valid
    # Beyond the last centres only one row of cells is held level.
    inner = np.zeros_like(valid)
    inner[3:-3, 3:-3] = valid[3:-3, 3:-3]
    assert inner.sum() > 0.85 * valid.size
    np.testing.assert_allclose(
        reading.raster.elevation_m[inner], plane(x, y)[inner], atol=0.02, rtol=0
    )
    assert "UTM zone 13N (EPSG:26913), same datum (North American Datum 1983)" in said(reading)


def test_voids_spread_nothing_when_projected(make_dem: MakeDem) -> None:
    z, transform = plane_in_degrees()
    z[40:50, 50:60] = -9999
    reading = read_dem(make_dem(z, crs="EPSG:4269", transform=transform, nodata=-9999))
    raster = reading.raster
    x, y = raster.grid.xy(*np.indices(raster.grid.shape))
    off = np.abs(raster.elevation_m - plane(x, y))[raster.valid]
    # Beside a void, the mean of fewer cells is off by less than one cell's rise.
    assert off.max() < 0.04 * 10.3
    to_utm = Transformer.from_crs("EPSG:4269", raster.grid.crs, always_xy=True)
    middle = raster.grid.rowcol(*to_utm.transform(*(transform @ (55.0, 45.0))))
    assert not raster.valid[middle]
    # 100 void cells of 7.96 x 10.29 m.
    lost = np.count_nonzero(~raster.valid[35:68, 35:65])
    assert lost * raster.grid.cell_area_m2 == pytest.approx(100 * 7.96 * 10.29, rel=0.15)


def test_a_part_and_the_whole_of_a_projected_raster_agree(make_dem: MakeDem) -> None:
    z, transform = plane_in_degrees()
    z += np.random.default_rng(1).normal(0, 2, z.shape).astype(np.float32)
    path = make_dem(z, crs="EPSG:4269", transform=transform)
    whole = read_dem(path).raster
    t = whole.grid.transform
    bounds = (t.c + 20 * t.a, t.f + 60 * t.e, t.c + 50 * t.a, t.f + 30 * t.e)
    part = read_dem(path, bounds=bounds).raster
    assert part.grid.shape == (30, 30)
    np.testing.assert_array_equal(part.elevation_m, whole.elevation_m[30:60, 20:50])


def test_longitudes_up_to_360_mean_the_same_place(make_dem: MakeDem) -> None:
    z, t = plane_in_degrees()
    usual = read_dem(make_dem(z, "a.tif", crs="EPSG:4269", transform=t)).raster
    east = Affine(t.a, 0, t.c + 360, 0, t.e, t.f)
    path = make_dem(z, "b.tif", crs="EPSG:4269", transform=east)
    other = read_dem(path).raster
    assert other.grid.shape == usual.grid.shape
    both = usual.valid & other.valid
    assert both.sum() > 0.95 * usual.valid.sum()
    np.testing.assert_allclose(other.elevation_m[both], usual.elevation_m[both], atol=2e-3, rtol=0)
    west, south, _, north = other.grid.bounds
    part = read_dem(path, bounds=(west + 200, south + 200, west + 500, north - 200)).raster
    assert part.valid.all()


def test_a_map_whose_areas_are_not_true_is_projected(make_dem: MakeDem, ground: Floats) -> None:
    x, y = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True).transform(-104.5, 39.6)
    reading = read_dem(make_dem(ground, crs="EPSG:3857", west=x, north=y))
    assert reading.raster.grid.crs.to_epsg() == 32613
    # Web Mercator is stretched by 1 / cos(39.6 degrees) each way.
    assert reading.raster.grid.cell_m == pytest.approx(np.cos(np.radians(39.6)), rel=0.005)
    assert "too large here" in said(reading)


# --- windows and overviews -----------------------------------------------------------------------


def test_a_part_is_snapped_outward_and_cut_to_the_raster(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    bounds = (WEST - 100, NORTH - 10.2, WEST + 5.5, NORTH - 2.5)
    part = read_dem(path, bounds=bounds).raster
    assert part.grid.bounds == (WEST, NORTH - 11, WEST + 6, NORTH - 2)
    np.testing.assert_array_equal(part.elevation_m, ground[2:11, 0:6])


def test_whole_cells_are_not_widened_by_rounding(make_dem: MakeDem, ground: Floats) -> None:
    grid = read_dem(make_dem(ground, cell=0.1)).raster.grid
    west, _, _, north = grid.bounds
    part = part_of_grid(grid, (west + 0.3, north - 2.1, west + 1.7, north - 0.7))
    assert part.shape == (14, 14)


def test_a_part_outside_is_refused(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    with pytest.raises(ParameterError, match="does not meet the DEM"):
        read_dem(path, bounds=(0, 0, 10, 10))
    with pytest.raises(ParameterError, match="both bounds and max_cells"):
        read_dem(path, bounds=(0, 0, 10, 10), max_cells=10)


def test_an_overview_averages_valid_cells(make_dem: MakeDem, ground: Floats) -> None:
    z = ground.copy()
    z[0, 0] = -9999
    z[8:16, 8:16] = -9999
    reading = read_dem(make_dem(z, nodata=-9999), max_cells=80)
    raster = reading.raster
    assert raster.grid.shape == (8, 10)
    assert raster.grid.cell_width_m == 8.0
    assert raster.elevation_m[7, 9] == pytest.approx(ground[56:, 72:].mean(), abs=1e-3)
    assert raster.elevation_m[0, 0] == pytest.approx(ground[:8, :8].ravel()[1:].mean(), abs=1e-3)
    assert not raster.valid[1, 1]
    assert np.count_nonzero(~raster.valid) == 1
    assert "8 x 8 cells are averaged into one" in said(reading)


def test_an_overview_of_bands_and_tiles_equals_that_of_one_file(
    make_dem: MakeDem, ground: Floats, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = read_dem(make_dem(ground), max_cells=200).raster
    monkeypatch.setattr("terrain.reading.rectangles._CHUNK_CELLS", 700)
    left = make_dem(ground[:, :37], "left.tif")
    right = make_dem(ground[:, 37:], "right.tif", west=WEST + 37)
    two = read_dem([left, right], max_cells=200).raster
    np.testing.assert_allclose(two.elevation_m, one.elevation_m, atol=1e-3, rtol=0)


# --- mosaics -------------------------------------------------------------------------------------


def test_tiles_become_one_mosaic(make_dem: MakeDem, ground: Floats) -> None:
    paths = [
        make_dem(ground[:25, :30], "a.tif"),
        make_dem(ground[:25, 30:], "b.tif", west=WEST + 30),
        make_dem(ground[25:, 30:], "c.tif", west=WEST + 30, north=NORTH - 25),
    ]
    for order in (paths, paths[::-1]):
        reading = read_dem(order)
        raster = reading.raster
        assert raster.grid.bounds == (WEST, NORTH - 60, WEST + 80, NORTH)
        np.testing.assert_array_equal(raster.elevation_m[:25], ground[:25])
        np.testing.assert_array_equal(raster.elevation_m[25:, 30:], ground[25:, 30:])
        assert not raster.valid[25:, :30].any()
        assert "3 tiles are read as one mosaic" in said(reading)
    assert len(reading.sources) == 3
    part = read_dem(paths, bounds=(WEST + 20, NORTH - 40, WEST + 50, NORTH - 10)).raster
    np.testing.assert_array_equal(part.elevation_m[:, 10:], ground[10:40, 30:50])


def test_in_overlaps_the_first_valid_wins_and_differences_are_said(
    make_dem: MakeDem, ground: Floats
) -> None:
    first = ground[:, :50].copy()
    first[10, 45] = -9999
    second = ground[:, 40:] + np.float32(0.5)
    paths = [
        make_dem(first, "a.tif", nodata=-9999),
        make_dem(second, "b.tif", west=WEST + 40),
    ]
    reading = read_dem(paths)
    z = reading.raster.elevation_m
    np.testing.assert_array_equal(z[0, :50], ground[0, :50])
    np.testing.assert_array_equal(z[:, 50:], second[:, 10:])
    assert z[10, 45] == second[10, 5]
    assert "differ by more than 0.1 m in 599 of 599 cells, by up to 0.50 m" in said(reading)


def test_an_undeclared_rim_does_not_cover_the_tile_beneath(
    make_dem: MakeDem, ground: Floats
) -> None:
    first = ground[:, :50].copy()
    first[:, 42:] = 0
    paths = [make_dem(first, "a.tif"), make_dem(ground[:, 40:], "b.tif", west=WEST + 40)]
    raster = read_dem(paths).raster
    assert raster.valid.all()
    np.testing.assert_array_equal(raster.elevation_m, ground)


def test_a_tile_wholly_outside_the_basin_is_void_too(make_dem: MakeDem, ground: Floats) -> None:
    first = ground[:, :40].copy()
    first[:, 30:] = 0
    paths = [
        make_dem(first, "a.tif"),
        make_dem(np.zeros((60, 40), np.float32), "b.tif", west=WEST + 40),
    ]
    raster = read_dem(paths).raster
    assert raster.valid[:, :30].all()
    assert not raster.valid[:, 30:].any()


@pytest.mark.parametrize(
    ("other", "message"),
    [
        ({"cell": 2.0}, "tile a.tif has 1 m cells, b.tif 2 m"),
        ({"crs": "EPSG:26912"}, r"a.tif is in .*26913.*, b.tif in .*26912"),
        ({"crs": "EPSG:26713"}, "datum North American Datum 1983, b.tif on North American Datum"),
        ({"west": WEST + 80.3}, "cells of b.tif are shifted by 0.30 of a cell"),
    ],
)
def test_tiles_that_do_not_fit_are_refused_by_name(
    make_dem: MakeDem, ground: Floats, other: dict[str, object], message: str
) -> None:
    paths = [make_dem(ground, "a.tif"), make_dem(ground, "b.tif", **{"west": WEST + 80, **other})]
    with pytest.raises(GridMismatchError, match=message):
        read_dem(paths)


def test_a_shift_below_a_hundredth_of_a_cell_is_no_mismatch(
    make_dem: MakeDem, ground: Floats
) -> None:
    paths = [make_dem(ground, "a.tif"), make_dem(ground, "b.tif", west=WEST + 80.004)]
    assert read_dem(paths).raster.grid.cols == 160


def test_the_same_tile_twice_or_none_is_refused(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    with pytest.raises(ParameterError, match="given twice"):
        read_dem([path, path])
    with pytest.raises(ParameterError, match="no raster given"):
        read_dem([])


# --- bad input -----------------------------------------------------------------------------------


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(RasterReadError, match=r"no file .*nothing.tif"):
        read_dem(tmp_path / "nothing.tif")


def test_not_a_raster(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "notes.tif"
    path.write_text("these are notes")
    with pytest.raises(RasterReadError, match=r"notes.tif cannot be opened as a raster"):
        read_dem(path)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("compress", [None, "deflate"])
def test_a_truncated_geotiff(
    make_dem: MakeDem, capfd: pytest.CaptureFixture[str], compress: str | None
) -> None:
    z = hills(700, 900) + np.random.default_rng(0).normal(0, 1, (700, 900)).astype(np.float32)
    path = make_dem(z, compress=compress)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 3 // 5])
    with pytest.raises(RasterReadError, match=r"dem.tif (is damaged or cut short|cannot be open)"):
        read_dem(path)
    assert capfd.readouterr() == ("", "")


def test_damage_between_the_samples_is_found_on_reading(make_dem: MakeDem) -> None:
    z = hills(900, 900) + np.random.default_rng(0).normal(0, 1, (900, 900)).astype(np.float32)
    path = make_dem(z, compress="deflate", blockysize=10)
    with rasterio.open(path) as dataset:
        offset = int(dataset.get_tag_item("BLOCK_OFFSET_0_25", "TIFF", bidx=1))
    data = bytearray(path.read_bytes())
    data[offset : offset + 200] = bytes(200)
    path.write_bytes(bytes(data))
    with pytest.raises(RasterReadError, match=r"damaged or cut short \(rows 1 to 900"):
        read_dem(path)


def test_a_truncated_text_grid(tmp_path: Path, ground: Floats) -> None:
    path = tmp_path / "dem.asc"
    head = "ncols 80\nnrows 60\nxllcorner 500000\nyllcorner 4379940\ncellsize 1\n"
    rows = "\n".join(" ".join(f"{v:.2f}" for v in row) for row in ground[:30])
    path.write_text(head + rows + "\n")
    with pytest.raises(RasterReadError, match="damaged or cut short"):
        read_dem(path, options=ReadOptions(crs="EPSG:26913"))


def test_all_void(make_dem: MakeDem, ground: Floats) -> None:
    z = np.full_like(ground, -9999)
    with pytest.raises(RasterReadError, match="holds no ground: every cell"):
        read_dem(make_dem(z, nodata=-9999))
    with pytest.raises(RasterReadError, match="holds no ground: every cell"):
        read_dem(make_dem(z, "undeclared.tif"))


def test_hardly_any_ground(make_dem: MakeDem, ground: Floats) -> None:
    z = np.full_like(ground, -9999)
    z[30, 40:44] = ground[30, 40:44]
    with pytest.raises(RasterReadError, match="holds only 4 cells with heights"):
        read_dem(make_dem(z, nodata=-9999))


def test_one_cell_and_two_rows(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(RasterReadError, match="has only one cell; expected at least 3 x 3"):
        read_dem(make_dem(ground[:1, :1]))
    with pytest.raises(RasterReadError, match="has only 80 x 2 cells"):
        read_dem(make_dem(ground[:2]))


def test_the_same_height_everywhere(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(RasterReadError, match="has the height 7 everywhere"):
        read_dem(make_dem(np.full_like(ground, 7)))


def test_a_picture(make_dem: MakeDem) -> None:
    rgb = np.random.default_rng(0).integers(0, 255, (3, 20, 20), dtype=np.uint8)
    with pytest.raises(RasterReadError, match="is a picture"):
        read_dem(make_dem(rgb, photometric="RGB"))


def test_complex_numbers(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(RasterReadError, match="complex numbers"):
        read_dem(make_dem(ground.astype(np.complex64)))


def test_rotated_and_mirrored(make_dem: MakeDem, ground: Floats) -> None:
    turned = Affine.translation(WEST, NORTH) @ Affine.rotation(12) @ Affine.scale(1, -1)
    with pytest.raises(RasterReadError, match=r"rotated.*Warp it to north-up"):
        read_dem(make_dem(ground, transform=turned))
    with pytest.raises(RasterReadError, match="run from east to west"):
        read_dem(make_dem(ground, transform=Affine(-1, 0, WEST, 0, -1, NORTH)))


def test_no_georeference_at_all(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.warns(NotGeoreferencedWarning):
        path = make_dem(ground, crs=None, transform=Affine.identity())
    with pytest.raises(RasterReadError, match="no position and no cell size"):
        read_dem(path, options=ReadOptions(crs="EPSG:26913"))


def test_no_coordinate_system_asks_for_one(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground, crs=None)
    with pytest.raises(CrsError, match=r"dem.tif has no coordinate system; .* Give the coord"):
        read_dem(path)
    reading = read_dem(path, options=ReadOptions(crs="EPSG:26913"))
    assert reading.raster.grid.crs.to_epsg() == 26913


def test_a_system_without_a_place_asks_for_one(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground, crs='LOCAL_CS["unnamed",UNIT["metre",1]]')
    with pytest.raises(CrsError, match="which does not place it on the Earth"):
        read_dem(path)
    assert read_dem(path, options=ReadOptions(crs="EPSG:26913")).raster.valid.all()


def test_a_given_system_wins_and_is_said(make_dem: MakeDem, ground: Floats) -> None:
    reading = read_dem(make_dem(ground, crs="EPSG:26912"), options=ReadOptions(crs="EPSG:26913"))
    assert reading.raster.grid.crs.to_epsg() == 26913
    assert "EPSG:26912); taken as NAD83 / UTM zone 13N (EPSG:26913), as asked" in said(reading)


def test_unknown_codes_and_units_are_refused(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    with pytest.raises(CrsError, match="the coordinate system given 'EPSG:1' is not a known"):
        read_dem(path, options=ReadOptions(crs="EPSG:1"))
    with pytest.raises(ParameterError, match="vertical unit 'yard'"):
        ReadOptions(vertical_unit="yard")
    with pytest.raises(ParameterError, match="cell size -1 m"):
        ReadOptions(cell_m=-1)


def test_degrees_that_are_metres_and_metres_that_are_degrees(
    make_dem: MakeDem, ground: Floats
) -> None:
    with pytest.raises(CrsError, match="is in degrees, but the corners are at"):
        read_dem(make_dem(ground, crs="EPSG:4269"))
    with pytest.raises(CrsError, match="look like degrees"):
        read_dem(make_dem(ground, "b.tif", cell=0.0003, west=-104.3, north=39.5))


def test_heights_in_another_unit(make_dem: MakeDem, ground: Floats) -> None:
    with pytest.raises(VerticalUnitError, match="has heights in 'cm'"):
        read_dem(make_dem(ground, units="cm"))


def test_more_memory_than_there_is(
    make_dem: MakeDem, ground: Floats, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("terrain.values.memory.free_bytes", lambda: 2**20)
    with pytest.raises(MemoryNeedError, match=r"4,800 cells need about .* of the 1 MB"):
        read_dem(make_dem(ground))


def test_reading_writes_nothing_beside_the_file(make_dem: MakeDem, ground: Floats) -> None:
    path = make_dem(ground)
    before = sorted(p.name for p in path.parent.iterdir())
    read_dem(path)
    assert sorted(p.name for p in path.parent.iterdir()) == before


# --- real rasters --------------------------------------------------------------------------------


@pytest.mark.real
def test_pozo_outside_of_the_basin_is_void(real_dem: Callable[[str], Path]) -> None:
    reading = read_dem(real_dem("pozo/pozo_4m.tif"))
    raster = reading.raster
    assert raster.grid.size - raster.valid_cells == 360_270
    assert raster.valid_cells * raster.grid.cell_area_m2 / 1e6 == pytest.approx(7.85, abs=0.01)
    assert raster.elevation_m[raster.valid].min() > 1
    assert raster.grid.cell_width_m == pytest.approx(3.99913, abs=1e-5)
    assert raster.grid.cell_height_m == pytest.approx(3.99865, abs=1e-5)
    assert "exactly 0" in said(reading)


@pytest.mark.real
def test_carrizo_has_no_system_and_is_turned(real_dem: Callable[[str], Path]) -> None:
    path = real_dem("carrizo/carrizo.tif")
    with pytest.raises(CrsError, match="Give the coordinate system"):
        read_dem(path)
    reading = read_dem(path, options=ReadOptions(crs="EPSG:26911"))
    with rasterio.open(path) as dataset:
        stored = dataset.read(1)
    np.testing.assert_array_equal(reading.raster.elevation_m, stored[::-1])
    assert "turned north-up" in said(reading)


@pytest.mark.real
def test_declared_zero_and_undeclared_fillers(real_dem: Callable[[str], Path]) -> None:
    options = ReadOptions(crs="EPSG:26913")
    gully = read_dem(real_dem("bijou/west_bijou_gully.asc"), options=options).raster
    assert gully.valid_cells == 3827 - 2739
    assert gully.valid_cells * gully.grid.cell_area_m2 == 9792
    spring = read_dem(real_dem("springcreek/SpringCreek_DEM.asc"), options=options).raster
    assert spring.valid_cells * spring.grid.cell_area_m2 / 1e6 == pytest.approx(26.84, abs=0.005)


@pytest.mark.real
def test_sagehen_in_degrees_and_projected_agree(real_dem: Callable[[str], Path]) -> None:
    degrees = read_dem(real_dem("sagehen/ned10m_nad83.img")).raster
    metres = read_dem(real_dem("sagehen/pygsflow_dem.img")).raster
    assert degrees.grid.crs.to_epsg() == 26910
    assert metres.grid.size - metres.valid_cells == 1434
    to_ten = Transformer.from_crs(metres.grid.crs, degrees.grid.crs, always_xy=True)
    row, col = np.mgrid[100:600:7, 100:600:7]
    x, y = to_ten.transform(*metres.grid.xy(row, col))
    r, c = degrees.grid.rowcol(x, y)
    off = degrees.elevation_m[r, c] - metres.elevation_m[row, col]
    assert abs(np.median(off)) < 0.5
    assert np.quantile(np.abs(off), 0.9) < 5


@pytest.mark.real
def test_whole_metres_in_degrees(real_dem: Callable[[str], Path]) -> None:
    path = real_dem("bijou/west_bijou_escarpment_snippet.asc")
    reading = read_dem(path, options=ReadOptions(crs="EPSG:4269"))
    assert "whole numbers" in said(reading)
    assert "headcuts cannot be seen" in said(reading)
    with pytest.raises(CrsError, match="look like degrees"):
        read_dem(path, options=ReadOptions(crs="EPSG:26913"))


@pytest.mark.real
def test_other_bad_real_files(real_dem: Callable[[str], Path], tmp_path: Path) -> None:
    with pytest.raises(CrsError, match="'unnamed', which does not place it on the Earth"):
        read_dem(real_dem("misc/whitebox_DEM.tif"))
    with pytest.raises(RasterReadError, match="rotated"):
        read_dem(real_dem("misc/rasterio_rotated.tif"))
    with pytest.raises(RasterReadError, match="3 x 2 cells"):
        read_dem(real_dem("misc/rasterio_float_nan.tif"))
    with pytest.raises(RasterReadError, match="picture"):
        read_dem(real_dem("misc/rasterio_all-nodata.tif"))
    cut = tmp_path / "cut.tif"
    shutil.copy(real_dem("misc/minnesota_potholes_1m.tif"), cut)
    cut.write_bytes(cut.read_bytes()[:400_000])
    with pytest.raises(RasterReadError, match=r"cut.tif"):
        read_dem(cut)
