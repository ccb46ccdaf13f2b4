"""The graphical method as a plug-in: values, flags, limits and what is left empty."""

import numpy as np
import pytest

from siting.floods.flood_errors import CurveNumberError, FloodInputError
from siting.floods.flood_method import FloodMethod, SiteFloodInputs
from siting.floods.graphical import (
    GraphicalMethod,
    graphical_peak_m3s,
    ia_over_p_range,
    storm_types,
    unit_peak_csm_in,
)
from siting.floods.rainfall_reading import parse_rain_24h
from siting.floods.runoff import initial_abstraction_mm, runoff_depth_mm
from tests.siting.floods.estimates import notes_at

RAIN = parse_rain_24h("2=38mm,10=62mm,100=95mm")
METHOD = GraphicalMethod()


def sites(**changes: object) -> SiteFloodInputs:
    values: dict[str, object] = {
        "drainage_area_ha": [40.0, 40.0, 40.0, 40.0],
        "curve_number": [85.0, 85.0, 85.0, 85.0],
        "time_of_concentration_h": [0.5, 0.5, 0.5, 0.5],
        "rainfall": RAIN,
        **changes,
    }
    return SiteFloodInputs(**values)  # type: ignore[arg-type]


def codes(estimate, site: int) -> set[str]:
    return {flag.code for flag in estimate.flags if flag.where[site]}


def test_it_is_a_flood_method() -> None:
    assert isinstance(METHOD, FloodMethod)
    assert METHOD.source
    assert METHOD.limits


def test_value_is_the_formula_and_limits_are_met() -> None:
    estimate = METHOD.peak_flow(sites(), 100)
    expected = graphical_peak_m3s(
        40.0,
        runoff_depth_mm(95.0, 85.0),
        ia_over_p=initial_abstraction_mm(85.0) / 95.0,
        time_of_concentration_h=0.5,
    )
    np.testing.assert_allclose(estimate.value_m3s, expected)
    # Ia/P is 0.094, just under the table: flagged by itself.
    assert codes(estimate, 0) == {"ia_over_p"}
    estimate = METHOD.peak_flow(sites(), 10)
    assert codes(estimate, 0) == set()
    assert estimate.limits_met.all()
    assert notes_at(estimate, 0) == ()
    assert not estimate.value_m3s.flags.writeable


def test_flags() -> None:
    estimate = METHOD.peak_flow(
        sites(
            curve_number=[60.0, 85.0, np.nan, 85.0],
            time_of_concentration_h=[0.5, 0.04, 0.5, 12.0],
            pond_fraction=[0.0, 0.0, 0.0, 0.08],
        ),
        10,
    )
    assert codes(estimate, 0) == {"runoff_low", "ia_over_p"}
    assert codes(estimate, 1) == {"tc_short"}
    assert codes(estimate, 2) == {"input_missing"}
    assert codes(estimate, 3) == {"tc_long", "ponds"}
    # A short time of concentration is lengthened to 0.1 h as TR-55 itself asks.
    assert estimate.limits_met.tolist() == [False, True, False, False]
    assert np.isnan(estimate.value_m3s[2])
    assert "curve number" in notes_at(estimate, 2)[0]
    at_least = METHOD.peak_flow(sites(time_of_concentration_h=0.1), 10)
    assert estimate.value_m3s[1] == at_least.value_m3s[1]


def test_no_runoff_is_zero_not_missing() -> None:
    estimate = METHOD.peak_flow(sites(curve_number=40.0), 2)
    assert estimate.value_m3s.tolist() == [0.0] * 4
    assert codes(estimate, 0) >= {"runoff_low", "curve_number_low"}


def test_nothing_beyond_the_rain_given() -> None:
    for period in (1, 200):
        estimate = METHOD.peak_flow(sites(), period)
        assert np.isnan(estimate.value_m3s).all()
        assert not estimate.limits_met.any()
        assert "none is guessed" in notes_at(estimate, 0)[0]
    estimate = METHOD.peak_flow(sites(rainfall=None), 10)
    assert notes_at(estimate, 3) == ("No rainfall was given.",)


