"""Flow codes: 0 to 7 clockwise from north, and what else a cell can be."""

from __future__ import annotations

import numpy as np

#: Row and column step of each code: N, NE, E, SE, S, SW, W, NW.
ROW_STEP = np.array([-1, -1, 0, 1, 1, 1, 0, -1], dtype=np.int64)
COL_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)

#: The order in which neighbours are tried where distance decides: sides first, then corners.
SIDES_FIRST = np.array([0, 2, 4, 6, 1, 3, 5, 7], dtype=np.int64)

OUTLET = 8  # water leaves the raster here
UNRESOLVED = 9  # no lower neighbour yet
FLAT_NOW = 10  # in the flat that is being worked on
FLAT_CLOSED = 11  # in a flat of which nothing drains by itself
EXPLICIT = 16  # flag: the direction does not come from the slope
VOID = 255  # no elevation
