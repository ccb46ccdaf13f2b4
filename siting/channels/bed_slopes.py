"""Bed slope at a place: through the structure's footprint, over the reach above, and below.

It follows the water's way, across junctions, on the ground as measured, and is the fall of the
smoothed bed over a stretch; what falls over the faces of headcuts is left out with their length.
The same bed is told as the profile of a site, so that anybody can work its slopes out again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.channels.bed_profile import BedProfile, bed_line
from siting.channels.ground import Ground
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only
from terrain.values.parallel import over_items

#: The bed is read so far up and down from a place, m, and at least so many cells.
READ_M, READ_CELLS = 60.0, 6.0
#: A slope is told over at least so many cells, however short the reach that the rules ask for.
REACH_CELLS = 5.0
#: A stretch shorter than this share of the reach has no slope of its own.
LEAST_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bed slope over a stretch, not below 0, and its standard error; NaN where it is too short."""

    slope: float = np.nan
    error: float = np.nan


@dataclass(frozen=True, slots=True, eq=False)
class BedSlopes:
    """Bed slopes at n places, arrays ``(n,)``, m per m, not below 0.

    Parameters
    ----------
    here
        Through the footprint: over half of the reach to each side of a place, within the bed
        between two headcuts; at a headcut below its foot, where its structure stands.
    above, below
        Over the reach above (a headcut's lip) and below (its foot, past the scour); NaN where the
        raster ends.
    here_error, above_error, below_error
        Their standard errors.
    """

    here: FloatArray
    above: FloatArray
    below: FloatArray
    here_error: FloatArray
    above_error: FloatArray
    below_error: FloatArray


def slope_reach_m(ground: Ground) -> float:
    """Length that a bed slope is told over, m."""
    reach = ground.rules.value("measuring.slope_reach")
    return max(reach, REACH_CELLS * ground.raster.grid.cell_m)


def bed_around(ground: Ground, cell: int) -> BedProfile:
    """Read the bed far enough up and down from a cell, over the faces of headcuts."""
    far = max(READ_M, READ_CELLS * ground.raster.grid.cell_m)
    return bed_line(ground, cell, above_m=far, below_m=far, stop_at_heads=False)


def bed_slopes(ground: Ground, cells: IntArray, *, at_head: BoolArray | None = None) -> BedSlopes:
    """Measure the bed at places.

    Parameters
    ----------
    ground
        Terrain.
    cells
        Flat cell numbers, shape ``(n,)``.
    at_head
        Which of them are lips of headcuts whose own structure is asked for, ``(n,)``.
    """
    reach = slope_reach_m(ground)
    heads = ground.headcuts
    row_of = {int(c): i for i, c in enumerate(heads.cell)}

    def one(k: int) -> tuple[Stretch, Stretch, Stretch]:
        cell = int(cells[k])
        bed = bed_around(ground, cell)
        if at_head is None or not at_head[k] or cell not in row_of:
            return slopes_in(bed, reach)
        row = row_of[cell]
        past = past_foot_m(ground, float(heads.headcut_height_m[row]))
        foot = foot_m(bed)
        if np.isfinite(foot):
            return slopes_in(bed, reach, foot_m=foot, past_m=past)
        # the way from the lip does not pass the foot: the bed below is read from there
        other = bed_around(ground, int(heads.foot_cell[row]))
        here, _, below = slopes_in(other, reach, past_m=past)
        return here, over(bed, -reach, 0.0, least_m=LEAST_SHARE * reach), below

    rows = over_items(one, list(range(cells.size)))
    table = np.array([[(s.slope, s.error) for s in row] for row in rows]).reshape(-1, 3, 2)
    return BedSlopes(*(read_only(table[:, i, j].copy()) for j in (0, 1) for i in (0, 1, 2)))


def past_foot_m(ground: Ground, height_m: float) -> float:
    """How far below the foot of a drop its channel is measured, past the scour, m."""
    return max(height_m, 2.0 * ground.raster.grid.cell_m)


