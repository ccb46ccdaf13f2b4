"""Where more land, beyond the raster's edge or in a hole, may drain in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.upslope import inflow_at_edge
from terrain.flow.flow_field import FlowField
from terrain.values.parallel import over_bands


def inflow_cells(flow: FlowField) -> NDArray[np.int64]:
    """Flat numbers, rising, of the edge cells that drain inwards, shape ``(n,)``."""
    edge = np.empty(flow.grid.shape, dtype=np.bool_)
    over_bands(lambda a, b: inflow_at_edge(flow.codes, a, b, edge), flow.grid.rows)
    return np.flatnonzero(edge)
