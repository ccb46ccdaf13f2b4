"""Peak flows at sites."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siting.floods.bankfull_curves import bankfull_geometry
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.floods.graphical import graphical_peak_m3s
from siting.floods.rainfall import Rainfall
from siting.floods.runoff import runoff_depth_mm
from siting.floods.travel_time import FlowPath, kirpich_h, nrcs_lag_h, time_of_concentration
from siting.places.flood_land import BASIN_COLUMNS
from siting.places.site_floods import FloodGauge, FloodSettings
from terrain.channels.drainage_areas import flow_path_segments, gradient, longest_way_m
from terrain.values.raster import Raster

PERIODS = list(RETURN_PERIODS_YR)


@pytest.fixture(scope="module")
def ground(measured, gully):
    return measured(gully(drop_m=0.8))


@pytest.fixture
def cells(ground):
    return ground.stations.cell[::9]


def short_storms() -> Rainfall:
    hours = np.array([0.1, 0.5, 1.0, 6.0, 24.0])
    depths = np.outer((hours / 24) ** 0.3, [40.0, 70.0, 110.0])
    return Rainfall(hours, [2.0, 10.0, 100.0], depths, source="invented")


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
    # the table holds no storm shorter than a day, so that the unit hydrograph is out of its limits
    assert (floods.method == "graphical").all()


def test_one_site_worked_through_by_hand(ground) -> None:
    """Segments, time of concentration, runoff and peak called one after the other.

    The bed of the gully is 3 m wide between its banks; water stands as high as the regional
    curve says.
    """
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
    stage = bankfull_geometry(area).depth_m
    section = ground.sections(cell, ground.azimuth_deg(cell))
    assert section.resolved.all()
    assert stage < section.bank_depth_m
    bed = section.bank_width_m - 2 * section.bank_depth_m
    assert bed == pytest.approx(3.0, abs=1.5)
    radius = (bed + stage) * stage / (bed + 2 * 2**0.5 * stage)
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
            radius,
        ),
        rain_2yr_24h_mm=40.0,
        channel_roughness=0.045,
    ).total_h
    assert floods.time_of_concentration_h == pytest.approx(tc, rel=1e-9)
    assert floods.time.section_source.tolist() == ["dem"]
    assert floods.time.lag_h == pytest.approx(
        nrcs_lag_h(ways.flow_path_m, curve_number=80.0, mean_slope=floods.mean_slope) / 0.6
    )
    fall = ways.sheet_fall_m + ways.shallow_fall_m + ways.channel_fall_m
    assert floods.time.kirpich_h == pytest.approx(
        kirpich_h(ways.flow_path_m, fall / ways.flow_path_m)
    )
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
    means = FloodGauge(ground, FloodSettings()).means
    for cell in cells[:6]:
        inside = ground.catchments.mask(int(cell))
        assert means.mean_slope(np.array([cell]))[0] == pytest.approx(
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
    assert all(m is None for m in floods.method)
    assert all(n is None for n in floods.note)
    assert lacks in settings.missing
    assert (floods.flow_path_m > 0).all()


def test_without_the_two_year_rain_the_lag_equation_stands_in_and_says_so(ground, cells) -> None:
    floods = FloodGauge(ground, FloodSettings(table([10.0], [70.0]), 80.0)).at(cells)
    lag = nrcs_lag_h(floods.flow_path_m, curve_number=80.0, mean_slope=floods.mean_slope)
    assert floods.time_of_concentration_h == pytest.approx(lag / 0.6)
    assert (floods.time.method == "lag").all()
    assert all("lag equation" in note for note in floods.note)
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


def test_methods_stand_side_by_side_and_one_is_used(ground, cells) -> None:
    """With short storms every method but the rational has a flow; its coefficient is not known."""
    found = FloodGauge(ground, FloodSettings(short_storms(), 80.0, regions={"WY-2": 1.0})).at(cells)
    names = found.compared.name[0].tolist()
    assert names == ["unit_hydrograph", "graphical", "rational", "regional"]
    assert (found.method == "unit_hydrograph").all()
    q = found.compared.q_m3s
    assert np.isfinite(q[:, [0, 1, 3]]).all()
    assert np.isnan(q[:, 2]).all()
    assert all("runoff coefficient" in note for note in found.compared.note[:, 2].reshape(-1))
    np.testing.assert_array_equal(found.q_m3s, q[:, 0])
    # out of its range of areas, so flagged, shown, and not used
    assert not found.compared.limits_met[:, 3].any()
    assert all("outside the 0.06 to 2070" in note for note in found.compared.note[:, 3].reshape(-1))
    assert all("Miller, 2003" in source for source in found.compared.source[:, 3])


def test_a_method_that_is_asked_for_is_used_outside_its_limits_too(ground, cells) -> None:
    settings = FloodSettings(short_storms(), 80.0, regions={"WY-2": 1.0}, methods=("regional",))
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "regional").all()
    np.testing.assert_array_equal(found.q_m3s, found.compared.q_m3s[:, 3])
    # one standard error of prediction either way: 0.271 in log10 for 10 years
    assert found.high_m3s[:, 2] / found.q_m3s[:, 2] == pytest.approx(10**0.271)
    assert all("outside the 0.06 to 2070" in note for note in found.note)


def test_the_first_of_several_whose_limits_hold_is_used(ground, cells) -> None:
    settings = FloodSettings(
        short_storms(), 80.0, regions={"WY-2": 1.0}, methods=("regional", "graphical")
    )
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "graphical").all()


def test_regions_alone_give_flows_without_rain(ground, cells) -> None:
    settings = FloodSettings(regions={"NM-7": 0.6, "NM-8": 0.4})
    assert settings.missing == ""
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "regional").all()
    assert np.isfinite(found.q_m3s).all()
    area_mi2 = ground.area_ha(cells) / 258.9988110336
    by_hand = 0.6 * 387.8 * area_mi2**0.477 + 0.4 * 43.1 * area_mi2**0.691
    assert found.q_m3s[:, 2] / 0.028316846592 == pytest.approx(by_hand)


def test_what_equations_ask_for_comes_from_the_ground(ground, cells) -> None:
    settings = FloodSettings(regions={"NM-2": 1.0})
    means = FloodGauge(ground, settings).means
    elevation = means.basin(cells)[:, BASIN_COLUMNS.index("mean_elevation_m")]
    for cell, mean in zip(cells[:5], elevation, strict=False):
        inside = ground.catchments.mask(int(cell))
        expected = ground.raster.elevation_m[inside].astype(float).mean()
        assert mean == pytest.approx(expected, abs=0.01)
    given = FloodGauge(ground, replace(settings, basin={"mean_elevation_m": 2000.0})).means
    assert (given.basin(cells)[:, 0] == 2000.0).all()


def test_a_light_look_gives_the_same_flow(ground, cells) -> None:
    gauge = FloodGauge(ground, FloodSettings(short_storms(), 80.0))
    np.testing.assert_array_equal(gauge.peak(cells, 2.0), gauge.at(cells).peak(2.0))


def test_high_end_is_open_where_the_area_is_cut_off(measured, gully) -> None:
    ground = measured(gully(ridge=False))
    floods = FloodGauge(ground, FloodSettings(short_storms(), 80.0)).at(ground.stations.cell[:1])
    # so little runs off in 2 years that only one method is inside its limits: no range
    assert np.isfinite(floods.low_m3s[:, 1:]).all()
    assert np.isnan(floods.high_m3s).all()
    notes = floods.compared.note[0, :2].reshape(-1)
    assert all("The flow is a minimum." in note for note in notes)
