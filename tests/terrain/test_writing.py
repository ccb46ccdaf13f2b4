"""Cloud-optimised GeoTIFF, whole or not at all."""

from __future__ import annotations

import os
import resource
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

import terrain.reading.writing
from terrain.reading.dem import read_dem
from terrain.reading.writing import write_cog
from terrain.values.errors import OutputError, ParameterError
from terrain.values.grid import Grid

Floats = NDArray[np.float32]


@pytest.fixture
def grid(ground: Floats) -> Grid:
    return Grid(*ground.shape, Affine(1, 0, 5e5, 0, -1, 4.38e6), CRS.from_epsg(26913))  # type: ignore[call-arg]


def test_what_is_written_is_read_back(tmp_path: Path, grid: Grid, ground: Floats) -> None:
    z = ground.copy()
    z[3, 4] = np.nan
    path = write_cog(
        tmp_path / "z.tif",
        grid,
        z,
        nodata=np.nan,
        description="elevation",
        units="m",
        tags={"CONDITIONED": "no"},
    )
    with rasterio.open(path) as dataset:
        assert dataset.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert dataset.tags(ns="IMAGE_STRUCTURE")["PREDICTOR"] == "3"
        assert dataset.descriptions == ("elevation",)
        assert dataset.units == ("m",)
        assert dataset.tags()["CONDITIONED"] == "no"
    raster = read_dem(path).raster
    raster.grid.require_same(grid)
    np.testing.assert_array_equal(raster.elevation_m, z)
    assert os.listdir(tmp_path) == ["z.tif"]


def test_large_rasters_get_tiles_and_overviews(tmp_path: Path) -> None:
    codes = (np.indices((1100, 1300)).sum(axis=0) % 8).astype(np.uint8)
    grid = Grid(1100, 1300, Affine(1, 0, 5e5, 0, -1, 4.38e6), CRS.from_epsg(26913))
    path = write_cog(tmp_path / "codes.tif", grid, codes, nodata=255)
    with rasterio.open(path) as dataset:
        assert dataset.block_shapes == [(512, 512)]
        assert dataset.overviews(1) == [2, 4]
        np.testing.assert_array_equal(dataset.read(1), codes)
    with rasterio.open(path, overview_level=0) as dataset:
        # Codes are picked, not averaged: every second diagonal has only these.
        assert set(np.unique(dataset.read(1))) <= set(range(8))


@pytest.mark.parametrize(
    ("given", "stored"),
    [("bool", "uint8"), ("int8", "int16"), ("int64", "int32"), ("uint64", "int32")],
)
def test_types_that_older_programs_lack_are_stored_as_others(
    tmp_path: Path, grid: Grid, given: str, stored: str
) -> None:
    array = (np.indices(grid.shape).sum(axis=0) % 2).astype(given)
    path = write_cog(tmp_path / "a.tif", grid, array, nodata=None)
    with rasterio.open(path) as dataset:
        assert dataset.dtypes == (stored,)
        np.testing.assert_array_equal(dataset.read(1), array.astype(stored))


def test_the_same_input_gives_the_same_bytes(tmp_path: Path, grid: Grid, ground: Floats) -> None:
    a = write_cog(tmp_path / "a.tif", grid, ground, nodata=None, units="m")
    b = write_cog(tmp_path / "b.tif", grid, ground, nodata=None, units="m")
    assert a.read_bytes() == b.read_bytes()


def test_an_old_file_is_kept_without_leave(tmp_path: Path, grid: Grid, ground: Floats) -> None:
    path = tmp_path / "z.tif"
    path.write_text("old")
    with pytest.raises(OutputError, match=r"z.tif exists already.*allow it to be replaced"):
        write_cog(path, grid, ground, nodata=None)
    assert path.read_text() == "old"
    write_cog(path, grid, ground, nodata=None, overwrite=True)
    assert read_dem(path).raster.grid.shape == grid.shape


def test_a_missing_folder_and_a_folder_as_target(
    tmp_path: Path, grid: Grid, ground: Floats
) -> None:
    with pytest.raises(OutputError, match="nowhere does not exist"):
        write_cog(tmp_path / "nowhere" / "z.tif", grid, ground, nodata=None)
    with pytest.raises(OutputError, match="is a folder"):
        write_cog(tmp_path, grid, ground, nodata=None, overwrite=True)


def test_a_read_only_folder(
    tmp_path: Path, grid: Grid, ground: Floats, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The superuser may write anywhere, so the question to the system is answered here.
    monkeypatch.setattr(terrain.reading.writing.os, "access", lambda *_: False)  # type: ignore[attr-defined]
    with pytest.raises(OutputError, match="cannot be written to"):
        write_cog(tmp_path / "z.tif", grid, ground, nodata=None)


@pytest.mark.parametrize("limit", [200, 2000, 8000])
def test_a_full_disk_leaves_the_old_file(
    tmp_path: Path, grid: Grid, limit: int, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "z.tif"
    path.write_text("old")
    noise = np.random.default_rng(0).normal(size=grid.shape).astype(np.float32)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    # A file size limit stops writes as a full disk does; Python ignores the signal.
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        with pytest.raises(OutputError, match="could not be written"):
            write_cog(path, grid, noise, nodata=None, overwrite=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["z.tif"]
    assert capfd.readouterr() == ("", "")


def test_an_interrupt_leaves_the_old_file(
    tmp_path: Path, grid: Grid, ground: Floats, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "z.tif"
    path.write_text("old")

    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(terrain.reading.writing.os, "fsync", interrupted)  # type: ignore[attr-defined]
    with pytest.raises(KeyboardInterrupt):
        write_cog(path, grid, ground, nodata=None, overwrite=True)
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["z.tif"]


def test_arrays_that_do_not_fit(tmp_path: Path, grid: Grid, ground: Floats) -> None:
    with pytest.raises(ParameterError, match="an array of shape"):
        write_cog(tmp_path / "z.tif", grid, ground[1:], nodata=None)
    with pytest.raises(ParameterError, match="an array with 3 dimensions"):
        write_cog(tmp_path / "z.tif", grid, ground[np.newaxis], nodata=None)
    with pytest.raises(ParameterError, match="expected at most 32 bits"):
        write_cog(tmp_path / "z.tif", grid, np.full(grid.shape, 2**40), nodata=None)
    with pytest.raises(ParameterError, match="array of complex64"):
        write_cog(tmp_path / "z.tif", grid, ground.astype(np.complex64), nodata=None)
    assert os.listdir(tmp_path) == []
