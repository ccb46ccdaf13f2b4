"""Where a road can let its water out: on which side, onto what ground, and where to from there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from siting.channels.ground import Ground
from siting.layout.clearance import position_error_m
from siting.layout.flow_ways import WANDERING, way_lines
from siting.layout.keep_clear import BUILDING, CULVERT, OTHER, POND, ROAD, KeepClear
from siting.layout.road_profile import RoadPiece, ground_beside
from siting.values.wording import metres
from terrain.values.arrays import BoolArray, FloatArray, IntArray

_AGAIN: Final = {ROAD: "a road again", OTHER: "a feature to keep clear of"}


@dataclass(frozen=True, slots=True, eq=False)
class Outlets:
    """Where the water can leave, at each station of a road.

    Parameters
    ----------
    side
        1 left of the line as drawn, -1 right, 0 on neither side.
    slope
        Fall of the ground there, m per m; infinite for neither.
    cell
        Flat number of the cell at the outlet's end; -1 for neither.
    """

    side: IntArray
    slope: FloatArray
    cell: IntArray


def cells_at(ground: Ground, x_m: FloatArray, y_m: FloatArray) -> IntArray:
    """Flat cells of places; -1 off the raster and on holes."""
    grid = ground.raster.grid
    row, col = grid.rowcol(x_m, y_m)
    there = grid.contains(row, col)
    cell = np.where(there, row * grid.cols + col, 0)
    return np.where(there & ground.raster.valid.reshape(-1)[cell], cell, -1)


def outlets_of(piece: RoadPiece, keep: KeepClear, ground: Ground) -> Outlets:
    """Find the gentler side that lets the water out, at each station."""
    rules = ground.rules
    best = Outlets(
        side=np.zeros(piece.x_m.size, dtype=np.int64),
        slope=np.full(piece.x_m.size, np.inf),
        cell=np.full(piece.x_m.size, -1, dtype=np.int64),
    )
    for side in (1, -1):
        beside = ground_beside(
            piece,
            ground.raster,
            side=side,
            width_m=rules.value("road_dip.road_width"),
            length_m=rules.high("road_dip.outlet_length"),
        )
        cell = cells_at(ground, beside.x_m, beside.y_m)
        with np.errstate(invalid="ignore"):
            good = (
                beside.is_open
                & (cell >= 0)
                & (beside.slope >= rules.low("road_dip.outlet_slope"))
                & (beside.slope <= rules.high("road_dip.outlet_slope"))
                & (beside.slope < best.slope)
            )
        at = np.flatnonzero(good)
        at = at[_soaks_in(cell[at], keep, ground)]
        best.side[at], best.slope[at], best.cell[at] = side, beside.slope[at], cell[at]
    return best


def _soaks_in(cells: IntArray, keep: KeepClear, ground: Ground) -> BoolArray:
    """Whether water let out at cells stays clear of channels, ponds, culverts and buildings."""
    gap = ground.rules.value("road_dip.channel_gap")
    way, walked = ground.ways_down(cells, length_m=gap)
    on = (way >= 0) & (walked <= gap)
    at = np.maximum(way, 0)
    channel = ground.counts.reshape(-1)[at] >= ground.network.threshold_cells
    clear = ~(on & (channel | ground.under_water(at))).any(axis=1)
    own = np.isin(keep.kind, [BUILDING, CULVERT, POND])
    if own.any() and cells.size:
        length = ground.rules.value("keep_clear.reach_below")
        ways = ground.ways_down(cells, length_m=WANDERING * length)
        lines = way_lines(ground, *ways, length)
        error = position_error_m(ground.rules, ground.raster.grid.cell_m)
        tree = shapely.STRtree(keep.shapes[own])
        clear[tree.query(lines, predicate="dwithin", distance=error)[0]] = False
    return np.asarray(clear)


def further_down(keep: KeepClear, ground: Ground, cells: IntArray) -> list[tuple[str, ...]]:
    """Say what the water of outlets comes to further down: a headcut, a road, other features."""
    length = ground.rules.value("road_dip.look_below")
    way, walked = ground.ways_down(cells, length_m=WANDERING * length)
    lines = way_lines(ground, way, walked, length)
    meets: list[dict[str, float]] = [{} for _ in range(cells.size)]
    at_head = np.isin(way, ground.headcuts.cell) & (walked <= length)
    for i in np.flatnonzero(at_head.any(axis=1)):
        meets[i]["a headcut"] = float(walked[i, np.argmax(at_head[i])])
    own = np.flatnonzero(np.isin(keep.kind, list(_AGAIN)))
    place, hit = shapely.STRtree(keep.shapes[own]).query(lines, predicate="intersects")
    for i, k in zip(place, own[hit], strict=True):
        corners = shapely.get_coordinates(shapely.intersection(lines[i], keep.shapes[k]))
        far = shapely.line_locate_point(lines[i], shapely.points(corners)).min()
        what = _AGAIN[str(keep.kind[k])]
        meets[i][what] = min(float(far), meets[i].get(what, np.inf))
    return [
        tuple(
            f"The water let out here comes to {what} {metres(far)} further down: look there first, "
            "and spread the water or choose another place."
            for what, far in found.items()
        )
        for found in meets
    ]