def foot_m(bed: BedProfile) -> float:
    """Metres from a lip at 0 to the foot of its face; NaN where no face begins there."""
    lip = int(np.argmin(np.abs(bed.distance_m)))
    on_bed = np.flatnonzero((bed.piece > bed.piece[lip]) & (bed.piece % 2 == 0))
    begins = (
        bed.piece[lip] % 2 == 0 and bed.piece[min(lip + 1, bed.piece.size - 1)] > bed.piece[lip]
    )
    return float(bed.distance_m[on_bed[0]]) if begins and on_bed.size else np.nan


def slopes_in(
    bed: BedProfile, reach_m: float, *, foot_m: float = 0.0, past_m: float = 0.0
) -> tuple[Stretch, Stretch, Stretch]:
    """Slopes through the footprint, above and below a place at 0.

    Parameters
    ----------
    bed
        The bed around the place.
    reach_m
        Length of a stretch.
    foot_m, past_m
        Where the bed below begins: the foot of a headcut whose lip is at 0, and how far below it
        the scour is past; both 0 elsewhere.
    """
    least = LEAST_SHARE * reach_m
    own = bed.piece == bed.piece[int(np.argmin(np.abs(bed.distance_m - foot_m)))]
    low, high = float(bed.distance_m[own].min()), float(bed.distance_m[own].max())
    start = foot_m + past_m if high - foot_m - past_m >= least else foot_m
    above = over(bed, -reach_m, 0.0, least_m=least)
    below = over(bed, start, start + reach_m, least_m=least)
    # a face above or below moves the stretch, so that it stays on the bed that is stood on
    low = max(low, start) if past_m else low
    top = min(max(start - 0.5 * reach_m, low), max(low, high - reach_m))
    here = over(bed, top, min(top + reach_m, high), least_m=least)
    if np.isnan(here.slope):
        here = over(bed, start - 0.5 * reach_m, start + 0.5 * reach_m, least_m=0.0)
    known = [s for s in (here, below, above) if np.isfinite(s.slope)]
    return known[0] if known else Stretch(0.0, 0.0), above, below


def over(bed: BedProfile, from_m: float, to_m: float, *, least_m: float) -> Stretch:
    """Bed slope between two distances, the faces of headcuts left out.

    Parameters
    ----------
    bed
        Its pieces of even number are bed, those of odd number faces.
    from_m, to_m
        Upper and lower end.
    least_m
        Shorter, with the faces left out, a stretch has no slope.
    """
    d = bed.distance_m
    ends = [v for v in (from_m, to_m) if d[0] - 1e-9 <= v <= d[-1] + 1e-9]
    inside = (d > from_m + 1e-9) & (d < to_m - 1e-9)
    at = np.unique(np.concatenate([d[inside], ends]))
    if at.size < 2:
        return Stretch()
    z, error = np.interp(at, d, bed.bed_m), np.interp(at, d, bed.error_m)
    # the row at or above, and the one at or below: a step between two pieces is a face
    up = bed.piece[np.clip(np.searchsorted(d, at + 1e-9, side="right") - 1, 0, d.size - 1)]
    down = bed.piece[np.clip(np.searchsorted(d, at - 1e-9, side="left"), 0, d.size - 1)]
    on_bed = (up[:-1] == down[1:]) & (up[:-1] % 2 == 0)
    length = float(np.diff(at)[on_bed].sum())
    if length < max(least_m, 1e-6):
        return Stretch()
    fall = float(-np.diff(z)[on_bed].sum())
    # each run of bed adds the errors of its two ends
    starts = np.flatnonzero(np.diff(np.concatenate([[False], on_bed, [False]]).astype(int)) == 1)
    stops = np.flatnonzero(np.diff(np.concatenate([[False], on_bed, [False]]).astype(int)) == -1)
    spread = float(np.sqrt((error[starts] ** 2 + error[stops] ** 2).sum()))
    return Stretch(max(fall / length, 0.0), spread / length)
