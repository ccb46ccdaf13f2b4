"""The unit hydrograph and rational methods: volume, storms, flags, and what is left empty."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.floods.flood_errors import FloodInputError, RainfallRangeError
from siting.floods.flood_method import FloodMethod, SiteFloodInputs
from siting.floods.rainfall_reading import parse_rain_24h, parse_rainfall
from siting.floods.rational import RationalMethod
from siting.floods.runoff import runoff_depth_mm
from siting.floods.storm import balanced_storm_mm
from siting.floods.unit_hydrograph import (
    UnitHydrographMethod,
    hydrograph,
    unit_hydrograph_peak_m3s,
)
from tests.siting.floods.estimates import notes_at

RAIN = parse_rainfall(
    """units: mm
duration,2,10,100
5-min,6,11,19
15-min,11,20,34
30-min,14,26,45
1 h,17,31,54
3 h,22,38,68
6 h,28,47,84
12 h,36,62,108
24 h,45,80,138
2 days,55,95,160
"""
)
UNIT, RATIONAL = UnitHydrographMethod(), RationalMethod()


def codes(estimate, site: int) -> set[str]:
    return {flag.code for flag in estimate.flags if flag.where[site]}


@settings(max_examples=60, deadline=None)
@given(
    area_ha=st.floats(0.1, 2000.0),
    number=st.floats(45.0, 98.0),
    tc_h=st.floats(0.1, 10.0),
    period=st.sampled_from([2.0, 5.0, 10.0, 100.0]),
)
def test_volume_is_the_runoff_of_the_whole_storm(
    area_ha: float, number: float, tc_h: float, period: float
) -> None:
    flood = hydrograph(
        area_ha,
        curve_number=number,
        time_of_concentration_h=tc_h,
        rainfall=RAIN,
        return_period_yr=period,
    )
    runoff_mm = runoff_depth_mm(RAIN.depth_mm(24, period), number)
    expected_m3 = runoff_mm * area_ha * 10.0
    step_h = flood.time_h[1] - flood.time_h[0]
    assert flood.flow_m3s.sum() * step_h * 3600 == pytest.approx(expected_m3, rel=0.001, abs=1e-9)
    assert flood.volume_m3 == pytest.approx(expected_m3, rel=0.001, abs=1e-9)
    assert flood.rain_mm.sum() == pytest.approx(RAIN.depth_mm(24, period))
    assert (flood.flow_m3s >= 0).all()


def test_many_sites_agree_with_one_at_a_time() -> None:
    rng = np.random.default_rng(5)
    area, number = rng.uniform(1, 400, 300), rng.uniform(50, 95, 300)
    tc_h = np.exp(rng.uniform(np.log(0.05), np.log(12), 300))
    peaks = unit_hydrograph_peak_m3s(
        area,
        curve_number=number,
        time_of_concentration_h=tc_h,
        rainfall=RAIN,
        return_period_yr=10,
    )
    for site in range(0, 300, 7):
        flood = hydrograph(
            area[site],
            curve_number=number[site],
            time_of_concentration_h=tc_h[site],
            rainfall=RAIN,
            return_period_yr=10,
        )
        assert peaks[site] == pytest.approx(flood.peak_m3s, rel=1e-9)


def test_storm_is_balanced_at_every_duration() -> None:
    for hours in RAIN.durations_h[:8]:
        edges = balanced_storm_mm(RAIN, [12 - hours / 2, 12 + hours / 2], return_period_yr=10)
        assert edges[1] - edges[0] == pytest.approx(RAIN.depth_mm(hours, 10))
    fallen = balanced_storm_mm(RAIN, np.linspace(-1, 26, 4001), return_period_yr=10)
    assert (np.diff(fallen) >= 0).all()
    assert fallen[0] == 0.0
    assert fallen[-1] == pytest.approx(80.0)
    with pytest.raises(RainfallRangeError):
        balanced_storm_mm(RAIN, [1.0], return_period_yr=500)


def test_unit_hydrograph_flags_and_empties() -> None:
    assert isinstance(UNIT, FloodMethod)
    inputs = SiteFloodInputs(
        [40.0] * 5,
        curve_number=[80, 80, 80, np.nan, 80],
        time_of_concentration_h=[0.5, 0.03, 11.0, 0.5, np.nan],
        rainfall=RAIN,
    )
    estimate = UNIT.peak_flow(inputs, 10)
    assert codes(estimate, 0) == set()
    assert codes(estimate, 1) == {"tc_short"}
    assert codes(estimate, 2) == {"tc_long"}
    assert codes(estimate, 3) == codes(estimate, 4) == {"input_missing"}
    assert estimate.limits_met.tolist() == [True, True, False, False, False]
    assert np.isnan(estimate.value_m3s[3:]).all()
    for changed, note in (
        (SiteFloodInputs([40.0], rainfall=None), "No rainfall was given."),
        (SiteFloodInputs([40.0], rainfall=RAIN), "none is guessed"),
        (
            SiteFloodInputs([40.0], rainfall=parse_rain_24h("2=38mm,200=90mm")),
            "one hour or shorter",
        ),
    ):
        assert note in notes_at(UNIT.peak_flow(changed, 200), 0)[0]


def test_coarse_storm_is_flagged() -> None:
    coarse = parse_rainfall("units: mm\nduration,2,10\n1 h,17,31\n24 h,45,80\n")
    inputs = SiteFloodInputs(
        [40.0, 40.0], curve_number=80, time_of_concentration_h=[0.5, 2.0], rainfall=coarse
    )
    estimate = UNIT.peak_flow(inputs, 10)
    assert codes(estimate, 0) == {"storm_coarse"}
    assert codes(estimate, 1) == set()


def test_hydrograph_refuses_nothing_to_work_on() -> None:
    with pytest.raises(FloodInputError, match="a drainage area of 0 ha"):
        hydrograph(
            0.0,
            curve_number=80,
            time_of_concentration_h=1.0,
            rainfall=RAIN,
            return_period_yr=10,
        )


def test_rational_uses_the_intensity_at_the_time_of_concentration() -> None:
    assert isinstance(RATIONAL, FloodMethod)
    inputs = SiteFloodInputs(
        [36.0, 36.0, 36.0, 100.0, 36.0, 36.0],
        time_of_concentration_h=[0.5, 0.25, 0.02, 0.5, 60.0, np.nan],
        runoff_coefficient=0.4,
        rainfall=RAIN,
    )
    estimate = RATIONAL.peak_flow(inputs, 10)
    assert estimate.value_m3s[0] == pytest.approx(0.4 * (26 / 0.5) * 36 / 360)
    assert estimate.value_m3s[1] == pytest.approx(0.4 * (20 / 0.25) * 36 / 360)
    assert estimate.value_m3s[2] == pytest.approx(0.4 * (11 * 12) * 36 / 360)
    assert codes(estimate, 0) == set()
    assert codes(estimate, 2) == {"storm_short"}
    assert codes(estimate, 3) == {"area_large"}
    assert codes(estimate, 4) == {"storm_long"}
    assert codes(estimate, 5) == {"input_missing"}
    assert np.isnan(estimate.value_m3s[4:]).all()
    assert estimate.limits_met.tolist() == [True, True, False, False, False, False]


def test_rational_without_rain_or_coefficient() -> None:
    inputs = SiteFloodInputs([36.0], time_of_concentration_h=0.5, runoff_coefficient=0.4)
    assert notes_at(RATIONAL.peak_flow(inputs, 10), 0) == ("No rainfall was given.",)
    inputs = SiteFloodInputs([36.0], time_of_concentration_h=0.5, rainfall=RAIN)
    assert "runoff coefficient" in notes_at(RATIONAL.peak_flow(inputs, 10), 0)[0]
    assert "nothing is guessed" in notes_at(RATIONAL.peak_flow(inputs, 500), 0)[0]


@pytest.mark.parametrize("method", [UNIT, RATIONAL], ids=lambda m: m.name)
def test_peak_never_falls_as_the_area_grows(method) -> None:
    inputs = SiteFloodInputs(
        np.geomspace(0.5, 80.0, 40),
        curve_number=80,
        time_of_concentration_h=0.7,
        runoff_coefficient=0.35,
        rainfall=RAIN,
    )
    for period in (2, 10, 100):
        assert (np.diff(method.peak_flow(inputs, period).value_m3s) > 0).all()
