"""What must hold of floods along any network: downstream neither volume nor peak may fall."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from siting.floods.flood_errors import CurveNumberError
from siting.floods.flood_method import SiteFloodInputs
from siting.floods.rainfall import Rainfall
from siting.floods.unit_hydrograph import hydrograph
from siting.places.flood_compare import compare
from siting.places.land_maps import LandMap, LandSettings, cross, read_land
from siting.places.land_means import mean_curve_number, runoff_amounts, sums_above
from terrain.channels.drainage_areas import Catchments, gradient
from terrain.channels.network import HECTARE_M2
from terrain.flow.conditioning import condition
from terrain.flow.flow_field import FlowField
from terrain.reading.dem import read_dem
from terrain.values.raster import Raster
from terrain.vectors.burning import CodeMap

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
HOURS = np.array([1 / 12, 0.25, 1.0, 6.0, 24.0])
RAIN = Rainfall(
    HOURS, [2.0, 10.0, 100.0], np.outer((HOURS / 24) ** 0.3, [40.0, 65.0, 100.0]), source="invented"
)


@dataclass(frozen=True)
class Net:
    """A flow field, its counts, land over it, and every channel cell with the cell below it."""

    flow: FlowField
    counts: NDArray[Any]
    land: LandMap
    above: NDArray[np.int64]
    below: NDArray[np.int64]
    raster: Raster

    def volume_m3(self, cells: NDArray[np.int64], rain_mm: float) -> NDArray[np.float64]:
        """Runoff of a rain above cells, summed cell by cell."""
        catchments = Catchments.of(self.flow, self.counts)
        amounts = runoff_amounts(self.land, rain_mm)[..., None]
        sums = sums_above(catchments, self.land, gradient(self.raster), cells, amounts)[:, 0]
        return np.asarray(sums * (self.flow.grid.cell_area_m2 / 1e6))

    def chain(self, start: int) -> NDArray[np.int64]:
        """Cells from one channel cell down to where water leaves."""
        cells = [start]
        while (down := int(self.flow.downstream(np.array(cells[-1:]))[0])) >= 0:
            cells.append(down)
        return np.array(cells)

    def area_ha(self, cells: NDArray[np.int64]) -> NDArray[np.float64]:
        to_ha = self.flow.grid.cell_area_m2 / HECTARE_M2
        return np.asarray(self.counts.reshape(-1)[cells] * to_ha)


def invented_land(raster: Raster, seed: int, patch: int) -> LandMap:
    """Patches of soil and cover of very different curve numbers, with holes."""
    rng = np.random.default_rng(seed)
    shape = tuple(n // patch + 1 for n in raster.grid.shape)

    def codes(names: list[Any]) -> CodeMap:
        small = rng.integers(0, len(names) + 1, shape, dtype=np.uint8)
        index = np.repeat(np.repeat(small, patch, 0), patch, 1)
        rows, cols = raster.grid.shape
        return CodeMap(np.ascontiguousarray(index[:rows, :cols]), tuple(names), "invented")

    return cross(
        codes(["A", "B", "C", "D", "C/D"]),
        codes([11, 31, 42, 52, 71]),
        raster.valid,
        cell_area_m2=raster.grid.cell_area_m2,
        condition="good",
    )


def net_of(raster: Raster, land: LandMap, *, least: int) -> Net:
    flow = condition(raster).flow
    counts = flow.accumulate()
    cells = np.flatnonzero(counts.reshape(-1) >= least)
    below = flow.downstream(cells)
    return Net(flow, counts, land, cells[below >= 0], below[below >= 0], raster)


@pytest.fixture(scope="module", params=["sample", "sagehen"])
def net(request: pytest.FixtureRequest, real_dem: Callable[[str], Path]) -> Net:
    """The sample with its own maps, and a real mountain basin with invented ones."""
    if request.param == "sample":
        raster = read_dem(SAMPLE / "ranch_dem.tif").raster
        maps = SAMPLE / "ranch.gpkg"
        return net_of(raster, read_land(LandSettings(maps, maps), raster), least=300)
    raster = read_dem(real_dem("sagehen/ned10m_nad83.img")).raster
    return net_of(raster, invented_land(raster, 4, 15), least=50)


def test_runoff_volume_never_falls_downstream(net: Net) -> None:
    assert net.above.size > 1000
    for rain_mm in (25.0, 60.0, 110.0):
        above, below = net.volume_m3(net.above, rain_mm), net.volume_m3(net.below, rain_mm)
        assert (below >= above).all()
        assert below.max() > 0


def test_runoff_volume_is_the_sum_over_the_drainage_area(net: Net) -> None:
    """With one curve number everywhere it is the runoff depth times the area."""
    pair = np.ones_like(net.land.pair)
    numbers = np.full(net.land.numbers.size, 75.0)
    even = LandMap(pair, numbers, net.land.rational, (), (), "even", has_holes=False)
    volume = replace(net, land=even).volume_m3(net.above[:50], 152.4)
    # TR-55 table 2-1: 6.0 in on curve number 75 leave 3.28 in
    area_m2 = net.area_ha(net.above[:50]) * 1e4
    assert volume == pytest.approx(3.28 * 0.0254 * area_m2, rel=2e-3)


def test_peak_never_falls_downstream_with_number_and_time_held(net: Net) -> None:
    """Every method, at every channel cell and the one below it."""
    step = max(1, net.above.size // 3000)
    above, below = (
        compare(
            SiteFloodInputs(
                net.area_ha(cells[::step]),
                curve_number=78.0,
                time_of_concentration_h=0.4,
                mean_slope=0.1,
                runoff_coefficient=0.3,
                rainfall=RAIN,
                regions={"WY-2": 1.0},
            ),
            curve_number_error=5.0,
            notes=False,
        ).q_m3s
        for cells in (net.above, net.below)
    )
    assert np.isfinite(above).all()
    assert (below >= above).all()
    assert (below > above).any()


def test_hydrograph_along_a_channel_keeps_its_volume_and_grows(net: Net) -> None:
    areas = net.area_ha(net.chain(int(net.above[0])))
    areas = areas[:: max(1, areas.size // 12)]
    floods = [
        hydrograph(
            float(a),
            curve_number=78.0,
            time_of_concentration_h=0.4,
            rainfall=RAIN,
            return_period_yr=10.0,
        )
        for a in areas
    ]
    peaks = np.array([f.peak_m3s for f in floods])
    volumes = np.array([f.volume_m3 for f in floods])
    assert (np.diff(peaks) >= 0).all()
    assert (np.diff(volumes) >= 0).all()
    carried = np.array([f.flow_m3s.sum() * 3600 * (f.time_h[1] - f.time_h[0]) for f in floods])
    assert carried == pytest.approx(volumes, rel=1e-3)


def test_mean_curve_number_lies_between_its_parts(net: Net) -> None:
    mean = mean_curve_number(net.flow, net.counts, net.land)
    known = mean[np.isfinite(mean)]
    assert known.min() >= np.nanmin(net.land.numbers)
    assert known.max() <= np.nanmax(net.land.numbers)
    assert np.ptp(mean.reshape(-1)[net.above][np.isfinite(mean.reshape(-1)[net.above])]) > 5


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), patch=st.integers(1, 9), rain_mm=st.floats(5.0, 200.0))
def test_volume_and_mean_on_any_surface(seed: int, patch: int, rain_mm: float) -> None:
    """Against sums over each cell's own drainage area, found by walking down from every cell."""
    rng = np.random.default_rng(seed)
    raster = Raster.from_array(rng.random((14, 17)) * 3 + np.arange(17) * 0.4)
    try:
        land = invented_land(raster, seed, patch)
    except CurveNumberError:
        assume(False)  # no patch has a number
    net = net_of(raster, land, least=1)
    number = land.numbers[land.pair.reshape(-1)]
    retention = 25400 / number - 254
    excess = np.maximum(rain_mm - 0.2 * retention, 0)
    with np.errstate(invalid="ignore"):
        depth = np.where(excess > 0, excess**2 / (excess + retention), 0.0)
    total = np.zeros((3, number.size))
    for cell in range(number.size):
        if np.isnan(number[cell]):
            continue
        for down in net.chain(cell):
            total[:, down] += (number[cell], 1, np.nan_to_num(depth[cell]))
    mean = mean_curve_number(net.flow, net.counts, land).reshape(-1)
    expected = np.divide(total[0], total[1], out=np.full(number.size, np.nan), where=total[1] > 0)
    np.testing.assert_allclose(mean, expected, rtol=1e-5)
    volume = net.volume_m3(np.arange(number.size), rain_mm)
    # depths are kept to a thousandth of a millimetre
    np.testing.assert_allclose(volume, total[2] / 1000, atol=5.1e-7 * number.size)
    assert (net.volume_m3(net.below, rain_mm) >= net.volume_m3(net.above, rain_mm)).all()