def test_cut_off_drainage_area_makes_a_minimum() -> None:
    estimate = METHOD.peak_flow(sites(area_complete=[True, False, True, True]), 10)
    assert estimate.is_minimum.tolist() == [False, True, False, False]


def test_peak_grows_with_area_rain_and_curve_number_and_falls_with_time() -> None:
    areas = np.geomspace(0.1, 1000.0, 50)
    hours = np.geomspace(0.1, 10.0, 50)
    numbers = np.linspace(45.0, 98.0, 50)
    for storm_type in storm_types():
        base = {"rainfall": RAIN, "storm_type": storm_type}
        by_area = METHOD.peak_flow(
            SiteFloodInputs(areas, curve_number=85, time_of_concentration_h=0.5, **base), 10
        )
        assert (np.diff(by_area.value_m3s) > 0).all()
        by_time = METHOD.peak_flow(
            SiteFloodInputs(
                np.full(50, 40.0), curve_number=80, time_of_concentration_h=hours, **base
            ),
            100,
        )
        assert (np.diff(by_time.value_m3s) < 0).all()
        by_number = METHOD.peak_flow(
            SiteFloodInputs(
                np.full(50, 40.0), curve_number=numbers, time_of_concentration_h=0.5, **base
            ),
            100,
        )
        assert (np.diff(by_number.value_m3s) > 0).all()


def test_unit_peak_is_interpolated_and_held_at_the_ends() -> None:
    for storm_type in storm_types():
        first, last = ia_over_p_range(storm_type)
        assert (first, last) == (0.1, 0.5)
        ends = unit_peak_csm_in(1.0, ia_over_p=[first, last], storm_type=storm_type)
        beyond = unit_peak_csm_in(1.0, ia_over_p=[0.0, 1.4], storm_type=storm_type)
        np.testing.assert_allclose(beyond, ends)
    three = unit_peak_csm_in(1.0, ia_over_p=[0.30, 0.325, 0.35])
    assert three[1] == pytest.approx((three[0] + three[2]) / 2)


def test_many_sites_cost_little() -> None:
    many = SiteFloodInputs(
        np.linspace(1.0, 500.0, 20_000),
        curve_number=np.linspace(60.0, 95.0, 20_000),
        time_of_concentration_h=np.linspace(0.05, 3.0, 20_000),
        rainfall=RAIN,
    )
    assert np.isfinite(METHOD.peak_flow(many, 10).value_m3s).all()


@pytest.mark.parametrize(
    ("changes", "error", "message"),
    [
        ({"drainage_area_ha": [40.0, 0.0]}, FloodInputError, "a drainage area of 0 ha"),
        ({"drainage_area_ha": [40.0, np.nan]}, FloodInputError, "a drainage area of nan ha"),
        ({"drainage_area_ha": np.ones((2, 2))}, FloodInputError, r"shape \(2, 2\)"),
        ({"curve_number": 120}, CurveNumberError, "a curve number of 120"),
        ({"curve_number": 0}, CurveNumberError, "a curve number of 0"),
        ({"pond_fraction": 5}, FloodInputError, "pond_fraction of 5; expected 0 to 1"),
        ({"time_of_concentration_h": -1}, FloodInputError, "expected 0 or more"),
        ({"mean_slope": [0.1, 0.2]}, FloodInputError, "2 values of mean_slope for 4 sites"),
    ],
)
def test_inputs_refused(changes: dict[str, object], error: type, message: str) -> None:
    with pytest.raises(error, match=message):
        sites(**changes)


def test_unknown_storm_type() -> None:
    with pytest.raises(FloodInputError, match="storm type 'IV'; expected one of I, IA, II, III"):
        METHOD.peak_flow(sites(storm_type="IV"), 10)
