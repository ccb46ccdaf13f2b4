"""Channels: reaches, orders, stems and lines against plain-Python references."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from numpy.typing import NDArray

from terrain.channels.network import (
    ChannelNetwork,
    channel_network,
    default_channel_area_ha,
    stems,
    threshold_cells,
)
from terrain.flow.conditioning import condition
from terrain.flow.flow_field import FlowField
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid
from tests.terrain import oracle
from tests.terrain.surfaces import random_cases

HECTARE = 10_000.0


def of_cells(flow: FlowField, cells: int) -> tuple[ChannelNetwork, NDArray[np.int32], float]:
    """Network from a threshold in cells."""
    counts = flow.accumulate()
    area = cells * flow.grid.cell_area_m2 / HECTARE
    return channel_network(flow, counts, channel_area_ha=area), counts, area


def small_flows(seed: int, number: int) -> list[FlowField]:
    return [condition(case.raster).flow for case in random_cases(seed, number)]


def flat_number(flow: FlowField, cell: oracle.Cell) -> int:
    return cell[0] * flow.grid.cols + cell[1]


def vertices(network: ChannelNetwork, reach: int) -> list[int]:
    cells: list[int] = network.line_cells[
        network.line_start[reach] : network.line_end[reach]
    ].tolist()
    return cells


@pytest.mark.parametrize("threshold", [1, 2, 4, 9])
def test_reaches_orders_and_counts(threshold: int) -> None:
    for flow in small_flows(threshold, 25):
        network, counts, _ = of_cells(flow, threshold)
        lines = oracle.reaches(flow.codes, counts, threshold)
        expected = {
            tuple(flat_number(flow, c) for c in line): order
            for line, order in zip(lines, oracle.strahler(lines), strict=True)
        }
        got = {tuple(vertices(network, i)): order for i, order in enumerate(network.order.tolist())}
        assert got == expected
        flat = counts.reshape(-1)
        ends = [vertices(network, i)[-1] for i in range(network.size)]
        for i in range(network.size):
            line = vertices(network, i)
            assert network.head_count[i] == flat[line[0]]
            own_last = line[-1] if ends.count(line[-1]) == 1 else line[-2]
            below = network.downstream[i]
            if below >= 0:
                assert vertices(network, below)[0] == line[-1]
                own_last = line[-2]
            else:
                assert flow.codes.flat[line[-1]] == 8
            assert network.cell_count[i] == flat[own_last]


def test_every_channel_cell_has_the_reach_it_lies_in() -> None:
    for flow in small_flows(5, 25):
        network, counts, _ = of_cells(flow, 3)
        np.testing.assert_array_equal(network.cells, np.flatnonzero(counts >= 3))
        for cell, reach in zip(
            network.cells.tolist(), network.reach_at(network.cells).tolist(), strict=True
        ):
            if reach >= 0:
                assert cell in vertices(network, reach)
            else:  # a channel of one cell, where water leaves the raster
                assert flow.codes.flat[cell] == 8
        others = np.flatnonzero(counts < 3)
        assert (network.reach_at(others) == -1).all()


def test_reaches_are_numbered_by_the_land_they_carry() -> None:
    for flow in small_flows(6, 25):
        network, _, _ = of_cells(flow, 2)
        assert (np.diff(network.cell_count) <= 0).all()
        below = network.downstream
        assert (below[below >= 0] < np.flatnonzero(below >= 0)).all()


def y_shaped() -> FlowField:
    """Two arms of two cells that meet, go on for two and leave through the south edge."""
    codes = np.full((5, 5), 255, dtype=np.uint8)
    codes[0, 0], codes[1, 1] = 3, 3
    codes[0, 4], codes[1, 3] = 5, 5
    codes[2, 2], codes[3, 2], codes[4, 2] = 4, 4, 8
    return FlowField(Grid(5, 5, Affine(2, 0, 100, 0, -2, 200)), codes)


def test_a_fork_drawn_by_hand() -> None:
    network, _, _ = of_cells(y_shaped(), 1)
    assert network.order.tolist() == [2, 1, 1]
    assert network.downstream.tolist() == [-1, 0, 0]
    assert network.cell_count.tolist() == [7, 2, 2]
    assert network.head_count.tolist() == [5, 1, 1]
    assert network.drainage_area_ha[0] == pytest.approx(7 * 4 / HECTARE)
    np.testing.assert_allclose(network.length_m, [4, 4 * 2**0.5, 4 * 2**0.5])
    main, left, right = network.lines()
    assert list(main.coords) == [(105, 195), (105, 193), (105, 191)]
    assert list(left.coords) == [(101, 199), (103, 197), (105, 195)]
    assert list(right.coords) == [(109, 199), (107, 197), (105, 195)]


def test_stations_run_from_the_lower_end_up() -> None:
    network, _, _ = of_cells(y_shaped(), 1)
    diagonal = 8**0.5
    np.testing.assert_allclose(
        network.vertex_station_m, [4, 2, 0, 2 * diagonal, diagonal, 0, 2 * diagonal, diagonal, 0]
    )


def test_arms_that_meet_where_water_leaves_keep_their_own_area() -> None:
    codes = np.array([[3, 255, 5], [255, 8, 255]], dtype=np.uint8)
    flow = FlowField(Grid(2, 3, Affine(1, 0, 0, 0, -1, 0)), codes)
    network, _, _ = of_cells(flow, 1)
    assert network.downstream.tolist() == [-1, -1]
    assert network.cell_count.tolist() == [1, 1]
    assert network.order.tolist() == [1, 1]


def test_lines_lie_in_their_cells_and_have_the_length_said() -> None:
    for flow in small_flows(8, 15):
        network, _, _ = of_cells(flow, 2)
        if network.size:
            np.testing.assert_allclose(shapely.length(network.lines()), network.length_m)


def test_no_channel_at_all() -> None:
    network, _, _ = of_cells(y_shaped(), 100)
    assert network.size == 0
    assert network.lines().size == 0
    assert network.length_m.size == 0
    assert network.reach_at(np.array([0, 5])).tolist() == [-1, -1]
    found = stems(y_shaped(), y_shaped().accumulate(), channel_area_ha=1, top_area_ha=1)
    assert found.size == 0


@pytest.mark.parametrize(("threshold", "top"), [(4, 4), (4, 1), (9, 3), (1, 1)])
def test_stems(threshold: int, top: int) -> None:
    for flow in small_flows(10 * threshold + top, 25):
        counts = flow.accumulate()
        area = flow.grid.cell_area_m2 / HECTARE
        found = stems(flow, counts, channel_area_ha=threshold * area, top_area_ha=top * area)
        expected = [
            (
                [flat_number(flow, c) for c in line],
                -1 if joins is None else flat_number(flow, joins),
            )
            for line, joins in oracle.stems(flow.codes, counts, threshold, top)
        ]
        got = [(found.of(i).tolist(), joins) for i, joins in enumerate(found.joins.tolist())]
        assert got == expected


def test_every_channel_cell_lies_in_one_stem() -> None:
    for flow in small_flows(12, 15):
        counts = flow.accumulate()
        area = 3 * flow.grid.cell_area_m2 / HECTARE
        found = stems(flow, counts, channel_area_ha=area, top_area_ha=area)
        assert sorted(found.cells.tolist()) == np.flatnonzero(counts >= 3).tolist()


def test_the_default_area_follows_the_cell() -> None:
    assert default_channel_area_ha(1.0) == 0.3
    assert default_channel_area_ha(10.0) == pytest.approx(0.6)


def test_thresholds_are_whole_cells_rounded_up() -> None:
    grid = Grid(5, 5, Affine(2, 0, 0, 0, -2, 0))
    assert threshold_cells(grid, 0.0004) == 1
    assert threshold_cells(grid, 0.0012) == 3
    assert threshold_cells(grid, 0.0013) == 4
    assert threshold_cells(grid, 1e-9) == 1


@pytest.mark.parametrize("area", [0, -1, np.nan, np.inf])
def test_areas_are_above_zero(area: float) -> None:
    with pytest.raises(ParameterError, match="channel area"):
        threshold_cells(y_shaped().grid, area)
