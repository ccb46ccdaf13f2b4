"""All methods side by side at ten sites of the sample and of a real mountain basin."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from siting.channels.ground import Land
from siting.floods.rainfall_reading import read_rainfall
from siting.floods.regional import RegionalSettings
from siting.places.land_maps import LandSettings, read_land
from siting.places.site_floods import FloodGauge, FloodSettings
from siting.values.rules import load_rules
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.reading.dem import read_dem

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
UNIT, GRAPHICAL, RATIONAL, REGIONAL = range(4)


@pytest.fixture(scope="module", params=["sample", "sagehen"])
def ten(request, real_dem):
    """Floods at ten channel cells from the smallest to the largest complete drainage area."""
    rain = read_rainfall(SAMPLE / "rainfall.csv")
    if request.param == "sample":
        raster = read_dem(SAMPLE / "ranch_dem.tif").raster
        maps = read_land(LandSettings(SAMPLE / "ranch.gpkg", SAMPLE / "ranch.gpkg"), raster)
        settings = FloodSettings(rain, land=maps, regional=RegionalSettings({"NM-6": 1.0}))
    else:
        raster = read_dem(real_dem("sagehen/ned10m_nad83.img")).raster
        settings = FloodSettings(
            rain, 73.0, runoff_coefficient=0.3, regional=RegionalSettings({"NV-6": 1.0})
        )
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    area = default_channel_area_ha(raster.grid.cell_m)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area)
    land = Land.of(conditioned, network, raster=raster, counts=counts, rules=load_rules())
    channel = np.flatnonzero(counts.reshape(-1) >= network.threshold_cells)
    channel = channel[~land.cut.is_cut(channel)]
    size = counts.reshape(-1)[channel]
    wanted = np.geomspace(size.min(), size.max(), 10)
    cells = np.array([channel[np.argmin(np.abs(np.log(size / w)))] for w in wanted])
    return FloodGauge(land, settings).at(cells), land.area_ha(cells)


def test_every_method_gives_a_flow_that_grows_with_the_return_period(ten) -> None:
    floods, area_ha = ten
    q = floods.compared.q_m3s
    assert q.shape == (10, 4, 6)
    # the report has no 2-year equation for Nevada region 6
    assert np.isfinite(q[:, :REGIONAL]).all()
    assert np.isfinite(q[:, REGIONAL, 1:]).all()
    assert (np.diff(q[:, :REGIONAL], axis=2) > 0).all()
    assert (np.diff(q[:, REGIONAL, 1:], axis=1) > 0).all()
    assert area_ha.max() > 100 * area_ha.min()
    assert np.isfinite(floods.low_m3s[:, 2]).all()


def test_the_two_curve_number_methods_agree(ten) -> None:
    """They share rain, curve number and time; only how the storm is built differs."""
    floods, _ = ten
    q, inside = floods.compared.q_m3s, floods.compared.limits_met
    both = inside[:, UNIT] & inside[:, GRAPHICAL]
    assert both.sum() > 20
    ratio = (q[:, UNIT] / q[:, GRAPHICAL])[both]
    assert ratio.min() > 0.75
    assert ratio.max() < 1.35


def test_regional_equations_are_out_of_their_range_on_the_small_areas_and_say_so(ten) -> None:
    floods, area_ha = ten
    inside = floods.compared.limits_met[:, REGIONAL, 2]
    assert not inside[area_ha < 40].any()
    assert inside[area_ha > 100].any()
    notes = floods.compared.note[:, REGIONAL, 2]
    assert all("outside those of the gages" in note for note in notes[~inside])


def test_the_rational_method_ends_at_80_ha(ten) -> None:
    floods, area_ha = ten
    inside = floods.compared.limits_met[:, RATIONAL, 2]
    assert not inside[area_ha > 80].any()
    assert inside[area_ha < 20].all()


def test_three_ways_to_the_time_of_concentration_stay_within_a_few_times(ten) -> None:
    floods, _ = ten
    time = floods.time
    assert (time.method == "segments").all()
    for other in (time.lag_h, time.kirpich_h):
        ratio = time.used_h / other
        assert ratio.min() > 0.2
        assert ratio.max() < 6.0
