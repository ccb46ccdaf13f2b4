"""Methods side by side: the method taken at each site."""

import dataclasses

import numpy as np
import pytest

from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import Flag, SiteFloodInputs, build_estimate
from siting.floods.graphical import GraphicalMethod
from siting.floods.method_choice import choose, in_order
from siting.floods.rational import RationalMethod
from siting.floods.regional import RegionalMethod
from siting.floods.unit_hydrograph import UnitHydrographMethod

INPUTS = SiteFloodInputs([10.0, 20.0, 30.0], area_complete=[True, True, False])


class Fixed:
    """A method that gives what it was told to."""

    title = source = limits = "made up for the test"
    needs = ()

    def __init__(self, name, values, *, outside=(False, False, False)):
        self.name, self.values, self.outside = name, values, outside

    def peak_flow(self, inputs, return_period_yr):
        values = np.array(self.values, dtype=float)
        flags = [Flag("outside", "Outside.", np.array(self.outside))]
        return build_estimate(self, inputs, return_period_yr, value_m3s=values, flags=flags)


ONE = Fixed("one", [1.0, 2.0, 3.0])
TWO = Fixed("two", [2.0, 1.0, 6.0], outside=[False, True, False])
NONE = Fixed("none", [np.nan] * 3)


def estimates(*methods, years=10.0):
    return [m.peak_flow(INPUTS, years) for m in methods]


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
        choose({e.method: e for e in mixed})


def test_order_of_methods_does_not_hang_on_the_order_given() -> None:
    names = ["zz", "regional", "own", "graphical"]
    for given in (names, names[::-1]):
        assert in_order(given) == ["graphical", "regional", "own", "zz"]


def test_every_method_needs_inputs_that_exist() -> None:
    for method in (GraphicalMethod(), UnitHydrographMethod(), RationalMethod(), RegionalMethod()):
        assert set(method.needs) <= {f.name for f in dataclasses.fields(SiteFloodInputs)}
        assert method.title
        assert method.source
        assert method.limits
