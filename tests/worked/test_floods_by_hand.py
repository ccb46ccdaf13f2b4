"""Runoff, travel time and peak flow worked by hand from published formulas and tables."""

import numpy as np
import pytest

from siting.floods.graphical import unit_peak_csm_in
from siting.floods.rational import rational_peak_m3s
from siting.floods.runoff import runoff_depth_mm
from siting.floods.travel_time import kirpich_h

IN, FT = 25.4, 0.3048
CFS, MM_PER_INCH, HA_PER_ACRE = 0.028316846592, 25.4, 0.40468564224


def test_runoff_cn_3_no_runoff_below_the_initial_abstraction() -> None:
    """Computed from TR-55 equation 2-1: 0.8 in on curve number 70 leaves exactly nothing."""
    assert runoff_depth_mm(0.8 * IN, 70) == 0.0


def test_runoff_faulty_cell_of_table_2_1_is_the_table_not_the_equation() -> None:
    """TR-55 table 2-1, 7.0 in and curve number 50: 1.667 by equation 2-3, 1.68 in the table."""
    assert runoff_depth_mm(7.0 * IN, 50) / IN == pytest.approx(1.6667, abs=0.0005)


def test_kirpich_tc_4_and_5() -> None:
    """Computed: the constant 0.0195 (metric), and the form (11.9 L^3 / H)^0.385."""
    assert kirpich_h(304.8, 0.02) * 60 == pytest.approx(7.19, abs=0.03)
    assert kirpich_h(5280 * FT, 200 / 5280) * 60 == pytest.approx(20.25, abs=0.1)


@pytest.mark.parametrize(
    ("storm_type", "tc_h", "expected"),
    [
        ("II", [0.1, 0.5, 1, 2, 5, 10], [1010, 529.1, 357.5, 225.5, 110.4, 59.4]),
        ("I", [0.5, 1, 2], [281.6, 202.1, 138.0]),
        ("IA", [0.5, 1, 2], [130.4, 107.8, 84.1]),
        ("III", [0.5, 1, 2], [410.9, 297.3, 200.3]),
    ],
)
def test_unit_peak_pk_4_to_7(storm_type: str, tc_h: list[float], expected: list[float]) -> None:
    """Computed from TR-55 table F-1 at Ia/P 0.10, apart from the code under test."""
    unit = unit_peak_csm_in(tc_h, ia_over_p=0.10, storm_type=storm_type)
    np.testing.assert_allclose(unit, expected, atol=0.1)


def test_rational_rm_3() -> None:
    """Computed: C 0.22, 2.0 in/h on 40 acres is 17.6 cfs, 17.74 with the exact factor 1.008."""
    flow = rational_peak_m3s(
        40 * HA_PER_ACRE, intensity_mm_h=2.0 * MM_PER_INCH, runoff_coefficient=0.22
    )
    assert flow / CFS == pytest.approx(17.74, abs=0.01)
