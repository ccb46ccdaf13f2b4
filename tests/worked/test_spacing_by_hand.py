"""Spacing rules against numbers worked by hand from published formulas.

Sources: Heede and Mufich 1973, in Heede 1976 (USDA Forest Service Research Paper RM-169; from
memory); EPA and state best-practice manuals (head-to-toe); Geyik 1986 (FAO Conservation Guide 13/2;
from memory); Leopold, Wolman and Miller 1964 (riffle spacing and deposit slope).
"""

import math

import numpy as np
import pytest

from siting.structures.spacing import (
    channel_widths_m,
    compensation_m,
    head_to_toe_m,
    heede_mufich_m,
    one_rock_spacing_m,
    wedge_m,
)

# height m, slope, Heede and Mufich m, head-to-toe m, K = 0.5 m, compensation slope m (or none)
ROWS = [
    (0.20, 0.02, 33.34, 10.00, 20.00, None),
    (0.20, 0.03, 22.23, 6.67, 13.34, None),
    (0.30, 0.03, 33.35, 10.00, 20.01, None),
    (0.60, 0.05, 40.05, 12.00, 24.03, 30.00),
    (0.60, 0.10, 20.10, 6.00, 12.06, 8.57),
    (1.00, 0.20, 17.00, 5.00, 10.20, 5.88),
    (1.00, 0.21, 9.73, 4.76, 9.73, 5.56),
    (1.20, 0.30, 8.35, 4.00, 8.35, 4.44),
]


@pytest.mark.parametrize(("height", "slope", "heede", "toe", "wedge", "compensation"), ROWS)
def test_every_rule_on_every_row(
    height: float,
    slope: float,
    heede: float,
    toe: float,
    wedge: float,
    compensation: float | None,
) -> None:
    near = {"abs": 0.006}
    assert heede_mufich_m(height, slope) == pytest.approx(heede, **near)
    assert head_to_toe_m(height, slope) == pytest.approx(toe, **near)
    assert wedge_m(height, slope) == pytest.approx(wedge, **near)
    if compensation is None:
        assert math.isnan(float(compensation_m(height, slope)))
    else:
        assert compensation_m(height, slope) == pytest.approx(compensation, **near)


def test_heede_and_mufich_step_at_a_slope_of_a_fifth() -> None:
    below, above = heede_mufich_m(1.0, [0.20, np.nextafter(0.20, 1)])
    assert below == pytest.approx(17.0, abs=0.01)
    assert above == pytest.approx(10.2, abs=0.01)
    assert below / above == pytest.approx(0.5 / 0.3)


def test_number_of_structures_on_a_worked_reach() -> None:
    """100 m at 5 % with 0.60 m: 9 head-to-toe, 3 after Heede and Mufich."""
    count = [math.ceil(100 / float(rule(0.6, 0.05))) for rule in (head_to_toe_m, heede_mufich_m)]
    assert count == [9, 3]
    assert math.ceil(100 / float(compensation_m(0.6, 0.05))) == 4


def test_riffle_spacing_of_a_channel_two_metres_wide() -> None:
    low, high = channel_widths_m(2.0)
    assert (low, high) == (10.0, 14.0)


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (2.0, 12.0),  # 6 widths, between 6.67 (head-to-toe) and 13.34 (K = 0.5)
        (0.5, 6.67),  # head-to-toe is the least
        (9.0, 13.34),  # the wedge is the most
    ],
)
def test_one_rock_default_lies_between_head_to_toe_and_the_wedge(
    width: float, expected: float
) -> None:
    spacing = one_rock_spacing_m(0.20, 0.03, width_m=width)
    assert spacing == pytest.approx(expected, abs=0.006)


def test_a_level_bed_needs_no_second_structure() -> None:
    assert head_to_toe_m(0.2, 0.0) == math.inf
    assert wedge_m(0.2, 0.0) == math.inf


def test_measured_deposits_at_santa_rita_imply_k_near_a_third() -> None:
    """37 structures at Santa Rita, Arizona: deposits 0.039 and 0.047 on beds of 0.061 and 0.071."""
    for deposit, bed, implied in ((0.039, 0.061, 0.361), (0.047, 0.071, 0.338)):
        k = 1 - deposit / bed
        assert k == pytest.approx(implied, abs=0.001)
        assert wedge_m(0.3, bed, k=k) * (bed - deposit) * math.cos(math.atan(bed)) == (
            pytest.approx(0.3)
        )
