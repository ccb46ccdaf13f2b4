"""Agreement with two other libraries, and with a basin's published outline, on real ground."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from affine import Affine
from numpy.typing import NDArray
from pyproj import Transformer
from scipy import ndimage

from terrain.channels.drainage_areas import snap_points
from terrain.channels.network import default_channel_area_ha
from terrain.flow.conditioning import CarveLimits, Conditioned, condition
from terrain.flow.engines import get_engine
from terrain.flow.flow_field import FlowField
from terrain.reading.dem import read_dem
from terrain.values.raster import Raster
from tests.terrain.surfaces import as_raster, random_cases

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem" / "ranch_dem.tif"
REAL = ["pozo/pozo_4m.tif", "sagehen/pygsflow_dem.img"]
AROUND = np.ones((3, 3))

#: Outlet of the Sagehen Creek basin, EPSG:26911, and area of its supplied outline (watershed.shp
#: beside the raster; its attribute AREASQKM is that of a larger unit).
SAGEHEN_OUTLET = (221_298.4, 4_369_675.0)
SAGEHEN_KM2 = 27.72


@pytest.fixture(scope="module", params=[*REAL, "sample"])
def chain(request: pytest.FixtureRequest, real_dem: Callable[[str], Path]) -> Any:
    """Return a raster and what our conditioning makes of it."""
    path = SAMPLE if request.param == "sample" else real_dem(request.param)
    raster = read_dem(path).raster
    return raster, condition(raster)


def esri_codes(flow: FlowField) -> NDArray[np.uint8]:
    """Powers of two from east clockwise, 0 where water leaves, 247 in voids."""
    powers = np.full(256, 247, dtype=np.uint8)
    powers[:9] = [64, 128, 1, 2, 4, 8, 16, 32, 0]
    return powers[flow.codes]


def pysheds_counts(flow: FlowField) -> NDArray[np.int64]:
    """Drainage counts that pysheds gets from our codes."""
    pytest.importorskip("pysheds")
    from pysheds.grid import Grid
    from pysheds.sview import Raster as PyshedsRaster
    from pysheds.sview import ViewFinder

    view = ViewFinder(affine=Affine(1, 0, 0, 0, -1, 0), shape=flow.grid.shape, nodata=np.int64(247))
    grid = Grid(viewfinder=view)
    codes = PyshedsRaster(esri_codes(flow).astype(np.int64), viewfinder=view)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of numpy, at pysheds
        return np.array(grid.accumulation(codes)).astype(np.int64)


def pyflwdir_counts(flow: FlowField) -> NDArray[np.int64]:
    """Drainage counts that pyflwdir gets from our codes, 0 in voids."""
    import pyflwdir

    counts = pyflwdir.from_array(esri_codes(flow), ftype="d8").upstream_area()
    return np.maximum(counts, 0).astype(np.int64)


def within_a_cell(
    ours: NDArray[np.bool_], theirs: NDArray[np.bool_], where: NDArray[np.bool_]
) -> float:
    """F1 of channel cells that have one of the other's within a cell, where it is asked."""
    one, other = ours & where, theirs & where
    precision = (one & ndimage.binary_dilation(theirs, AROUND)).sum() / one.sum()
    recall = (other & ndimage.binary_dilation(ours, AROUND)).sum() / other.sum()
    return float(2 * precision * recall / (precision + recall))


def open_ground(raster: Raster) -> NDArray[np.bool_]:
    """Mark cells that no filling raises, that are in no flat, and that touch none of these."""
    filled = condition(raster, limits=CarveLimits(0, 0)).raster.elevation_m
    z = np.where(raster.valid, raster.elevation_m, np.inf)
    lowest = ndimage.minimum_filter(z, 3, mode="nearest")
    shut = ((filled != raster.elevation_m) | (lowest == z)) & raster.valid
    return raster.valid & ~ndimage.binary_dilation(shut, AROUND)


@pytest.mark.real
def test_same_codes_same_counts(chain: tuple[Raster, Conditioned]) -> None:
    raster, ours = chain
    counts = ours.flow.accumulate()
    np.testing.assert_array_equal(pyflwdir_counts(ours.flow), counts)
    theirs = pysheds_counts(ours.flow)
    np.testing.assert_array_equal(theirs[raster.valid], counts[raster.valid])


def test_same_codes_same_counts_on_odd_surfaces() -> None:
    for case in random_cases(61, 15, largest=30):
        flow = condition(case.raster).flow
        if min(flow.grid.shape) > 2:
            valid = case.raster.valid
            np.testing.assert_array_equal(pysheds_counts(flow)[valid], flow.accumulate()[valid])


@pytest.mark.real
@pytest.mark.parametrize("times", [1, 5, 20])
def test_the_whole_chain_draws_the_channels_that_pysheds_draws(
    chain: tuple[Raster, Conditioned], pysheds_result: Conditioned, times: int
) -> None:
    """Where ground drains by itself; in lakes and flats each has its own way across."""
    raster, ours = chain
    area_ha = times * default_channel_area_ha(raster.grid.cell_m)
    threshold = area_ha * 1e4 / raster.grid.cell_area_m2
    mine = ours.flow.accumulate() >= threshold
    theirs = pysheds_result.flow.accumulate() >= threshold
    where = open_ground(raster)
    assert (mine & where).sum() > 100
    assert within_a_cell(mine, theirs, where) >= 0.9


@pytest.fixture(scope="module")
def pysheds_result(chain: tuple[Raster, Conditioned]) -> Conditioned:
    pytest.importorskip("pysheds")
    return get_engine("pysheds").condition(chain[0])


@pytest.mark.real
def test_the_whole_chain_beside_pyflwdir(real_dem: Callable[[str], Path]) -> None:
    """That library leads water to the cell it was flooded from, often not the steepest one."""
    import pyflwdir

    raster = read_dem(real_dem("pozo/pozo_4m.tif")).raster
    z = np.where(raster.valid, raster.elevation_m, np.float32(-9999))
    theirs = pyflwdir.from_dem(z, nodata=-9999.0).upstream_area()
    mine = condition(raster).flow.accumulate()
    where = open_ground(raster)
    threshold = 5e4 / raster.grid.cell_area_m2
    assert within_a_cell(mine >= threshold, theirs >= threshold, where) >= 0.9


@pytest.mark.real
@pytest.mark.parametrize("name", ["sagehen/pygsflow_dem.img", "sagehen/ned10m_nad83.img"])
@pytest.mark.parametrize("engine", ["native", "pysheds"])
def test_sagehen_creek_drains_its_basin(
    name: str, engine: str, real_dem: Callable[[str], Path]
) -> None:
    """Within 2 % of the supplied outline, from the projected and from the geographic raster."""
    if engine == "pysheds":
        pytest.importorskip("pysheds")
    raster = read_dem(real_dem(name)).raster
    flow = get_engine(engine).condition(raster).flow
    to_raster = Transformer.from_crs("EPSG:26911", raster.grid.crs, always_xy=True)
    x, y = to_raster.transform(*SAGEHEN_OUTLET)
    snapped = snap_points(flow, flow.accumulate(), x, y, radius_m=3 * raster.grid.cell_m)
    assert snapped.area_after_ha[0] / 100 == pytest.approx(SAGEHEN_KM2, rel=0.02)


def test_a_void_is_no_ground_for_either() -> None:
    z = np.add.outer(np.arange(12.0), np.arange(9.0)).astype(np.float32)
    z[4:6, 3:5] = np.nan
    flow = condition(as_raster(z)).flow
    assert pyflwdir_counts(flow)[4, 3] == flow.accumulate()[4, 3] == 0
