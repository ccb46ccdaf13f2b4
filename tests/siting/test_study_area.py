"""The ranch and what drains into it, against plain walks down the flow."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.study_area import CutAreas, StudyArea, reaches_of
from terrain.channels.drainage_areas import Catchments, incomplete_counts
from terrain.channels.network import channel_network
from terrain.flow.conditioning import condition
from terrain.values.raster import Raster


def land(seed: int, hole: bool = False):
    rng = np.random.default_rng(seed)
    z = np.cumsum(np.cumsum(rng.standard_normal((40, 50)), 0), 1) * 0.05 + 100
    valid = np.ones(z.shape, bool)
    if hole:
        valid[10:14, 20:26] = False
    raster = Raster.from_array(z.astype(np.float32), valid=valid)
    flow = condition(raster).flow
    counts = flow.accumulate()
    return raster, flow, counts, Catchments.of(flow, counts)


def ways(flow):
    """For each cell, the set of cells its water passes (itself included), walked one by one."""
    below = flow.downstream(np.arange(flow.grid.size))
    below[flow.codes.reshape(-1) == 255] = -1
    out = []
    for cell in range(flow.grid.size):
        passed = [cell]
        while below[passed[-1]] >= 0:
            passed.append(int(below[passed[-1]]))
        out.append(passed)
    return out


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("hole", [False, True])
def test_cells_whose_water_passes_the_ranch(seed: int, hole: bool) -> None:
    raster, flow, _, catchments = land(seed, hole)
    ranch = np.zeros(flow.grid.shape, bool)
    ranch[15:30, 12:33] = True
    ranch[20:24, 18:22] = False  # a ranch with a hole: water may leave and come back
    study = StudyArea.of(catchments, ranch)
    flat = (ranch & raster.valid).reshape(-1)
    expected = np.array([any(flat[c] for c in way) for way in ways(flow)])
    expected &= raster.valid.reshape(-1)
    known = np.flatnonzero(raster.valid)
    assert np.array_equal(study.contains(known), expected[known])
    assert study.area_ha == pytest.approx(expected.sum() / 10_000)
    rows, cols = np.nonzero(expected.reshape(flow.grid.shape))
    assert study.bounds() == pytest.approx(
        (cols.min(), 40 - rows.max() - 1, cols.max() + 1, 40 - rows.min())
    )


def test_a_ranch_without_ground_has_no_land() -> None:
    _, flow, _, catchments = land(1)
    study = StudyArea.of(catchments, np.zeros(flow.grid.shape, bool))
    assert study.area_ha == 0
    assert study.bounds() is None
    assert not study.contains([0, 1, 2]).any()


@pytest.mark.parametrize("hole", [False, True])
def test_cut_areas_agree_with_counting_edge_cells(hole: bool) -> None:
    raster, flow, _, catchments = land(2, hole)
    cells = np.flatnonzero(raster.valid)
    counted = incomplete_counts(flow).reshape(-1)[cells] > 0
    assert counted.any()
    assert not counted.all()
    assert np.array_equal(CutAreas.of(catchments).is_cut(cells), counted)


def test_an_edge_taken_for_a_divide_cuts_nothing() -> None:
    raster, _, _, catchments = land(2)
    cut = CutAreas.of(catchments, edge_is_divide=True)
    assert not cut.is_cut(np.flatnonzero(raster.valid)).any()


@pytest.mark.parametrize("seed", range(3))
def test_reaches_that_touch_the_ranch_or_run_into_it(seed: int) -> None:
    _, flow, counts, _ = land(seed)
    network = channel_network(flow, counts, channel_area_ha=0.002)
    assert network.size > 10
    ranch = np.zeros(flow.grid.shape, bool)
    ranch[15:25, 12:33] = True
    kept = reaches_of(network, ranch)
    for reach in range(network.size):
        at, touches = reach, False
        while at >= 0:
            line = network.line_cells[network.line_start[at] : network.line_end[at]]
            touches |= bool(ranch.reshape(-1)[line].any())
            at = int(network.downstream[at])
        assert kept[reach] == touches
    assert not kept.all()
