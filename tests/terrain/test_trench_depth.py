"""Depth below the ground on both sides: held against a library, and on made-up trenches."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from terrain.incision.trench_depth import trench_depth_m
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster


def plain(z: np.ndarray, valid: np.ndarray, straight: int, diagonal: int) -> np.ndarray:
    """Closing by four straight elements of so many cells to each side, by a library."""
    pad = 4 * straight
    ground = np.pad(np.where(valid, z, -np.inf), pad, constant_values=-np.inf)
    depth = np.zeros(z.shape)
    long = 2 * straight + 1
    for element in (
        np.ones((1, long)),
        np.ones((long, 1)),
        np.eye(2 * diagonal + 1),
        np.eye(2 * diagonal + 1)[::-1],
    ):
        closed = ndimage.grey_closing(ground, footprint=element.astype(bool))
        with np.errstate(invalid="ignore"):
            below = closed[pad:-pad, pad:-pad] - z
        depth = np.maximum(depth, np.where(valid, below, 0))
    return depth


@pytest.mark.parametrize("shape", [(70, 90), (331, 33), (5, 300), (1, 9), (131, 129)])
@pytest.mark.parametrize("reach", [1, 3, 16])
def test_agrees_with_a_library(shape: tuple[int, int], reach: int) -> None:
    rng = np.random.default_rng(reach)
    z = rng.normal(size=shape).astype(np.float32)
    valid = rng.random(shape) > 0.1
    z[~valid] = 99.0
    expected = plain(z, valid, reach, max(1, round(reach / 2**0.5)))
    depth = trench_depth_m(Raster.from_array(z, valid=valid), reach)
    assert depth.dtype == np.float32
    np.testing.assert_allclose(depth, expected, atol=1e-5)


@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.5, 0.0), (-0.3, 0.7), (2.0, -2.0)])
def test_a_slope_lies_below_nothing(slope: tuple[float, float]) -> None:
    rows, cols = np.indices((90, 120))
    z = slope[0] * rows + slope[1] * cols
    assert trench_depth_m(Raster.from_array(z), 12.0).max() == 0


def trench(*, width: int, depth: float, slope: float, turned: bool) -> np.ndarray:
    rows, cols = np.indices((160, 160)).astype(float)
    across = (rows - cols) / np.sqrt(2) if turned else cols - 80
    along = (rows + cols) / np.sqrt(2) if turned else rows
    return slope * along - depth * (np.abs(across) < width / 2)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("width", [3, 9, 15])
def test_a_trench_is_as_deep_as_it_was_cut(*, turned: bool, width: int) -> None:
    z = trench(width=width, depth=1.5, slope=0.08, turned=turned)
    depth = trench_depth_m(Raster.from_array(z), 12.0)
    cut = z < trench(width=width, depth=0.0, slope=0.08, turned=turned) - 1
    inner = np.s_[30:-30, 30:-30]
    np.testing.assert_allclose(depth[inner][cut[inner]], 1.5, atol=1e-4)
    assert depth[~cut].max() < 1e-4
    # its void is its section times its length
    length = 100 * (np.sqrt(2) if turned else 1)
    if not turned:
        assert depth[inner].sum() == pytest.approx(1.5 * width * length, rel=1e-4)


def test_a_floor_wider_than_the_element_is_no_trench() -> None:
    z = trench(width=40, depth=3.0, slope=0.01, turned=False)
    depth = trench_depth_m(Raster.from_array(z), 8.0)
    assert depth[40:-40, 75:85].max() < 0.01
    assert trench_depth_m(Raster.from_array(z), 25.0)[80, 80] == pytest.approx(3.0, abs=1e-4)


def test_the_reach_is_in_metres() -> None:
    z = np.repeat(np.repeat(trench(width=9, depth=1.0, slope=0.0, turned=False), 2, 0), 2, 1)
    fine = trench_depth_m(Raster.from_array(z, cell_m=0.5), 6.0)
    coarse = trench_depth_m(Raster.from_array(z[::2, ::2], cell_m=1.0), 6.0)
    np.testing.assert_array_equal(fine[::2, ::2], coarse)


def test_ground_that_is_not_known_is_neither_wall_nor_floor() -> None:
    z = np.tile(np.abs(np.arange(60.0) - 30), (60, 1))
    whole = trench_depth_m(Raster.from_array(z), 8.0)
    cut = z.copy()
    cut[:, 34:] = np.nan
    depth = trench_depth_m(Raster.from_array(cut), 8.0)
    assert whole[30, 30] == 8
    # on one side ground is known up to 3 m above the lowest only
    assert depth[30, 30] == 3
    assert (depth[:, 34:] == 0).all()
    wall = np.where(np.isnan(cut), 1e6, 0.0)
    assert trench_depth_m(Raster.from_array(wall, valid=~np.isnan(cut)), 8.0).max() == 0


@pytest.mark.parametrize("workers", ["1", "2", "5"])
def test_it_does_not_matter_how_many_work(workers: str, monkeypatch: pytest.MonkeyPatch) -> None:
    z = np.random.default_rng(5).normal(size=(700, 260)).astype(np.float32)
    once = trench_depth_m(Raster.from_array(z), 10.0)
    monkeypatch.setenv("GULLYWALK_WORKERS", workers)
    monkeypatch.setattr("terrain.incision.trench_depth.LEAST_BAND_ROWS", 64)
    np.testing.assert_array_equal(trench_depth_m(Raster.from_array(z), 10.0), once)


@pytest.mark.parametrize("reach", [0.0, -1.0, float("nan"), float("inf")])
def test_a_reach_that_is_none(reach: float) -> None:
    with pytest.raises(ParameterError, match="a reach of"):
        trench_depth_m(Raster.from_array(np.zeros((3, 3))), reach)
