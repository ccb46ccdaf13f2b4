"""Make water run off the raster: carve through small barriers, fill what is too deep or long.

Method: steepest of eight neighbours on the surface as it is; level ground drains to where it
touches a drained cell of its level. Only from pits and closed flats a priority search over the
lowest pass to the first cell that is lower or already drains; the way there is cut down to the
level of the start. The cut changes nothing where water already drained. A cut deeper or longer
than the limits is not made: the depression is filled to its pass instead.

Each depression is decided once, in the order of their passes, from the lowest up, of equal passes
the one that starts lowest first, on the surface with the fills made until then. That is enough: a
fill raises only what hangs together below its pass, so any way that it covers or lies across
belongs to a depression whose pass is as high or higher. A search does not go on from a cell whose
way there is longer than a cut may be. Across a filled depression that runs lower than the start it
follows that one's own water; so a search is never larger than what lies within a cut's length.

The idea of a least-level way out is that of priority-flood algorithms (Barnes, Lehman and Mulla
2014, Computers & Geosciences 62:117-127); cutting instead of filling follows Lindsay (2016,
Hydrological Processes 30:846-857); how the passes of large depressions are found stands in
`terrain._kernels.passes`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from terrain.flow.flow_field import FlowField
from terrain.flow.ways_out import WaysOut
from terrain.values.arrays import read_only
from terrain.values.errors import ParameterError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

#: A cut at least this deep is listed one by one: it may be a road fill or a pond's bank.
NOTABLE_CUT_M = 0.5


@dataclass(frozen=True, slots=True)
class CarveLimits:
    """How far a barrier is cut through before the depression behind it is filled instead.

    Parameters
    ----------
    depth_m
        Deepest cut, m.
    length_m
        Longest cut, m, counted only where the ground stands above the cut.

    Raises
    ------
    ParameterError
        A limit below 0.

    Notes
    -----
    Both defaults are common practice, no published source: a ranch road's fill or a stock
    pond's bank is rarely above 5 m high, or 100 m through.
    """

    depth_m: float = 5.0
    length_m: float = 100.0

    def __post_init__(self) -> None:
        for name, value in (("depth_m", self.depth_m), ("length_m", self.length_m)):
            if not value >= 0:
                raise ParameterError(f"a carving limit {name} of {value}", expected="0 or more")


@dataclass(frozen=True, slots=True, eq=False)
class ConditioningReport:
    """What was done to the surface; arrays ``(c,)`` over notable cuts and ``(f,)`` over fills.

    Parameters
    ----------
    carved
        Number of depressions drained by a cut. Level ground that drains over its own edge is none;
        a closed flat that reaches other ground of its level counts as a cut of depth 0.
    lowered_cells
        Number of cells that were lowered.
    cut_cell
        Flat number of the cell each *notable* cut starts from (see ``notable_m``).
    cut_depth_m, cut_length_m
        Depth and length of each notable cut, m.
    filled_cell, filled_level_m, filled_depth_m
        Start cell, water level and depth of each depression filled instead, m; one that lies
        under the water of another is not listed.
    filled_cells
        Number of cells raised.
    notable_m
        Depth from which a cut is listed, m.
    """

    carved: int = 0
    lowered_cells: int = 0
    cut_cell: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    cut_depth_m: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    cut_length_m: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    filled_cell: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    filled_level_m: NDArray[np.float32] = field(default_factory=lambda: np.empty(0, np.float32))
    filled_depth_m: NDArray[np.float32] = field(default_factory=lambda: np.empty(0, np.float32))
    filled_cells: int = 0
    notable_m: float = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Conditioned:
    """A surface that drains, where it drains to, and what was done to it."""

    raster: Raster
    flow: FlowField
    report: ConditioningReport


def condition(
    raster: Raster, *, limits: CarveLimits | None = None, progress: Progress = silent
) -> Conditioned:
    """Make every cell drain off the raster.

    Parameters
    ----------
    raster
        The surface as it was measured; it is not changed.
    limits
        How deep and long a cut may be.
    progress
        Told how far the work is.

    Returns
    -------
    Conditioned
        A surface on which no direction leads up, one direction a cell (the steepest wherever a
        neighbour is lower), and a report.
    """
    limits = limits or CarveLimits()
    z = raster.elevation_m
    if _hidden_numbers(raster):
        z = read_only(np.where(raster.valid, z, np.float32(np.nan)))
    work = WaysOut(raster.grid, z, (limits.depth_m, limits.length_m))
    ways = work.run(progress)
    surface, lowered, (cut_cell, cut_depth_m, cut_length_m) = work.settle(ways, NOTABLE_CUT_M)
    progress("finding ways out of depressions", 1.0)
    start, level = work.fill_start, work.fill_level
    report = ConditioningReport(
        carved=int(np.count_nonzero(ways.steps)),
        lowered_cells=lowered,
        cut_cell=cut_cell,
        cut_depth_m=cut_depth_m,
        cut_length_m=cut_length_m,
        filled_cell=start,
        filled_level_m=level,
        filled_depth_m=level - z.reshape(-1)[start],
        filled_cells=int(np.count_nonzero(work.filled > z)) if start.size else 0,
        notable_m=NOTABLE_CUT_M,
    )
    return Conditioned(
        Raster(raster.grid, surface, raster.valid), FlowField(raster.grid, work.codes), report
    )


def _hidden_numbers(raster: Raster) -> bool:
    """Whether invalid cells hold numbers where the kernels look for NaN."""
    if raster.valid.all():
        return False
    return not np.isnan(raster.elevation_m[~raster.valid]).all()
