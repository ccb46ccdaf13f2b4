"""Curve numbers against TR-55 (second edition, 1986), tables 2-2c and 2-2d."""

import numpy as np
import pytest

from siting.floods.curve_numbers import CONDITIONS, built_in_covers
from tests.published.printed import cells

NO = np.nan
TABLE_2_2D = {
    "herbaceous": [[NO, 80, 87, 93], [NO, 71, 81, 89], [NO, 62, 74, 85]],
    "oak_aspen": [[NO, 66, 74, 79], [NO, 48, 57, 63], [NO, 30, 41, 48]],
    "pinyon_juniper": [[NO, 75, 85, 89], [NO, 58, 73, 80], [NO, 41, 61, 71]],
    "sagebrush": [[NO, 67, 80, 85], [NO, 51, 63, 70], [NO, 35, 47, 55]],
    "desert_shrub": [[63, 77, 85, 88], [55, 72, 81, 86], [49, 68, 79, 84]],
}
TABLE_2_2C = {
    "pasture": [[68, 79, 86, 89], [49, 69, 79, 84], [39, 61, 74, 80]],
    "meadow": [[30, 58, 71, 78]] * 3,
    "brush": [[48, 67, 77, 83], [35, 56, 70, 77], [30, 48, 65, 73]],
    "woods_grass": [[57, 73, 82, 86], [43, 65, 76, 82], [32, 58, 72, 79]],
    "woods": [[45, 66, 77, 83], [36, 60, 73, 79], [30, 55, 70, 77]],
}


@pytest.mark.parametrize("cover", TABLE_2_2D)
def test_table_2_2d(cover: str) -> None:
    """TR-55 table 2-2d, arid and semiarid rangeland; group A is printed for desert shrub only."""
    assert CONDITIONS == ("poor", "fair", "good")
    found = built_in_covers().covers[cover].numbers
    cells(found, TABLE_2_2D[cover], of="TR-55 table 2-2d")


@pytest.mark.parametrize("cover", TABLE_2_2C)
def test_table_2_2c(cover: str) -> None:
    """TR-55 table 2-2c, other agricultural land."""
    found = built_in_covers().covers[cover].numbers
    cells(found, TABLE_2_2C[cover], of="TR-55 table 2-2c")
