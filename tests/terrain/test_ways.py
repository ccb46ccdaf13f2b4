"""The way up and down from a cell, against plain walks."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from terrain.flow.conditioning import condition
from terrain.flow.ways import cells_down, cells_up
from terrain.values.raster import Raster


@pytest.fixture(scope="module")
def land():
    y, x = np.mgrid[0:60, 0:50]
    rng = np.random.default_rng(2)
    z = 0.1 * (60 - y) + 0.05 * np.abs(x - 25 - 6 * np.sin(y / 9)) + 0.05 * rng.random(y.shape)
    flow = condition(Raster.from_array(z)).flow
    return flow, flow.accumulate()


def test_down_follows_the_flow(land) -> None:
    flow, _ = land
    way = cells_down(flow, 8 * 50 + 20, length_m=20.0)
    assert way[0] == 8 * 50 + 20
    np.testing.assert_array_equal(flow.downstream(way[:-1]), way[1:])
    row, col = np.divmod(way, 50)
    assert np.hypot(np.diff(row), np.diff(col)).sum() >= 20.0


def test_up_takes_the_larger_donor_to_the_divide(land) -> None:
    flow, counts = land
    start = int(np.argmax(counts))
    way = cells_up(flow, counts, start, length_m=1e9)
    np.testing.assert_array_equal(flow.downstream(way[1:]), way[:-1])
    every = np.flatnonzero(flow.codes.reshape(-1) < 8)
    into = flow.downstream(every)
    for here, above in pairwise(way):
        donors = every[into == here]
        assert counts.reshape(-1)[above] == counts.reshape(-1)[donors].max()
    assert not (into == way[-1]).any()


def test_up_ends_at_a_length_and_at_a_count(land) -> None:
    flow, counts = land
    start = int(np.argmax(counts))
    row, col = np.divmod(cells_up(flow, counts, start, length_m=10.0), 50)
    step = np.hypot(np.diff(row), np.diff(col))
    assert step.sum() >= 10.0 > step[:-1].sum()
    way = cells_up(flow, counts, start, length_m=1e9, least_count=40)
    assert (counts.reshape(-1)[way] >= 40).all()
    assert cells_up(flow, counts, start, length_m=0.0).tolist() == [start]
