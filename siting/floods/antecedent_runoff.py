"""Curve numbers after dry and wet days: antecedent runoff conditions I and III.

Source: USDA NRCS, National Engineering Handbook, part 630, chapter 10, table 10-1. A curve number
of the cover tables is of condition II, the middle of the storms; I and III are about the 10 and 90
per cent bounds of single storms. They are no error of the design flow, which is of the middle.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np

from siting.floods.data_files import data_file
from siting.floods.runoff import check_curve_number
from terrain.values.arrays import ArrayLike, FloatArray, frozen

_ROWS: Final = frozen(data_file("antecedent_runoff.toml")["rows"])


def antecedent_curve_number(
    curve_number: ArrayLike, condition: Literal["I", "II", "III"]
) -> FloatArray:
    """Curve number of an antecedent runoff condition for one of condition II.

    Between whole numbers the table is read linearly. Any shape, which the result keeps; NaN stays
    NaN.

    Raises
    ------
    CurveNumberError
        For a curve number outside 30 to 100.
    """
    column = {"II": 0, "I": 1, "III": 2}[condition]
    return np.asarray(np.interp(check_curve_number(curve_number), _ROWS[:, 0], _ROWS[:, column]))
