"""Curve-number runoff: properties and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siting.floods.flood_errors import CurveNumberError, FloodInputError
from siting.floods.runoff import (
    check_curve_number,
    initial_abstraction_mm,
    runoff_depth_mm,
)


# in whole micrometres: the square of less rain is lost to rounding
@given(
    rain=st.integers(0, 500_000_000).map(lambda um: um / 1e6),
    more=st.floats(0.0, 500.0),
    number=st.floats(30.0, 100.0),
)
def test_runoff_is_bounded_and_grows_with_rain(rain: float, more: float, number: float) -> None:
    less_rain, more_rain = runoff_depth_mm([rain, rain + more], number)
    assert 0.0 <= less_rain <= rain + 1e-9
    assert more_rain >= less_rain
    # Rain added never gives more runoff than was added.
    assert more_rain - less_rain <= more + 1e-6
    assert (less_rain == 0.0) == (rain <= initial_abstraction_mm(number))


@given(rain=st.floats(0.0, 500.0), low=st.floats(30.0, 100.0), high=st.floats(30.0, 100.0))
def test_runoff_grows_with_curve_number(rain: float, low: float, high: float) -> None:
    low, high = sorted((low, high))
    assert runoff_depth_mm(rain, high) >= runoff_depth_mm(rain, low) - 1e-9


def test_water_lets_everything_run_off() -> None:
    assert runoff_depth_mm([0.0, 10.0], 100.0).tolist() == [0.0, 10.0]


def test_unknown_numbers_stay_unknown() -> None:
    runoff = runoff_depth_mm(60.0, [np.nan, 80.0])
    assert np.isnan(runoff[0])
    assert runoff[1] > 0


@pytest.mark.parametrize("number", [0, 120, -5, 29.9, 100.1])
def test_impossible_curve_numbers(number: float) -> None:
    with pytest.raises(CurveNumberError, match="expected 30 to 100"):
        check_curve_number([75.0, number])


def test_other_refusals() -> None:
    with pytest.raises(FloodInputError, match="a rain depth of -1 mm"):
        runoff_depth_mm([-1.0], 80)
