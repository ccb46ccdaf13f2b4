"""Peak flows at sites."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.floods.rainfall import Rainfall
from siting.floods.regional import RegionalSettings
from siting.floods.travel_time import nrcs_lag_h
from siting.places.flood_land import BASIN_COLUMNS
from siting.places.site_floods import FloodGauge, FloodSettings
from terrain.channels.drainage_areas import gradient
from terrain.values.raster import Raster
from tests.terrain import oracle

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


def walked_down(ground, cell: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Longest way to a cell from the far end: metres walked, elevation and count at each cell.

    Cell by cell in plain Python, from the flow codes alone.
    """
    flow, z = ground.conditioned.flow, ground.raster.elevation_m
    rows, cols = flow.codes.shape
    counts = ground.counts.reshape(-1)
    longest, donor = np.zeros(rows * cols), np.full(rows * cols, -1)
    for here in np.argsort(counts, kind="stable").tolist():  # donors have the smaller counts
        code = int(flow.codes.flat[here])
        if code < len(oracle.STEPS):
            dr, dc = oracle.STEPS[code]
            below = here + dr * cols + dc
            way = longest[here] + np.hypot(dr, dc)
            if way > longest[below]:
                longest[below], donor[below] = way, here
    way = [cell]
    while donor[way[-1]] >= 0:
        way.append(int(donor[way[-1]]))
    cells = np.array(way[::-1])
    return longest[cells], z.flat[cells].astype(float), counts[cells]


def test_one_site_worked_through_by_hand(ground) -> None:
    """Segments, time of concentration, runoff and peak by the printed equations of TR-55.

    Nothing of the code under test is called but for what it is asked; the trench was made with a
    bed 3 m wide, and water stands in it as high as the regional curve says.
    """
    cell = int(ground.network.line_cells[ground.network.line_end[0] - 1])
    floods = FloodGauge(ground, FloodSettings(table([2.0, 10.0], [40.0, 70.0]), 80.0)).at(
        np.array([cell])
    )
    walked, z, count = walked_down(ground, cell)
    # sheet flow ends with the step that makes 30 m full; what is beyond counts as shallow, with
    # the fall that goes with it
    sheet_end = int(np.argmax(walked >= 30.0))
    channel = int(np.argmax(count >= ground.network.threshold_cells))
    assert 0 < sheet_end < channel < walked.size - 1
    sheet_slope = (z[0] - z[sheet_end]) / walked[sheet_end]
    extra = walked[sheet_end] - 30.0
    shallow = walked[channel] - walked[sheet_end] + extra
    shallow_slope = (z[sheet_end] - z[channel] + sheet_slope * extra) / shallow
    run = walked[-1] - walked[channel]
    channel_slope = (z[channel] - z[-1]) / run
    # equation 3-3: range 0.13, 40 mm are 1.575 in
    sheet_h = 0.007 * (0.13 * 30.0 / 0.3048) ** 0.8 / ((40.0 / 25.4) ** 0.5 * sheet_slope**0.4)
    # appendix F, unpaved: 16.1345 ft/s
    shallow_h = shallow / (3600.0 * 0.3048 * 16.1345 * shallow_slope**0.5)
    # Bieger and others 2015, table 3: depth 0.30 A^0.213, A in km2; sides of 1 to 1; Chow n 0.045
    hectares = count[-1] / 10_000.0
    stage = 0.30 * (hectares / 100.0) ** 0.213
    radius = (3.0 + stage) * stage / (3.0 + 2 * 2**0.5 * stage)
    channel_h = run / (3600.0 * radius ** (2 / 3) * channel_slope**0.5 / 0.045)
    assert floods.time.section_source.tolist() == ["dem"]
    assert float(floods.time.sheet_h[0]) == pytest.approx(sheet_h, rel=1e-4)
    assert float(floods.time.shallow_h[0]) == pytest.approx(shallow_h, rel=1e-4)
    # the bed as measured between the banks is not quite the one that was made
    assert float(floods.time.channel_h[0]) == pytest.approx(channel_h, rel=0.02)
    hours = sheet_h + shallow_h + float(floods.time.channel_h[0])
    assert float(floods.time_of_concentration_h[0]) == pytest.approx(hours, rel=1e-4)
    assert 0.05 < hours < 1.0
    assert float(floods.flow_path_m[0]) == pytest.approx(walked[-1], rel=1e-5)
    # the checks: retention 1000 / 80 - 10 = 2.5 in; a lag is 0.6 of the time
    feet = walked[-1] / 0.3048
    lag = feet**0.8 * 3.5**0.7 / (1900.0 * (100.0 * float(floods.mean_slope[0])) ** 0.5)
    assert float(floods.time.lag_h[0]) == pytest.approx(lag / 0.6, rel=1e-4)
    kirpich = 0.0078 * feet**0.77 * ((z[0] - z[-1]) / walked[-1]) ** -0.385 / 60.0
    assert float(floods.time.kirpich_h[0]) == pytest.approx(kirpich, rel=1e-4)
    # 70 mm on curve number 80: Ia 0.2 x 63.5 = 12.7 mm, Q = 57.3^2 / 120.8 = 27.18 mm = 1.0701 in
    inches = 57.3**2 / (57.3 + 63.5) / 25.4
    assert inches == pytest.approx(1.0701, abs=1e-4)
    # table F-1, type II, between the rows of Ia/P 0.10 and 0.30: 12.7 / 70 lies 0.4071 of the way
    x = np.log10(hours)
    at_10 = 10 ** (2.55323 - 0.61512 * x - 0.16403 * x**2)
    at_30 = 10 ** (2.46532 - 0.62257 * x - 0.11657 * x**2)
    unit = at_10 + (12.7 / 70.0 - 0.10) / 0.20 * (at_30 - at_10)
    cfs = unit * hectares / 258.9988 * inches
    assert float(floods.peak(10.0)[0]) == pytest.approx(cfs * 0.0283168, rel=1e-3)


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
    found = FloodGauge(
        ground, FloodSettings(short_storms(), 80.0, regional=RegionalSettings({"WY-2": 1.0}))
    ).at(cells)
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
    assert all(
        "outside those of the gages, 15.5 to 536,000 ha" in note
        for note in found.compared.note[:, 3].reshape(-1)
    )
    assert all("Miller, 2003" in source for source in found.compared.source[:, 3])


