"""Where cells lie on the channels: the reach and the metres up it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.network import first_channel_cell
from terrain.channels.network import ChannelNetwork
from terrain.flow.flow_field import FlowField


def place_on_network(
    flow: FlowField, counts: NDArray[Any], network: ChannelNetwork, cells: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Reach and station of cells, each where its water first meets a channel.

    Parameters
    ----------
    flow, counts
        Flow directions and integer drainage counts of the network's grid.
    network
        Channels.
    cells
        Flat cell numbers, shape ``(n,)``.

    Returns
    -------
    tuple
        Reach (-1 where the water meets no channel) and metres up it from its lower end (0 there);
        a cell above a channel's head counts on from its top.
    """
    if not network.size:
        return np.full(cells.size, -1, dtype=np.int64), np.zeros(cells.size)
    channel = np.empty(cells.size, dtype=np.int64)
    way = np.empty(cells.size, dtype=np.float64)
    threshold = network.threshold_cells
    first_channel_cell(flow.codes, counts, threshold, cells, flow.step_m, channel, way)
    reach = network.reach_at(channel)
    own = np.ones(network.line_cells.size, dtype=np.bool_)
    own[network.line_end[network.downstream >= 0] - 1] = False  # the junction below
    entries = np.flatnonzero(own)
    entries = entries[np.argsort(network.line_cells[entries], kind="stable")]
    at = np.searchsorted(network.line_cells[entries], channel)
    at = entries[np.minimum(at, entries.size - 1)]
    is_top = at == network.line_start[reach]
    station = network.vertex_station_m[at] + np.where(is_top, way, 0.0)
    return reach, np.where(reach >= 0, station, 0.0)
