"""Scour below falls, where jets land, and when water skims over steps."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siting.hydraulics.falls import (
    TSCHOPP_BISAZ_RANGE,
    falls_step_by_step,
    jet_velocity_mps,
    kolatus_d90_m,
    kolatus_depth_m,
    landing_m,
    tschopp_bisaz_d90_m,
    tschopp_bisaz_depth_m,
    tschopp_bisaz_number,
)
from siting.hydraulics.open_channel import critical_unit_depth_m
from terrain.values.errors import ParameterError

FLOWS, FALLS, DEPTHS = st.floats(0.01, 2.0), st.floats(0.1, 3.0), st.floats(0.05, 1.5)


@given(q=FLOWS, fall=FALLS, depth=DEPTHS)
def test_a_pool_is_not_scoured_below_its_floor_by_the_stone_it_asks_for(
    q: float, fall: float, depth: float
) -> None:
    assert kolatus_depth_m(q, fall, kolatus_d90_m(q, fall, depth)) == pytest.approx(depth)
    d90 = tschopp_bisaz_d90_m(q, fall, depth)
    if d90 > 0:
        assert tschopp_bisaz_depth_m(q, fall, d90) == pytest.approx(depth)


@given(q=FLOWS, fall=FALLS, depth=DEPTHS, more=st.floats(1.001, 3.0))
def test_more_flow_more_fall_and_less_pool_ask_for_larger_stone(
    q: float, fall: float, depth: float, more: float
) -> None:
    for needed in (kolatus_d90_m, tschopp_bisaz_d90_m):
        least = needed(q, fall, depth)
        assert needed(q * more, fall, depth) >= least
        assert needed(q, fall * more, depth) >= least
        assert needed(q, fall, depth / more) >= least


@given(q=FLOWS, fall=FALLS)
def test_where_the_range_of_tschopp_and_bisaz_begins_kolatus_asks_for_more(
    q: float, fall: float
) -> None:
    """So the larger of the two makes no leap where the other comes in."""
    low, _ = TSCHOPP_BISAZ_RANGE
    d90 = math.sqrt(q) * fall**0.25 / low
    depth = kolatus_depth_m(q, fall, d90)
    assert tschopp_bisaz_number(q, fall, d90) == pytest.approx(low)
    assert tschopp_bisaz_d90_m(q, fall, depth) < d90


def test_a_jet_lands_further_out_with_more_water_and_more_height() -> None:
    assert landing_m(0.2, 1.0) > landing_m(0.1, 1.0)
    assert landing_m(0.1, 1.2) > landing_m(0.1, 1.0)
    # 4.30 (0.04 / 9.81)^0.27 for 1 m
    assert landing_m(0.2, 1.0) == pytest.approx(4.30 * (0.04 / 9.81) ** 0.27)


def test_water_skims_over_steps_that_it_is_deep_for() -> None:
    # steps of 0.3 m every 0.6 m: critical depth up to (0.89 - 0.2) of a step, 0.207 m
    q = math.sqrt(9.81 * 0.207**3)
    assert critical_unit_depth_m(q) == pytest.approx(0.207)
    assert falls_step_by_step(q * 0.999, 0.3, 0.6)
    assert not falls_step_by_step(q * 1.001, 0.3, 0.6)
    assert falls_step_by_step(0.0, 0.3, 0.6)


def test_a_jet_strikes_as_fast_as_it_has_fallen() -> None:
    assert jet_velocity_mps(1.0) == pytest.approx(4.43, abs=0.005)
    assert jet_velocity_mps(0.0) == 0.0


@pytest.mark.parametrize(
    ("ask", "found"),
    [
        (lambda: kolatus_d90_m(0.1, 1.0, 0.0), "a pool depth of 0"),
        (lambda: kolatus_depth_m(0.1, 1.0, 0.0), "a stone diameter of 0"),
        (lambda: kolatus_depth_m(-0.1, 1.0, 0.1), "a unit flow of -0.1"),
        (lambda: tschopp_bisaz_depth_m(0.1, -1.0, 0.1), "a fall of -1"),
        (lambda: landing_m(0.1, 0.0), "a drop of 0"),
        (lambda: falls_step_by_step(0.1, 0.3, 0.0), "a tread of 0"),
    ],
)
def test_what_cannot_be_is_refused(ask, found: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ParameterError, match=found):
        ask()
