"""Spacing of water bars and broad-based dips on roads against published tables and limits.

Sources: Keller and Sherar 2003, *Low-Volume Roads Engineering* (page text read); SREF forest
landowner handbook, table of distances between water bars; broad-based dips by 400 / grade + 100 ft
(road manuals of the forest trade, from memory), limits of grade by the Texas Forest Service.
"""

from __future__ import annotations

import numpy as np
import pytest

from siting.layout.road_spacing import (
    RULE_SOURCES,
    broad_based_spacing_m,
    water_bar_spacing_m,
)
from siting.structures.dip_spacing import greatest_m
from siting.values.rules import load_rules
from terrain.values.errors import ParameterError
from tests.published.printed import cells

FT = 0.3048
WATER_BARS = [(2, 250), (5, 135), (10, 80), (15, 60), (20, 45), (25, 40), (30, 35), (40, 30)]


@pytest.mark.parametrize(("per_cent", "feet"), WATER_BARS)
def test_water_bars(per_cent: float, feet: float) -> None:
    found_ft = water_bar_spacing_m(per_cent / 100) / FT
    cells(found_ft, feet, of="distances between water bars", within=1e-6)


@pytest.mark.parametrize(
    ("soil", "metres"),
    [("firm", [120, 90, 75, 60, 50]), ("erosive", [75, 50, 40, 35, 30])],
)
def test_greatest_distances_between_dips(soil: str, metres: list[float]) -> None:
    """Keller and Sherar 2003, Low-Volume Roads Engineering, table 7.1: every cell."""
    found = greatest_m([0.03, 0.06, 0.09, 0.12, 0.13], load_rules(), soil=soil)
    cells(found, metres, of="Low-Volume Roads Engineering, table 7.1")


def test_nothing_is_said_outside_the_tables() -> None:
    assert np.isnan(water_bar_spacing_m([0.0, 0.0199, 0.401])).all()
    assert np.isnan(broad_based_spacing_m([0.0, 0.121, 0.15])).all()
    assert np.isfinite(broad_based_spacing_m(0.12))


def test_between_rows_the_feet_run_in_a_straight_line() -> None:
    assert water_bar_spacing_m(0.035) == pytest.approx((250 + 135) / 2 * FT)
    grades = np.linspace(0.02, 0.40, 400)
    assert (np.diff(water_bar_spacing_m(grades)) < 0).all()


def test_what_kind_of_source_each_rule_has() -> None:
    assert {basis for _, basis in RULE_SOURCES.values()} == {"published", "from memory"}


@pytest.mark.parametrize("grade", [-0.01, np.nan])
def test_an_impossible_grade_is_refused(grade: float) -> None:
    for rule in (water_bar_spacing_m, broad_based_spacing_m):
        with pytest.raises(ParameterError, match="road grade below zero"):
            rule([0.05, grade])
