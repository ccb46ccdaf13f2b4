"""Greatest distances between dips: each cell of the table, its gaps, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from siting.structures.dip_spacing import BANDS, band_of, distance_limit, greatest_m
from siting.values.rules import load_rules
from terrain.values.errors import ParameterError

RULES = load_rules()
#: Keller and Sherar 2003, table 7.1: grade in per cent, firm soil, erosive soil, m.
TABLE = ((0, 3, 120, 75), (4, 6, 90, 50), (7, 9, 75, 40), (10, 12, 60, 35), (12.5, 30, 50, 30))


@pytest.mark.parametrize(("first", "last", "firm", "erosive"), TABLE)
def test_each_row_holds_from_its_first_grade_to_its_last(
    first: float, last: float, firm: float, erosive: float
) -> None:
    for grade in (first / 100, (first + last) / 200, last / 100):
        assert float(greatest_m(grade, RULES)) == erosive
        assert float(greatest_m(grade, RULES, soil="firm")) == firm
        limit = distance_limit(grade, RULES)
        assert (limit.low, limit.high, limit.basis) == (erosive, firm, "published")
        assert "table 7.1" in limit.source


def test_a_grade_between_two_rows_takes_the_steeper_one() -> None:
    assert band_of([0.03, 0.0301, 0.06, 0.0601, 0.09, 0.0901, 0.12, 0.1201]).tolist() == [
        0, 1, 1, 2, 2, 3, 3, 4,
    ]  # fmt: skip


def test_steeper_roads_never_have_dips_farther_apart() -> None:
    grades = np.linspace(0.0, 0.3, 301)
    for soil in ("erosive", "firm"):
        assert (np.diff(greatest_m(grades, RULES, soil=soil)) <= 0).all()
    assert len(BANDS) == len(TABLE)


@pytest.mark.parametrize("grade", [-0.01, np.nan])
def test_an_impossible_grade_is_refused(grade: float) -> None:
    with pytest.raises(ParameterError, match="road grade below zero"):
        band_of([0.05, grade])


def test_another_soil_is_refused() -> None:
    with pytest.raises(ParameterError, match="road soil 'mud'"):
        greatest_m(0.05, RULES, soil="mud")
