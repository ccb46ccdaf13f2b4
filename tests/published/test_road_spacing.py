"""Spacing of water bars and dips on roads against published tables and limits.

Sources: Keller and Sherar 2003, *Low-Volume Roads Engineering*, table 7.1 (page text read); SREF
forest landowner handbook, table of distances between water bars; broad-based dips by 400 / grade +
100 ft (road manuals of the forest trade, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from siting.layout.road_spacing import (
    RULE_SOURCES,
    broad_based_spacing_m,
    dip_spacing_m,
    rolling_dip_spacing_m,
    water_bar_spacing_m,
)
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
    ("erosive", "metres"),
    [(False, [120, 90, 75, 60, 50]), (True, [75, 50, 40, 35, 30])],
)
def test_rolling_dips(erosive: bool, metres: list[float]) -> None:
    """Keller and Sherar 2003, Low-Volume Roads Engineering, table 7.1: every cell."""
    for grades in ([0.0, 0.04, 0.07, 0.10, 0.13], [0.03, 0.06, 0.09, 0.12, 0.30]):
        found = rolling_dip_spacing_m(grades, erosive=erosive)
        np.testing.assert_array_equal(found, metres)
    cells(found, metres, of="Low-Volume Roads Engineering, table 7.1")
    # what lies between two bands counts with the steeper one
    between = rolling_dip_spacing_m([0.035, 0.065, 0.095, 0.1201], erosive=erosive)
    np.testing.assert_array_equal(between, metres[1:])


def test_nothing_is_said_outside_the_tables() -> None:
    assert np.isnan(water_bar_spacing_m([0.0, 0.0199, 0.401])).all()
    assert np.isnan(broad_based_spacing_m([0.0, 0.121, 0.15])).all()
    assert np.isfinite(broad_based_spacing_m(0.12))


def test_between_rows_the_feet_run_in_a_straight_line() -> None:
    assert water_bar_spacing_m(0.035) == pytest.approx((250 + 135) / 2 * FT)
    grades = np.linspace(0.02, 0.40, 400)
    assert (np.diff(water_bar_spacing_m(grades)) < 0).all()


def test_a_rolling_dip_takes_its_own_distance_up_to_its_limit_and_shows_the_range() -> None:
    spacing = dip_spacing_m([0.01, 0.02, 0.10, 0.12, 0.121], erosive=True)
    np.testing.assert_allclose(spacing.chosen_m[1:4], [75, 35, 35])
    np.testing.assert_allclose(spacing.low_m[1:3], [75, 80 * FT])
    np.testing.assert_allclose(spacing.high_m[1:3], np.array([300, 140]) * FT)
    assert np.isnan(spacing.chosen_m[[0, 4]]).all()
    assert not spacing.chosen_m.flags.writeable
    assert float(dip_spacing_m(0.08, erosive=False).chosen_m) == 75.0


def test_limits_of_dips() -> None:
    """Grade up to 12 % (from memory of road manuals)."""
    assert load_rules().high("road_dip.grade") == 0.12
    assert {basis for _, basis in RULE_SOURCES.values()} == {"published", "from memory"}


@pytest.mark.parametrize("grade", [-0.01, np.nan])
def test_an_impossible_grade_is_refused(grade: float) -> None:
    def table(grades: list[float]) -> None:
        rolling_dip_spacing_m(grades, erosive=True)

    for rule in (water_bar_spacing_m, broad_based_spacing_m, table):
        with pytest.raises(ParameterError, match="road grade below zero"):
            rule([0.05, grade])
