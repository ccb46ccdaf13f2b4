"""How fast a person walks on a slope.

W. R. Tobler (1993), Three Presentations on Geographical Analysis and Modeling, National Center for
Geographic Information and Analysis, Technical Report 93-1 (formula and off-path factor as given
there; the page is not stated because the report was not at hand, only its formula as cited).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Fastest walk, at a fall of 5 %, km/h.
TOP_SPEED_KMH = 6.0
#: Slope, as rise over run, at which a person walks fastest.
EASIEST_SLOPE = -0.05
_STEEPNESS = 3.5
#: Off a path a person walks so much of that speed.
OFF_PATH = 0.6


def walking_speed_mps(slope: ArrayLike, *, off_path: bool = True) -> NDArray[np.floating[Any]]:
    """Speed on a slope by Tobler's function, ``6 exp(-3.5 |slope + 0.05|)`` km/h.

    Parameters
    ----------
    slope
        Rise over run in the direction of walking; negative downhill; any shape.
    off_path
        Whether there is no path: six tenths of the speed.

    Returns
    -------
    ndarray
        Speed along the ground plan, m/s, of the same shape.
    """
    s = np.asarray(slope)
    speed = TOP_SPEED_KMH / 3.6 * np.exp(-_STEEPNESS * np.abs(s - EASIEST_SLOPE))
    out: NDArray[np.floating[Any]] = np.asarray(speed * (OFF_PATH if off_path else 1.0))
    return out
