"""Level of the water over a crest."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siting.effects.backwater import tailwater_in
from siting.hydraulics.crest_flow import level_over_crest_m
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow
from siting.revising.even_channel import prism
from terrain.values.errors import ParameterError

BOX = CrossSection.trapezoid(2.0, side=0.0, depth_m=1.0)
OPEN = CrossSection.trapezoid(2.0, side=2.0, depth_m=0.8, floodplain_m=5.0)


def test_between_upright_walls_it_is_the_weir_by_hand() -> None:
    """(0.5 / (1.65 x 2))^(2/3) = 0.284 m above a crest of 0.10 m."""
    level = level_over_crest_m(BOX, 0.5, crest_height_m=0.1, slope=0.03, roughness=0.035)
    assert level == pytest.approx(0.1 + (0.5 / 3.3) ** (2 / 3), abs=1e-5)
    assert level == pytest.approx(0.384, abs=0.001)


def test_where_the_channel_below_carries_no_more_normal_depth_rules() -> None:
    normal = normal_flow(BOX, 0.5, slope=0.001, roughness=0.05).depth_m
    level = level_over_crest_m(BOX, 0.5, crest_height_m=0.1, slope=0.001, roughness=0.05)
    assert normal > 0.4
    assert level == pytest.approx(normal)


@given(
    q=st.floats(0.001, 10.0),
    crest=st.floats(0.05, 0.5),
    more=st.floats(1.0, 2.0),
    slope=st.floats(0.001, 0.06),
)
def test_it_rises_with_flow_and_crest_and_never_lies_below_either(
    q: float, crest: float, more: float, slope: float
) -> None:
    def level(flow: float, height: float) -> float:
        return level_over_crest_m(OPEN, flow, crest_height_m=height, slope=slope, roughness=0.04)

    here = level(q, crest)
    assert here > crest
    assert here >= normal_flow(OPEN, q, slope=slope, roughness=0.04).depth_m
    assert level(q * more, crest) >= here - 1e-5
    assert level(q, crest * more) >= here - 1e-5


@pytest.mark.parametrize("q", [0.05, 0.4, 2.0])
@pytest.mark.parametrize("slope", [0.004, 0.02])
def test_it_is_the_level_from_which_the_tailwater_is_carried_up(q: float, slope: float) -> None:
    level = level_over_crest_m(OPEN, q, crest_height_m=0.1, slope=slope, roughness=0.04)
    tail = tailwater_in(
        prism(OPEN, slope=slope, length_m=10.0),
        crest_height_m=0.1,
        discharge_m3s=q,
        roughness=0.04,
        slope=slope,
    )
    assert level == pytest.approx(tail.depth_m, abs=0.01)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan])
def test_what_is_not_above_zero_is_an_error(wrong: float) -> None:
    with pytest.raises(ParameterError, match="crest"):
        level_over_crest_m(BOX, 0.5, crest_height_m=wrong, slope=0.02, roughness=0.04)
    with pytest.raises(ParameterError, match="discharge"):
        level_over_crest_m(BOX, wrong, crest_height_m=0.1, slope=0.02, roughness=0.04)
