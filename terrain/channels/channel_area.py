"""Pick the drainage area where channels begin from the land itself.

Constant-drop test (Tarboton, Bras and Rodriguez-Iturbe 1991, Hydrological Processes 5:81-100): in a
channel network the streams of every Strahler order fall by about the same height. The smallest area
is taken for which the mean fall of first-order streams does not differ from that of the higher
orders (Student's t below 2 in size).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.channels.network import ChannelNetwork, channel_network, default_channel_area_ha
from terrain.flow.flow_field import FlowField
from terrain.values.raster import Raster

#: |t| below this means that the two means do not differ (about 95 % with many streams).
SAME_BELOW_T = 2.0
#: Streams that each of the two groups needs for the test to say anything.
LEAST_STREAMS = 5


@dataclass(frozen=True, slots=True)
class DropTest:
    """One tried area.

    Parameters
    ----------
    channel_area_ha
        The area, ha.
    first_order, higher_order
        Number of streams of order 1, and of higher orders.
    mean_first_m, mean_higher_m
        Their mean falls, m.
    t
        Student's t of the difference; NaN with too few streams.
    """

    channel_area_ha: float
    first_order: int
    higher_order: int
    mean_first_m: float
    mean_higher_m: float
    t: float


@dataclass(frozen=True, slots=True)
class PickedArea:
    """The area picked, and every test on the way.

    ``settled`` is False where no area passed; the default for the cell size is then given.
    """

    channel_area_ha: float
    settled: bool
    tests: tuple[DropTest, ...]


def stream_falls(
    network: ChannelNetwork, elevation_m: NDArray[Any]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Order and fall of every Strahler stream (reaches of one order in a row).

    Parameters
    ----------
    network
        Channels.
    elevation_m
        Conditioned heights of the same grid, m, ``(rows, cols)``.

    Returns
    -------
    tuple
        Orders and falls (m), one entry a stream, ``(n,)``.
    """
    z = elevation_m.reshape(-1)[network.line_cells]
    top, low = z[network.line_start], z[network.line_end - 1]
    order, down = network.order.astype(np.int64), network.downstream
    goes_on = (down >= 0) & (order[np.maximum(down, 0)] == order)
    fed = np.zeros(network.size, dtype=np.bool_)
    fed[down[goes_on]] = True
    end = low.astype(np.float64)
    for i in np.argsort(-network.head_count, kind="stable"):  # receivers first
        if goes_on[i]:
            end[i] = end[down[i]]
    starts = ~fed
    return order[starts], (top - end)[starts]


def pick_channel_area(
    flow: FlowField, counts: NDArray[Any], conditioned: Raster, *, tries: int = 16
) -> PickedArea:
    """Pick the area where channels begin by the constant-drop test.

    Parameters
    ----------
    flow, counts
        Flow directions and integer drainage counts of one grid, ``(rows, cols)``.
    conditioned
        Conditioned surface of that grid.
    tries
        Number of areas tried, from a fifth of the default for the cell size to 40 times it, in
        equal steps of their logarithm.
    """
    default = default_channel_area_ha(flow.grid.cell_m)
    tests: list[DropTest] = []
    for area in np.geomspace(default / 5, default * 40, tries):
        network = channel_network(flow, counts, channel_area_ha=float(area))
        tests.append(_drop_test(float(area), *stream_falls(network, conditioned.elevation_m)))
        if abs(tests[-1].t) < SAME_BELOW_T:
            return PickedArea(float(area), True, tuple(tests))
    return PickedArea(default, False, tuple(tests))


def _drop_test(area_ha: float, order: NDArray[np.int64], fall_m: NDArray[np.float64]) -> DropTest:
    first, higher = fall_m[order == 1], fall_m[order > 1]
    n, m = first.size, higher.size
    mean_first = float(first.mean()) if n else float("nan")
    mean_higher = float(higher.mean()) if m else float("nan")
    t = float("nan")
    if min(n, m) >= LEAST_STREAMS:
        pooled = ((n - 1) * first.var(ddof=1) + (m - 1) * higher.var(ddof=1)) / (n + m - 2)
        error = np.sqrt(pooled * (1 / n + 1 / m))
        t = float((mean_first - mean_higher) / error) if error > 0 else 0.0
    return DropTest(area_ha, n, m, mean_first, mean_higher, t)
