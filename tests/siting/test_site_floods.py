"""Peak flows at sites."""

from __future__ import annotations

import numpy as np
import pytest

from siting.floods.bankfull import bankfull_geometry
from siting.floods.base import RETURN_PERIODS_YR
from siting.floods.graphical import graphical_peak_m3s
from siting.floods.rainfall import Rainfall
from siting.floods.runoff import runoff_depth_mm
from siting.floods.travel_time import FlowPath, nrcs_lag_h, time_of_concentration
from siting.site_floods import FloodGauge, FloodSettings
from terrain.drainage import flow_path_segments, gradient, longest_way_m
from terrain.raster import Raster

PERIODS = list(RETURN_PERIODS_YR)


@pytest.fixture(scope="module")
def ground(measured, gully):
    return measured(gully(drop_m=0.8))


@pytest.fixture
def cells(ground):
    return ground.stations.cell[::9]


def table(periods, depths) -> Rainfall:
    return Rainfall([24.0], periods, [depths], source="invented")


def test_peaks_grow_with_the_return_period_and_are_empty_where_rain_is(ground, cells) -> None:
    rain = table([2.0, 10.0, 25.0], [40.0, 70.0, 90.0])
    floods = FloodGauge(ground, FloodSettings(rain, 80.0)).at(cells)
    for years in (2.0, 5.0, 10.0, 25.0):
        assert np.isfinite(floods.peak(years)).all()
    assert np.isnan(floods.peak(50.0)).all()
    assert np.isnan(floods.peak(100.0)).all()
    assert (np.diff(floods.q_m3s[:, :4], axis=1) > 0).all()
    assert all("TR-55 graphical" in m for m in floods.method)


def test_one_site_worked_through_by_hand(ground) -> None:
    """Segments, time of concentration, runoff and peak called one after the other."""
    cell = np.array([int(ground.network.line_cells[ground.network.line_end[0] - 1])])
    rain = table([2.0, 10.0], [40.0, 70.0])
    floods = FloodGauge(ground, FloodSettings(rain, 80.0)).at(cell)
    ways = flow_path_segments(
        ground.conditioned.flow,
        ground.counts,
        ground.raster,
        cell,
        channel_count=ground.network.threshold_cells,
    )
    area = ground.area_ha(cell)
    curve = bankfull_geometry(area)
    extra = max(0.0, float(ways.sheet_length_m[0]) - 30.0)
    share = 1 - extra / float(ways.sheet_length_m[0])
    shallow = float(ways.shallow_length_m[0]) + extra
    shallow_fall = float(ways.shallow_fall_m[0]) + float(ways.sheet_fall_m[0]) * (1 - share)
    tc = time_of_concentration(
        FlowPath(
            float(ways.sheet_length_m[0]) - extra,
            float(ways.sheet_fall_m[0] / ways.sheet_length_m[0]),
            shallow,
            shallow_fall / shallow,
            ways.channel_length_m,
            ways.channel_fall_m / ways.channel_length_m,
            curve.area_m2 / (curve.width_m + 2 * curve.depth_m),
        ),
        rain_2yr_24h_mm=40.0,
    ).total_h
    assert floods.time_of_concentration_h == pytest.approx(tc, rel=1e-9)
    assert 0.05 < float(tc[0]) < 1.0
    peak = graphical_peak_m3s(
        area,
        runoff_depth_mm(70.0, 80.0),
        ia_over_p=0.2 * (25400 / 80 - 254) / 70.0,
        time_of_concentration_h=tc,
    )
    assert floods.peak(10.0) == pytest.approx(peak)
    assert floods.flow_path_m == pytest.approx(ways.flow_path_m)
    assert floods.flow_path_m == pytest.approx(
        longest_way_m(ground.conditioned.flow).reshape(-1)[cell], rel=1e-5
    )


def test_mean_slope_is_the_mean_over_the_drainage_area(ground, cells) -> None:
    steep = gradient(ground.raster)
    gauge = FloodGauge(ground, FloodSettings())
    for cell in cells[:6]:
        inside = ground.catchments.mask(int(cell))
        assert gauge.mean_slope(np.array([cell]))[0] == pytest.approx(
            float(steep[inside].mean(dtype=float)), rel=1e-6
        )


@pytest.mark.parametrize(
    ("settings", "lacks"),
    [
        (FloodSettings(), "rainfall and a curve number"),
        (FloodSettings(curve_number=80.0), "give rainfall"),
        (FloodSettings(rainfall=table([2.0], [40.0])), "give a curve number"),
    ],
)
def test_without_rain_or_curve_number_flows_are_empty(ground, cells, settings, lacks) -> None:
    floods = FloodGauge(ground, settings).at(cells)
    assert np.isnan(floods.q_m3s).all()
    assert np.isnan(floods.time_of_concentration_h).all()
    assert all(m is None for m in floods.method)
    assert all(n is None for n in floods.note)
    assert lacks in settings.missing
    assert (floods.flow_path_m > 0).all()


def test_without_the_two_year_rain_the_lag_equation_stands_in_and_says_so(ground, cells) -> None:
    floods = FloodGauge(ground, FloodSettings(table([10.0], [70.0]), 80.0)).at(cells)
    lag = nrcs_lag_h(floods.flow_path_m, curve_number=80.0, mean_slope=floods.mean_slope)
    assert floods.time_of_concentration_h == pytest.approx(lag / 0.6)
    assert all("lag" in m for m in floods.method)
    assert np.isfinite(floods.peak(10.0)).all()
    assert np.isnan(floods.peak(2.0)).all()


def test_little_runoff_is_noted_for_its_return_periods_only(ground, cells) -> None:
    floods = FloodGauge(ground, FloodSettings(table([2.0, 100.0], [30.0, 120.0]), 75.0)).at(cells)
    assert all("2, 5 years: Less than 13 mm" in n for n in floods.note)


def test_a_cut_off_area_makes_flows_minima(measured, gully) -> None:
    ground = measured(gully(ridge=False))
    floods = FloodGauge(ground, FloodSettings(table([2.0], [45.0]), 80.0)).at(
        ground.stations.cell[:1]
    )
    assert "minima" in floods.note[0]


def test_sheet_flow_of_large_cells_stays_within_its_limit(measured) -> None:
    """On cells of 10 m a step may pass 30 m of sheet flow; the rest is shallow flow."""
    y, x = np.mgrid[0:60, 0:40]
    z = 100 + 0.3 * (60 - y) + 0.2 * np.abs(x - 20)
    ground = measured(Raster.from_array(z.astype(np.float32), cell_m=10.0))
    floods = FloodGauge(ground, FloodSettings(table([2.0], [45.0]), 80.0)).at(
        ground.stations.cell[:5]
    )
    assert np.isfinite(floods.time_of_concentration_h).all()


def test_no_sites_need_no_flows(ground, rain) -> None:
    floods = FloodGauge(ground, FloodSettings(rain, 80.0)).at(np.empty(0, dtype=np.int64))
    assert floods.q_m3s.shape == (0, len(PERIODS))
    assert floods.note.shape == (0,)
