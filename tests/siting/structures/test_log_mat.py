"""Log mats: where they go, and how much of the floor they span."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.structures.design_flow import flow_at
from siting.structures.grade_height import crest_level_m
from tests.siting.structures.example_spots import UNKNOWN, floods, kind_of, wide_spot

MAT = kind_of("log mat")


@settings(deadline=None)
@given(q=st.floats(0.005, 3.0), slope=st.floats(0.003, 0.025))
def test_it_spans_what_the_flow_wets_and_its_wings_reach_the_level_over_it(
    q: float, slope: float
) -> None:
    spot = wide_spot(q_m3s=floods(q), slope=slope)
    size = MAT.size(spot)
    span, wing = size.dims["span_m"], size.dims["wing_m"]
    wetted = spot.section.top_width_m(flow_at(spot, q).depth_m)
    assert span == pytest.approx(min(wetted, spot.width_m))
    assert wing >= spot.rules.value("log_mat.wing")
    assert size.crest_m == pytest.approx(span + 2 * wing)
    # water that stays between the banks does not run round the ends
    level = crest_level_m(spot, size.height_m)
    if level <= spot.section.rim_m:
        assert size.crest_m >= min(spot.section.top_width_m(level), spot.width_m) - 1e-6


@settings(deadline=None)
@given(a=st.floats(0.005, 3.0), b=st.floats(0.005, 3.0))
def test_more_water_never_asks_for_a_narrower_mat(a: float, b: float) -> None:
    low, high = (MAT.size(wide_spot(q_m3s=floods(q))).dims["span_m"] for q in sorted((a, b)))
    assert low <= high + 1e-9


def test_without_a_flow_it_spans_the_whole_floor() -> None:
    spot = wide_spot(q_m3s=UNKNOWN)
    assert MAT.size(spot).dims["span_m"] == pytest.approx(spot.width_m)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"setting": "widening reach"}, "a widening reach"),
        ({"setting": "incised channel"}, "an incised channel"),
        ({"setting": ""}, "no form that is seen"),
        ({"stage": 2}, "still cuts or widens"),
        ({"stage": 3}, "still cuts or widens"),
        ({"setting": "fan"}, "On a fan the water changes its way"),
    ],
)
def test_it_keeps_out_of_channels_that_still_cut_and_off_fans(
    changes: dict[str, Any], why: str
) -> None:
    assert MAT.fits(wide_spot())
    assert any(why in text for text in MAT.why_not(wide_spot(**changes)))


def test_little_land_is_a_caution_said_first() -> None:
    small, large = wide_spot(drainage_area_ha=1.9), wide_spot(drainage_area_ha=2.0)
    assert MAT.fits(small)
    assert MAT.cautions(small, MAT.size(small))[0].startswith("Less than 2.0 ha drain to it")
    assert not any("Less than" in text for text in MAT.cautions(large, MAT.size(large)))
    assert np.isfinite(MAT.size(small).crest_m)
