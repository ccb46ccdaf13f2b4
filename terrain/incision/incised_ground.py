"""Ground that is cut between edges, found from flow lines outwards.

How deep a place of a flow line lies below the ground on both sides is asked for several reaches,
each twice the one before. Between edges that depth grows until the reach passes them and then
stays; in a valley or a swale it goes on growing. The least reach at which a place is deep enough
and from which on it hardly deepens is its own, and the ground around it that lies below both
sides at that reach is taken in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.incision import NOWHERE, block_means, drop_hairs, edge_walls, spread
from terrain.channels.network import ChannelNetwork
from terrain.incision.height_noise import height_noise_m
from terrain.incision.trench_depth import trench_depth_m
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only
from terrain.values.grid import Grid
from terrain.values.parallel import over_bands
from terrain.values.raster import Raster

#: Memory of the search beside the raster, bytes a cell: two depths, one reach, and coarse ones.
BYTES_A_CELL = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class IncisionLimits:
    """When ground is cut between edges.

    Parameters
    ----------
    flow_line_area_ha
        Land that drains to a flow line at least, ha.
    least_reach_m
        Half the width of the narrowest trenches that are looked for, m; at least two cells.
    reaches
        Number of reaches, each twice the one before; fewer on cells so large that they start wider.
    least_depth_m
        Depth of incised ground on its flow line, m.
    noise_times
        And at least so many times the noise of the raster's heights.
    edge_noise_times
        Depth at the edges, at least, over that noise: a closing of flat ground lies twice it high.
    wall_slope
        Depth over reach at least, for each reach: the wider, the less a wall's slope tells of a
        flat floor, and the more a valley looks like one.
    least_wall, wall_length_m
        Slope over so many m of the walls that lead up to the edges, at least, m per m.
    steep_wall
        Slope of walls that leave no doubt.
    beyond_edge
        Slope of the ground beyond the edge over that of this wall, at most: more, and the ground
        goes on rising as it does inside.
    gentle
        A wall ends where the ground is this much less steep than where it is steepest.
    shelf
        Depth that is left at the upper end of the walls over that of the flow line, at most:
        more, and a hollow is told from the cut in it.
    edge_share, edge_m
        Ground within the edges lies at least this share of the flow line's depth below them, or
        at least so many metres.
    along_m
        Stretch of flow line over which depths are averaged, m.
    """

    flow_line_area_ha: float = 0.03
    least_reach_m: float = 4.0
    reaches: int = 4
    least_depth_m: float = 0.3
    noise_times: float = 6.0
    edge_noise_times: float = 3.0
    wall_slope: tuple[float, ...] = (0.075, 0.075, 0.06, 0.30)
    least_wall: float = 0.3
    steep_wall: float = 0.36
    wall_length_m: float = 2.0
    beyond_edge: float = 0.2
    gentle: float = 0.8
    shelf: float = 0.5
    edge_share: float = 0.35
    edge_m: float = 0.35
    along_m: float = 16.0

    def reaches_m(self, cell_m: float) -> list[float]:
        """Reaches on cells of a size, m, and one more beyond the widest."""
        widest_m = self.least_reach_m * 2 ** (self.reaches - 1)
        found = [max(self.least_reach_m, 2 * cell_m)]
        while 2 * found[-1] <= widest_m:
            found.append(2 * found[-1])
        return [*found, 2 * found[-1]]

    def widest_m(self, cell_m: float) -> float:
        """Width of the widest gully that can be told from a valley on cells of a size, m."""
        return 2 * self.reaches_m(cell_m)[-2]


@dataclass(frozen=True, slots=True, eq=False)
class IncisedGround:
    """Ground cut between edges.

    Parameters
    ----------
    grid
        Where the cells lie.
    reach
        uint8, shape ``(rows, cols)``: number of the reach at which a cell is incised, 255 where
        it is not.
    cells
        All incised cells, rising, ``(n,)``.
    on_line
        Places of flow lines from which ground was taken in, as flat cell numbers, ``(m,)``.
    steep
        Whether the walls at each of those are so steep that they leave no doubt, ``(m,)``.
    noise_m
        Noise of the raster's heights, m.
    """

    grid: Grid
    reach: NDArray[np.uint8]
    cells: IntArray
    on_line: IntArray
    steep: BoolArray
    noise_m: float

    @property
    def mask(self) -> BoolArray:
        """Whether cells are incised, shape ``(rows, cols)``."""
        inside: BoolArray = self.reach != NOWHERE
        return inside


def find_incised(
    raster: Raster, flow_lines: ChannelNetwork, limits: IncisionLimits | None = None
) -> IncisedGround:
    """Find the ground that is cut between edges.

    Parameters
    ----------
    raster
        Elevations as measured.
    flow_lines
        Network of all lines from which it may be found: that of a small drainage area.
    limits
        See `IncisionLimits`.
    """
    told = limits or IncisionLimits()
    noise_m = height_noise_m(raster)
    cell_m = raster.grid.cell_m
    reaches_m = told.reaches_m(cell_m)
    sizes = [_block_cells(reach_m, cell_m) for reach_m in reaches_m]
    cells = flow_lines.line_cells
    rows, cols = np.divmod(cells, raster.grid.cols)
    depths = [trench_depth_m(_coarser(raster, n), m) for m, n in zip(reaches_m, sizes, strict=True)]
    at = [(d, rows // size, cols // size) for d, size in zip(depths, sizes, strict=True)]
    steps = max(1, round(told.along_m / 2 / cell_m))
    along = _running_means(np.column_stack([d[r, c] for d, r, c in at]), flow_lines, steps)
    edges_m = np.minimum(told.edge_share * along, told.edge_m)
    edges_m = np.maximum(edges_m, _edge_noise_m(told, noise_m)).astype(np.float32)
    reach_of = np.full(cells.size, NOWHERE, dtype=np.uint8)
    steep = np.zeros(cells.size, dtype=np.bool_)
    for k in reversed(range(len(reaches_m) - 1)):
        block_m = sizes[k] * cell_m
        own = np.flatnonzero(_deep_enough(along[:, k], reaches_m[k], told, noise_m))
        depth, r, c = at[k]
        far, step = round(2 * reaches_m[k] / block_m), max(1, round(told.wall_length_m / block_m))
        edge_m = edges_m[own, k]
        wall, shelf_m = edge_walls(depth, r[own], c[own], edge_m, far, step, told.gentle)
        wall /= np.float32(block_m)
        beyond = (along[own, k + 1] - along[own, k]) / reaches_m[k]
        cut = (wall >= told.least_wall) & (beyond <= told.beyond_edge * wall)
        cut &= shelf_m <= told.shelf * along[own, k]
        reach_of[own[cut]] = k
        steep[own[cut]] = wall[cut] >= told.steep_wall
        edges_m[own, k] = np.maximum(edge_m, shelf_m)
    chosen = np.flatnonzero(reach_of < NOWHERE)
    edge_m = edges_m[chosen, reach_of[chosen]]
    reach = np.full(raster.grid.shape, NOWHERE, dtype=np.uint8)
    room = raster.valid_cells + chosen.size
    queue, origin = np.empty(room, dtype=np.int64), np.empty(room, dtype=np.int32)
    n = spread(
        cells[chosen],
        reach_of[chosen],
        edge_m,
        np.array(reaches_m) / cell_m + 1.0,
        np.array(sizes),
        tuple(depths),
        reach,
        queue,
        origin,
    )
    on_line, first = np.unique(cells[chosen], return_index=True)
    there = reach.reshape(-1)[on_line] != NOWHERE
    on_line, steep = on_line[there], steep[chosen][first][there]
    taken = drop_hairs(queue[:n], on_line, reach)
    return IncisedGround(raster.grid, read_only(reach), taken, on_line, steep, noise_m)


def _edge_noise_m(told: IncisionLimits, noise_m: float) -> float:
    """Depth that noise alone gives to flat ground now and then, m."""
    return max(told.least_depth_m / 3, told.edge_noise_times * noise_m)


def _block_cells(reach_m: float, cell_m: float) -> int:
    """Cells along a block's side: wide reaches are looked at on a coarser surface."""
    return max(1, int(reach_m / cell_m) // 8)


def _coarser(raster: Raster, size: int) -> Raster:
    """Means of square blocks of cells."""
    if size == 1:
        return raster
    rows, cols = -(-raster.grid.rows // size), -(-raster.grid.cols // size)
    out = np.empty((rows, cols), dtype=np.float32)
    z, valid = raster.elevation_m, raster.valid
    over_bands(lambda a, b: block_means(z, valid, size, out, a, b), rows)
    return Raster.from_array(out, cell_m=raster.grid.cell_m * size)


def _running_means(values: FloatArray, lines: ChannelNetwork, steps: int) -> FloatArray:
    """Means over so many vertices to each side along each reach, ``(vertices, columns)``."""
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0, dtype=float)])
    of_reach = np.repeat(np.arange(lines.size), lines.line_end - lines.line_start)
    at = np.arange(values.shape[0])
    first = np.maximum(at - steps, lines.line_start[of_reach])
    last = np.minimum(at + steps + 1, lines.line_end[of_reach])
    return np.asarray((sums[last] - sums[first]) / (last - first)[:, None])


def _deep_enough(
    along: FloatArray, reach_m: float, told: IncisionLimits, noise_m: float
) -> BoolArray:
    k = min(round(float(np.log2(reach_m / told.least_reach_m))), told.reaches - 1)
    least_m = max(told.least_depth_m, told.noise_times * noise_m, told.wall_slope[k] * reach_m)
    enough: BoolArray = along >= least_m
    return enough
