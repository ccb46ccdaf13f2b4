"""Sudden drops in channel beds: where they are and what surrounds them, without a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.drops import STEP, steps_of_stem
from terrain._kernels.network import way_down
from terrain._kernels.profiles import EAST, PLACE, SOUTH
from terrain.channels.network import Stems
from terrain.channels.profiles import place_of, profile_step_m, profile_table
from terrain.flow.conditioning import Conditioned
from terrain.values.arrays import FloatArray
from terrain.values.parallel import over_items
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

#: So far down the stem that a stem joins is looked along with it, in units.
BEFORE_UNITS = 20
#: Stems whose lower end leaves the raster are this far from a junction, cells.
NO_JUNCTION = 10**6


def window_unit_m(cell_m: float) -> float:
    """Length that the search's windows are multiples of: 1 m, or a larger cell, m."""
    return max(1.0, cell_m)


@dataclass(frozen=True, slots=True, eq=False)
class BedDrops:
    """Drops, in the order of their stems; arrays of shape ``(n,)``.

    Parameters
    ----------
    measures
        Measures by name, as `terrain._kernels.drops.STEP` explains them.
    lip_cell, foot_cell
        Flat cell numbers.
    x_m, y_m
        Place of the lip.
    foot_x_m, foot_y_m
        Place of the foot.
    from_junction_m
        Distance of the foot from the larger channel that its stem joins, m; very large where it
        joins none.
    """

    measures: Mapping[str, NDArray[np.floating[Any]]]
    lip_cell: NDArray[np.int64]
    foot_cell: NDArray[np.int64]
    x_m: NDArray[np.floating[Any]]
    y_m: NDArray[np.floating[Any]]
    foot_x_m: NDArray[np.floating[Any]]
    foot_y_m: NDArray[np.floating[Any]]
    from_junction_m: NDArray[np.floating[Any]]

    @property
    def size(self) -> int:
        """Number of drops."""
        return int(self.lip_cell.size)


def bed_drops(
    raster: Raster,
    conditioned: Conditioned,
    walked: Stems,
    *,
    least_drop_m: float,
    progress: Progress = silent,
) -> BedDrops:
    """Find sudden drops along stems, on the ground as measured.

    Parameters
    ----------
    raster
        Ground as measured.
    conditioned
        Its conditioned surface and flow directions.
    walked
        Stems of the same grid.
    least_drop_m
        Drops that stand out by less are passed over, m.
    progress
        Told how far the work is.
    """
    chunks = np.array_split(np.arange(walked.size), max(1, walked.size // 64))
    done = 0

    def search(chunk: NDArray[np.int64]) -> list[_Found]:
        nonlocal done
        found = [_of_stem(raster, conditioned, walked, int(k), least_drop_m) for k in chunk]
        done += 1
        progress("looking for headcuts", done / len(chunks))
        return [f for f in found if f is not None]

    found = [f for part in over_items(search, chunks) for f in part] or [_NOTHING]
    # as plain numbers: numpy joins records slowly
    steps = np.concatenate([f.steps.view(np.float64) for f in found]).view(STEP)
    place = np.concatenate([f.place for f in found])
    x, y = place_of(raster, place[:, 0], place[:, 1])
    foot_x, foot_y = place_of(raster, place[:, 2], place[:, 3])
    return BedDrops(
        {name: steps[name] for name in STEP.names or ()},
        np.concatenate([f.lip_cell for f in found]),
        np.concatenate([f.foot_cell for f in found]),
        x,
        y,
        foot_x,
        foot_y,
        np.concatenate([f.from_junction_m for f in found]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """Drops of one stem."""

    steps: NDArray[np.void]
    lip_cell: NDArray[np.int64]
    foot_cell: NDArray[np.int64]
    place: FloatArray
    from_junction_m: FloatArray


_NOTHING = _Found(
    np.empty(0, dtype=STEP),
    np.empty(0, np.int64),
    np.empty(0, np.int64),
    np.empty((0, 4)),
    np.empty(0),
)


def _of_stem(
    raster: Raster, conditioned: Conditioned, walked: Stems, stem: int, least_drop_m: float
) -> _Found | None:
    grid = raster.grid
    unit, step = window_unit_m(grid.cell_m), profile_step_m(raster)
    own = walked.of(stem)
    joins = int(walked.joins[stem])
    before = np.empty(0, np.int64)
    if joins >= 0:  # what it joins is needed to judge a drop close to the junction
        most = max(2, round(BEFORE_UNITS * unit / step))
        before = way_down(conditioned.flow.codes, joins, most)[::-1]
    cells = np.concatenate([before, own])
    if cells.size < 6:
        return None
    line = profile_table(raster, cells, conditioned.raster.elevation_m)
    own_from = int(np.searchsorted(line[:, PLACE], before.size))
    steps = steps_of_stem(
        raster.elevation_m,
        line,
        own_from,
        grid.cell_width_m,
        grid.cell_height_m,
        unit,
        step,
        least_drop_m,
    )
    if not len(steps):
        return None
    lip, foot = steps["lip"].astype(np.int64), steps["foot"].astype(np.int64)
    nearest = np.minimum(np.rint(line[:, PLACE]).astype(np.int64), cells.size - 1)
    start = own_from if joins >= 0 else -NO_JUNCTION
    return _Found(
        steps,
        cells[nearest[lip]],
        cells[nearest[foot]],
        np.hstack([line[lip][:, [EAST, SOUTH]], line[foot][:, [EAST, SOUTH]]]),
        (foot - start) * step,
    )
