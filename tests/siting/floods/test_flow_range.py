"""Low and high of a flow: single parts, the widest at each end, witnesses counted once."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from siting.floods.antecedent_runoff import antecedent_curve_number
from siting.floods.flood_errors import CurveNumberError
from siting.floods.flood_method import Flag, SiteFloodInputs, build_estimate
from siting.floods.flow_range import BEYOND, CUT_OFF, INDEPENDENT, FlowRange, flow_range, witness_of
from siting.floods.graphical import GraphicalMethod
from siting.floods.rainfall import RainBounds, Rainfall
from siting.floods.rational import RationalMethod
from siting.floods.regional import RegionalMethod
from siting.floods.unit_hydrograph import UnitHydrographMethod

PLAIN = Rainfall(
    [0.25, 1.0, 24.0], [2.0, 10.0], [[12.0, 20.0], [20.0, 32.0], [38.0, 62.0]], source="invented"
)
CURVE = "curve number 5 higher or lower"


def rain(low: float, high: float) -> Rainfall:
    """The same rain with bounds these shares of it."""
    bounds = RainBounds(low * PLAIN.depths_mm, high * PLAIN.depths_mm, "90 % confidence bounds")
    return replace(PLAIN, bounds=bounds)


INPUTS = SiteFloodInputs(
    np.array([8.0, 30.0]),
    curve_number=79.0,
    time_of_concentration_h=0.3,
    runoff_coefficient=0.3,
    rainfall=PLAIN,
)
BUILT_IN = (UnitHydrographMethod(), GraphicalMethod(), RationalMethod(), RegionalMethod())


@dataclass
class Told:
    """A method that gives what it is told, and has no input of its own."""

    name: str
    flow: float
    outside: bool = False
    needs: tuple[str, ...] = ()
    title = source = limits = "made up for the test"

    def peak_flow(self, inputs: SiteFloodInputs, years: float) -> Any:
        where = np.full(inputs.count, self.outside)
        flags = [Flag("outside", "Outside.", where)]
        return build_estimate(self, inputs, years, value_m3s=self.flow, flags=flags)


def range_of(name: str, methods: Any, inputs: SiteFloodInputs = INPUTS, error: float = 5.0) -> Any:
    """Range of one of some methods at ten years."""
    method = next(m for m in methods if m.name == name)
    return flow_range(
        method,
        [(m, m.peak_flow(inputs, 10.0)) for m in methods],
        inputs,
        run=lambda m, other: m.peak_flow(other, 10.0),
        curve_number_error=error,
    )


def same(a: FlowRange, b: FlowRange) -> None:
    for name in ("low_m3s", "high_m3s", "dry_m3s", "wet_m3s"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
    assert a.rests_on.tolist() == b.rests_on.tolist()


def test_without_bounds_the_curve_number_sets_the_range() -> None:
    method = UnitHydrographMethod()
    found = range_of("unit_hydrograph", BUILT_IN)
    low, high = (
        method.peak_flow(replace(INPUTS, curve_number=cn), 10.0).value_m3s for cn in (74.0, 84.0)
    )
    np.testing.assert_array_equal(found.low_m3s, low)
    assert (found.high_m3s >= high).all()
    # half of a small flow either way, where two methods with the same inputs agree within a tenth
    likely = method.peak_flow(INPUTS, 10.0).value_m3s
    assert (high / likely > 1.3).all()
    assert (low / likely < 0.7).all()


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [
        (0.5, 2.0, "the rain's 90 % confidence bounds"),
        (0.99, 1.01, CURVE),
        (
            0.99,
            2.0,
            "high end: the rain's 90 % confidence bounds, the upper; low end: curve number 5 lower",
        ),
    ],
)
def test_the_text_names_what_rules_each_end(low: float, high: float, says: str) -> None:
    found = range_of("graphical", [GraphicalMethod()], replace(INPUTS, rainfall=rain(low, high)))
    assert found.rests_on.tolist() == [says] * 2


@pytest.mark.parametrize("name", [m.name for m in BUILT_IN])
@pytest.mark.parametrize(("low", "high"), [(0.5, 2.0), (0.8, 1.25), (0.99, 1.01)])
@pytest.mark.parametrize("region", [{}, {"WY-2": 1.0}])
def test_never_narrower_than_any_part_alone_and_never_multiplied(
    name: str, low: float, high: float, region: dict[str, float]
) -> None:
    inputs = replace(INPUTS, rainfall=rain(low, high), regions=region)
    whole = range_of(name, BUILT_IN, inputs)
    method = next(m for m in BUILT_IN if m.name == name)
    likely = method.peak_flow(inputs, 10.0)
    without = replace(inputs, rainfall=PLAIN)
    alone = [
        range_of(name, [method], inputs, error=0.0),  # rain, or its own error
        range_of(name, [method], without),  # curve number, or its own error
        range_of(name, BUILT_IN, without, error=0.0),  # spread of methods, or its own error
    ]
    if np.isnan(likely.value_m3s).all():
        assert np.isnan(whole.low_m3s).all()
        return
    lows = np.fmin.reduce([a.low_m3s for a in alone])
    highs = np.fmax.reduce([a.high_m3s for a in alone])
    np.testing.assert_array_equal(whole.low_m3s, lows)
    np.testing.assert_array_equal(whole.high_m3s, highs)
    assert (whole.low_m3s <= likely.value_m3s).all()
    assert (whole.high_m3s >= likely.value_m3s).all()


def test_permuted_witnesses_change_nothing() -> None:
    inputs = replace(INPUTS, rainfall=rain(0.8, 1.25), regions={"WY-2": 1.0})
    methods = (*BUILT_IN, Told("own", 0.7), Told("far", 90.0, outside=True))
    first = {m.name: range_of(m.name, methods, inputs) for m in methods}
    for other in itertools.islice(itertools.permutations(methods), 0, 720, 37):
        for m in methods:
            same(range_of(m.name, other, inputs), first[m.name])


def test_a_method_that_shares_inputs_adds_nothing() -> None:
    inputs = replace(INPUTS, rainfall=rain(0.8, 1.25), regions={"WY-2": 1.0})
    twin = Told("another", 50.0, needs=("curve_number", "time_of_concentration_h"))
    for name in ("unit_hydrograph", "rational", "regional"):
        same(range_of(name, BUILT_IN, inputs), range_of(name, (*BUILT_IN, twin), inputs))
    # one that shares nothing does
    other = range_of("unit_hydrograph", (*BUILT_IN, Told("another", 50.0)), inputs)
    assert other.high_m3s.tolist() == [50.0, 50.0]
    assert other.rests_on[0].startswith(f"high end: {INDEPENDENT}; low end: ")


def test_who_is_whose_witness() -> None:
    assert len({witness_of(m) for m in BUILT_IN}) == 3
    assert witness_of(UnitHydrographMethod()) == witness_of(GraphicalMethod())


def test_a_method_outside_its_limits_widens_no_range_but_its_own() -> None:
    methods = (Told("one", 1.0), Told("two", 2.0), Told("far", 9.0, outside=True))
    assert range_of("one", methods).high_m3s.tolist() == [2.0, 2.0]
    far = range_of("far", methods)
    assert (far.low_m3s.tolist(), far.high_m3s.tolist()) == ([1.0, 1.0], [9.0, 9.0])
    assert far.rests_on.tolist() == [f"{INDEPENDENT}{BEYOND}"] * 2


def test_where_nothing_makes_it_unsure_there_is_no_range() -> None:
    found = range_of("one", [Told("one", 1.0)])
    assert np.isnan(found.low_m3s).all()
    assert np.isnan(found.high_m3s).all()
    assert found.rests_on.tolist() == [None, None]
    assert np.isnan(found.wet_m3s).all()


def test_a_minimum_has_no_high_end() -> None:
    found = range_of("graphical", BUILT_IN, replace(INPUTS, area_complete=[False, True]))
    assert np.isnan(found.high_m3s).tolist() == [True, False]
    assert np.isfinite(found.low_m3s).all()
    assert found.rests_on[0] == CUT_OFF
    assert found.rests_on[1] == CURVE


def test_storms_stand_beside_the_range() -> None:
    method = GraphicalMethod()
    found = range_of("graphical", [method])
    for cn, flow in ((62.0, found.dry_m3s), (91.0, found.wet_m3s)):
        told = method.peak_flow(replace(INPUTS, curve_number=cn), 10.0).value_m3s
        np.testing.assert_array_equal(flow, told)
    assert (found.dry_m3s < found.low_m3s).all()
    assert (found.wet_m3s > found.high_m3s).all()


@pytest.mark.parametrize("number", [30.0, 34.0, 97.0, 100.0, np.nan])
def test_curve_numbers_at_the_ends_of_their_range(number: float) -> None:
    found = range_of("graphical", BUILT_IN, replace(INPUTS, curve_number=number))
    flows = (found.low_m3s, found.high_m3s, found.dry_m3s, found.wet_m3s)
    assert all(np.isnan(f).all() == np.isnan(number) for f in flows)


def test_antecedent_numbers_between_rows_and_outside() -> None:
    assert antecedent_curve_number(79.5, "I") == pytest.approx(62.5)
    assert antecedent_curve_number([70.0, 79.5], "II").tolist() == [70.0, 79.5]
    assert np.isnan(antecedent_curve_number(np.nan, "III"))
    steps = np.arange(30.0, 100.5, 0.5)
    dry, wet = (antecedent_curve_number(steps, c) for c in ("I", "III"))
    assert (np.diff(dry) >= 0).all()
    assert (np.diff(wet) >= 0).all()
    assert (dry <= steps).all()
    assert (wet >= steps).all()
    with pytest.raises(CurveNumberError):
        antecedent_curve_number(29.0, "I")
