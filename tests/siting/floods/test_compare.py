"""Methods side by side: ranges from the spread, and the method taken at each site."""

import dataclasses

import numpy as np
import pytest

from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import Flag, SiteFloodInputs, build_estimate
from siting.floods.graphical import GraphicalMethod
from siting.floods.method_choice import choose, with_ranges
from siting.floods.rational import RationalMethod
from siting.floods.regional import RegionalMethod
from siting.floods.unit_hydrograph import UnitHydrographMethod

INPUTS = SiteFloodInputs([10.0, 20.0, 30.0], area_complete=[True, True, False])


class Fixed:
    """A method that gives what it was told to."""

    title = source = limits = "made up for the test"
    needs = ()

    def __init__(self, name, values, *, outside=(False, False, False), error=None):
        self.name, self.values, self.outside, self.error = name, values, outside, error

    def peak_flow(self, inputs, return_period_yr):
        values = np.array(self.values, dtype=float)
        extra = {}
        if self.error:
            extra = {
                "low_m3s": values / self.error,
                "high_m3s": values * self.error,
                "range_source": "one standard error of prediction",
            }
        flags = [Flag("outside", "Outside.", np.array(self.outside))]
        return build_estimate(
            self, inputs, return_period_yr, value_m3s=values, flags=flags, **extra
        )


ONE = Fixed("one", [1.0, 2.0, 3.0])
TWO = Fixed("two", [2.0, 1.0, 6.0], outside=[False, True, False])
OWN = Fixed("own", [5.0, 5.0, 5.0], error=2.0)
NONE = Fixed("none", [np.nan] * 3)


def estimates(*methods, years=10.0):
    return [m.peak_flow(INPUTS, years) for m in methods]


def test_spread_over_methods_inside_their_limits() -> None:
    one, two, none = with_ranges(estimates(ONE, TWO, NONE))
    assert one.low_m3s[0] == 1.0
    assert one.high_m3s[0] == 2.0
    # At the second site only one method is inside its limits: there is no spread to give.
    assert np.isnan(one.low_m3s[1])
    assert np.isnan(two.low_m3s[1])
    # At the third the area is cut off: the high end stays open.
    assert one.low_m3s[2] == 3.0
    assert np.isnan(one.high_m3s[2])
    assert one.range_source == "spread over the methods inside their limits"
    assert none.range_source == ""
    assert np.isnan(none.low_m3s).all()


def test_own_standard_error_stays() -> None:
    own, _ = with_ranges(estimates(OWN, ONE))
    assert own.low_m3s.tolist() == [2.5, 2.5, 2.5]
    assert own.high_m3s[:2].tolist() == [10.0, 10.0]
    assert own.range_source == "one standard error of prediction"


def test_choice_takes_the_first_method_that_fits() -> None:
    rows = {e.method: e for e in estimates(ONE, TWO, NONE)}
    choice = choose(rows, preference=("none", "two", "one"))
    assert choice.method.tolist() == ["two", "one", "two"]
    assert choice.value_m3s.tolist() == [2.0, 2.0, 6.0]
    assert choice.limits_met.all()
    assert choice.return_period_yr == 10.0


def test_choice_outside_every_limit_and_without_any_value() -> None:
    outside = Fixed("far", [4.0, 4.0, np.nan], outside=[True, True, True])
    rows = {e.method: e for e in estimates(NONE, outside)}
    choice = choose(rows, preference=("none",))
    assert choice.method.tolist() == ["far", "far", ""]
    assert not choice.limits_met.any()
    assert np.isnan(choice.value_m3s[2])


def test_refusals() -> None:
    with pytest.raises(FloodInputError, match="no flood estimate"):
        choose({})
    mixed = [ONE.peak_flow(INPUTS, 2), TWO.peak_flow(INPUTS, 10)]
    with pytest.raises(FloodInputError, match="estimates for 2, 10 years together"):
        with_ranges(mixed)


def test_every_method_needs_inputs_that_exist() -> None:
    for method in (GraphicalMethod(), UnitHydrographMethod(), RationalMethod(), RegionalMethod()):
        assert set(method.needs) <= {f.name for f in dataclasses.fields(SiteFloodInputs)}
        assert method.title
        assert method.source
        assert method.limits
