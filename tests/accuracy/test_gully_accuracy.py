"""Gullies on invented ground that nothing was settled on: overlap with the planted ones, and void.

Settled on seeds 1101 to 1104 of `tests.accuracy.grounds`, looked at on real rasters.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from terrain.channels.network import channel_network
from terrain.flow.conditioning import CarveLimits
from terrain.flow.engines import get_engine
from terrain.incision.gully_shapes import Gullies, find_gullies
from terrain.incision.incised_ground import find_incised
from tests.accuracy.grounds import MadeGround, made_ground


def gullies_on(made: MadeGround) -> Gullies:
    raster = made.raster()
    flow = get_engine("native").condition(raster, limits=CarveLimits()).flow
    counts = flow.accumulate()
    lines = channel_network(flow, counts, channel_area_ha=0.03)
    incised = find_incised(raster, lines)
    return find_gullies(raster, flow, counts, flow_lines=lines, incised=incised)


def numbers(made: MadeGround, gullies: Gullies) -> NDArray[np.int64]:
    """Number of the gully found at each cell, 0 for none."""
    grid = made.raster().grid
    x, y = grid.xy(*np.indices(grid.shape))
    out = np.zeros(grid.shape, dtype=np.int64)
    for k in reversed(range(gullies.size)):
        shape = gullies.outline[k]
        west, south, east, north = shape.bounds
        box = (x > west) & (x < east) & (y > south) & (y < north)
        out[box] = np.where(shapely.contains_xy(shape, x[box], y[box]), k + 1, out[box])
    return out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "overlap", "void_error"), [("second_lidar", 0.65, 0.3), ("ranch_lidar", 0.5, 0.35)]
)
def test_gullies_overlap_the_planted_ones(name: str, overlap: float, void_error: float) -> None:
    shared = either = 0
    errors = []
    wrong = right = 0
    for seed in (1201, 1202):
        made = made_ground(name, seed)
        gullies = gullies_on(made)
        found = numbers(made, gullies)
        planted = made.gully > 0
        shared += int((planted & (found > 0)).sum())
        either += int((planted | (found > 0)).sum())
        for told in range(1, int(made.gully.max()) + 1):
            own = made.gully == told
            met = np.bincount(found[own], minlength=gullies.size + 1)[1:]
            if own.sum() >= 60 and met.sum() >= 0.3 * own.sum():
                parts = np.flatnonzero(met > 0.05 * own.sum())
                void = made.cut_m[np.isin(found, parts + 1)].clip(0).sum()
                errors.append(gullies.void_m3[parts].sum() / void - 1)
        touched = [bool((planted & (found == k + 1)).any()) for k in range(gullies.size)]
        right += sum(touched)
        wrong += gullies.size - sum(touched)
    assert shared / either > overlap
    assert float(np.median(np.abs(errors))) < void_error
    assert wrong <= 0.1 * (right + wrong) + 1