def test_a_method_that_is_asked_for_is_used_outside_its_limits_too(ground, cells) -> None:
    settings = FloodSettings(
        short_storms(), 80.0, regional=RegionalSettings({"WY-2": 1.0}), methods=("regional",)
    )
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "regional").all()
    np.testing.assert_array_equal(found.q_m3s, found.compared.q_m3s[:, 3])
    # one standard error of prediction either way: 0.271 in log10 for 10 years
    assert found.high_m3s[:, 2] / found.q_m3s[:, 2] == pytest.approx(10**0.271)
    assert all("outside those of the gages, 15.5 to 536,000 ha" in note for note in found.note)


def test_the_first_of_several_whose_limits_hold_is_used(ground, cells) -> None:
    settings = FloodSettings(
        short_storms(),
        80.0,
        regional=RegionalSettings({"WY-2": 1.0}),
        methods=("regional", "graphical"),
    )
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "graphical").all()


def test_regions_alone_give_flows_without_rain(ground, cells) -> None:
    settings = FloodSettings(regional=RegionalSettings({"NM-7": 0.6, "NM-8": 0.4}))
    assert settings.missing == ""
    found = FloodGauge(ground, settings).at(cells)
    assert (found.method == "regional").all()
    assert np.isfinite(found.q_m3s).all()
    area_mi2 = ground.area_ha(cells) / 258.9988110336
    by_hand = 0.6 * 387.8 * area_mi2**0.477 + 0.4 * 43.1 * area_mi2**0.691
    assert found.q_m3s[:, 2] / 0.028316846592 == pytest.approx(by_hand)


def test_what_equations_ask_for_comes_from_the_ground(ground, cells) -> None:
    settings = FloodSettings(regional=RegionalSettings({"NM-2": 1.0}))
    means = FloodGauge(ground, settings).means
    elevation = means.basin(cells)[:, BASIN_COLUMNS.index("mean_elevation_m")]
    for cell, mean in zip(cells[:5], elevation, strict=False):
        inside = ground.catchments.mask(int(cell))
        expected = ground.raster.elevation_m[inside].astype(float).mean()
        assert mean == pytest.approx(expected, abs=0.01)
    told = replace(settings.regional, basin={"mean_elevation_m": 2000.0})
    given = FloodGauge(ground, replace(settings, regional=told)).means
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
