"""Places on the channels, against plain walks down the flow."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.channels.network import channel_network
from terrain.channels.on_network import place_on_network
from terrain.flow.conditioning import condition
from terrain.flow.edges import inflow_cells
from terrain.values.raster import Raster


@pytest.fixture(scope="module")
def land():
    rng = np.random.default_rng(11)
    z = np.cumsum(np.cumsum(rng.standard_normal((50, 60)), 0), 1) * 0.05 + 100
    flow = condition(Raster.from_array(z.astype(np.float32))).flow
    counts = flow.accumulate()
    return flow, counts, channel_network(flow, counts, channel_area_ha=0.004)


def test_reach_and_station_of_every_cell(land) -> None:
    flow, counts, network = land
    cells = np.arange(flow.grid.size)
    reach, station = place_on_network(flow, counts, network, cells)
    tops = network.line_cells[network.line_start]
    for cell in cells:
        at, way = int(cell), 0.0
        while at >= 0 and network.reach_at(np.array([at]))[0] < 0:
            way += flow.step_m[min(flow.codes.flat[at], 7)]
            at = int(flow.downstream(np.array([at]))[0])
        if at < 0:
            assert (reach[cell], station[cell]) == (-1, 0.0)
            continue
        r = int(network.reach_at(np.array([at]))[0])
        line = slice(network.line_start[r], network.line_end[r])
        along = network.vertex_station_m[line][list(network.line_cells[line]).index(at)]
        assert reach[cell] == r
        assert station[cell] == pytest.approx(along + (way if at == tops[r] else 0.0))


def test_without_channels_there_is_no_place(land) -> None:
    flow, counts, _ = land
    none = channel_network(flow, counts, channel_area_ha=100.0)
    reach, station = place_on_network(flow, counts, none, np.arange(5))
    assert (reach == -1).all()
    assert (station == 0).all()


def test_inflow_cells_lie_on_the_edge_and_drain_inwards(land) -> None:
    flow, _, _ = land
    cells = inflow_cells(flow)
    row, col = np.divmod(cells, flow.grid.cols)
    on_edge = (row == 0) | (col == 0) | (row == 49) | (col == 59)
    assert on_edge.all()
    assert (flow.downstream(cells) >= 0).all()
    others = np.setdiff1d(np.arange(flow.grid.size), cells)
    r, c = np.divmod(others, flow.grid.cols)
    edge = (r == 0) | (c == 0) | (r == 49) | (c == 59)
    assert (flow.downstream(others[edge]) == -1).all()
