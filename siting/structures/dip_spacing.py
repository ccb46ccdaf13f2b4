"""How far water may run along a road: the greatest distances between dips, by grade and soil.

Keller and Sherar 2003, Low-Volume Roads Engineering, table 7.1 (adapted there from Packer and
Christensen 1964 and Copstead, Johansen and Moll 1998). Its bands leave gaps (0 to 3, 4 to 6, 7 to
9, 10 to 12, more than 12 %): a grade in a gap takes the steeper band. The distances themselves
stand with the limits (``rules.toml``), those of erosive soil as the lower number.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from siting.values.rules import Limit, Rules
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

#: Soils of the table: fine, friable, silt and fine sand; coarse rocky, gravel and some clay.
EROSIVE, FIRM = "erosive", "firm"
SOILS: Final = (EROSIVE, FIRM)
#: Steepest grade of each band, and the limit that holds its distances; the last has no end.
BANDS: Final = (
    (0.03, "road_dip.spacing_to_3"),
    (0.06, "road_dip.spacing_to_6"),
    (0.09, "road_dip.spacing_to_9"),
    (0.12, "road_dip.spacing_to_12"),
    (np.inf, "road_dip.spacing_steeper"),
)
#: A grade such as 0.12 is not exactly 12 per cent of its double.
_ROUNDING: Final = 1e-9


def band_of(grade: ArrayLike) -> NDArray[np.int64]:
    """Number of the band that each grade falls into, from 0; any shape.

    Raises
    ------
    ParameterError
        A grade below zero, or not known.
    """
    g = np.asarray(grade, dtype=np.float64)
    if not (g >= 0).all():
        raise ParameterError("a road grade below zero or unknown", expected="zero or more")
    ends = np.array([end for end, _ in BANDS[:-1]]) + _ROUNDING
    return np.asarray(np.searchsorted(ends, g, side="left"), dtype=np.int64)


def distance_limit(grade: float, rules: Rules) -> Limit:
    """The limit that holds the distances for a grade: low on erosive soil, high on firm soil."""
    return rules[BANDS[int(band_of(grade))][1]]


def greatest_m(grade: ArrayLike, rules: Rules, *, soil: str = EROSIVE) -> FloatArray:
    """Greatest distance that water may run along a road, m; any shape.

    Parameters
    ----------
    grade
        Mean grade of the road over that distance, m per m.
    rules
        Limits.
    soil
        One of `SOILS`.

    Raises
    ------
    ParameterError
        A grade below zero or not known, or another soil.
    """
    if soil not in SOILS:
        raise ParameterError(f"road soil '{soil}'", expected=" or ".join(SOILS))
    by_band = [rules.low(n) if soil == EROSIVE else rules.high(n) for _, n in BANDS]
    return np.asarray(np.array(by_band)[band_of(grade)])
