"""The channel above a structure: bed, sections, and what a water surface wets of it.

Everything below works on arrays alone; `channel_above` reads them from the ground.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from siting.channels.across import across, running_median
from siting.channels.bed_profile import BedProfile, bed_line
from siting.channels.ground import Ground
from terrain.channels.sections import HALF_WIDTH_UNITS, LEAST_BANK_M, LEAST_BULGE_M, section_unit_m
from terrain.channels.wetting import wet_sizes
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.errors import ParameterError

#: Sections of one channel, at most.
MOST_ROWS = 80
#: The lowest ground is looked for this far beside the flow path, section units.
THALWEG_UNITS = 2.0
#: Water this thin shows how wide the bed is where a surface meets it, m.
THIN_M = 0.001
#: A raster leans upright walls: they stand over one to two cells, at half their height in the right
#: place, half a cell too far in at their foot and too far out at their top. A wall that rises
#: within `UPRIGHT_CELLS` is taken for upright, one over a cell more is taken as shown (common
#: practice, no published source; settled on made-up trenches).
UPRIGHT_CELLS = 1.0
LOW_SHARE = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class ChannelAbove:
    """The channel from a structure up; n sections of k heights.

    Parameters
    ----------
    up_m
        Metres up from the structure along the bed, rising from 0, shape ``(n,)``.
    bed_m, error_m
        Bed and its standard error, ``(n,)``.
    offset_m
        Metres to the right of the path looking downstream, never falling, ``(k,)``.
    height_m
        Ground, ``(n, k)``; NaN where there is none.
    middle, left, right
        Columns of the lowest ground and of the bank tops, ``(n,)``: no water is counted beyond
        these.
    banked
        Whether both bank tops show, ``(n,)``; else ``left`` and ``right`` are the highest ground.
    lean_left_m, lean_right_m
        How far too far in the foot of each bank stands, ``(n,)``: see `UPRIGHT_CELLS`.
    x_m, y_m, azimuth_deg
        Places, and direction of the flow, ``(n,)``; NaN for a channel without a place.
    ends_at
        What ended it: see `siting.channels.bed_profile.BedProfile`.
    """

    up_m: FloatArray
    bed_m: FloatArray
    offset_m: FloatArray
    height_m: FloatArray
    middle: IntArray
    left: IntArray
    right: IntArray
    banked: NDArray[np.bool_]
    error_m: FloatArray
    lean_left_m: FloatArray
    lean_right_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    azimuth_deg: FloatArray
    ends_at: str = "length"

    @classmethod
    def of_sections(
        cls,
        up_m: FloatArray,
        bed_m: FloatArray,
        offset_m: FloatArray,
        height_m: FloatArray,
        *,
        ends_at: str = "length",
    ) -> ChannelAbove:
        """Make a channel of sections without a place; water stays between their ends.

        Raises
        ------
        ParameterError
            Shapes that do not fit together, or distances that do not rise from 0.
        """
        up, bed, height = (np.asarray(v, dtype=np.float64) for v in (up_m, bed_m, height_m))
        offset = np.asarray(offset_m, dtype=np.float64)
        if bed.shape != up.shape or height.shape != (up.size, offset.size) or offset.size < 3:
            raise ParameterError(
                f"a channel of {up.size} distances, {bed.size} beds and sections of shape "
                f"{height.shape}",
                expected="one bed and one section for each distance",
            )
        if not up.size or up[0] != 0 or (np.diff(up) <= 0).any() or (np.diff(offset) < 0).any():
            raise ParameterError(
                "distances that do not rise from 0", expected="rows from the structure up"
            )
        n, k = height.shape
        nowhere = np.full(n, np.nan)
        return cls(
            up_m=up,
            bed_m=bed,
            offset_m=offset,
            height_m=height,
            middle=np.argmin(height, axis=1),
            left=np.zeros(n, dtype=np.int64),
            right=np.full(n, k - 1),
            banked=np.ones(n, dtype=np.bool_),
            error_m=np.zeros(n),
            lean_left_m=np.zeros(n),
            lean_right_m=np.zeros(n),
            x_m=nowhere,
            y_m=nowhere,
            azimuth_deg=nowhere,
            ends_at=ends_at,
        )

    @property
    def size(self) -> int:
        """Number of sections."""
        return int(self.up_m.size)

    @property
    def rim_m(self) -> FloatArray:
        """Height above the bed at which water goes over the lower side."""
        row = np.arange(self.size)
        lower = np.minimum(self.height_m[row, self.left], self.height_m[row, self.right])
        return np.asarray(lower - self.bed_m)

    @property
    def bank_depth_m(self) -> FloatArray:
        """Height of the lower bank top above the bed; NaN where no two banks show."""
        return np.where(self.banked, self.rim_m, np.nan)

    def take(self, which: NDArray[Any] | slice) -> ChannelAbove:
        """Return some of the sections."""
        kept = ("offset_m", "ends_at")
        return replace(
            self,
            **{f.name: getattr(self, f.name)[which] for f in fields(self) if f.name not in kept},
        )


class Wet(NamedTuple):
    """What water wets of sections; arrays ``(n,)``. Left and right are offsets of its edges, m."""

    left_m: FloatArray
    right_m: FloatArray
    area_m2: FloatArray
    perimeter_m: FloatArray

    @property
    def width_m(self) -> FloatArray:
        """Width of the surface, m."""
        return np.asarray(self.right_m - self.left_m)


def wetted(above: ChannelAbove, row: IntArray, level_m: FloatArray) -> Wet:
    """Size of the water in sections at levels.

    Only water that hangs together with the lowest ground counts, and none beyond the bank tops,
    where it stands as against an upright wall. Ground between two heights is a straight line.

    Parameters
    ----------
    above
        The sections.
    row
        Which of them, shape ``(m,)``; may repeat.
    level_m
        Surface of the water, shape ``(m,)``.
    """
    sizes = wet_sizes(
        above.offset_m,
        above.height_m,
        above.bed_m,
        (above.middle, above.left, above.right),
        (above.lean_left_m, above.lean_right_m),
        row,
        np.asarray(level_m, dtype=np.float64),
    )
    return Wet(*sizes.T)


@dataclass(frozen=True, slots=True, eq=False)
class Filled:
    """A channel filled up to a surface, from the structure to where the surface meets the bed.

    Parameters
    ----------
    length_m, area_m2, volume_m3
        Along the bed, seen from above, and of the body between bed and surface.
    up_m, depth_m, wet
        Sections that are filled, ``(k,)``, the last one where the surface meets the bed (or the
        channel ends).
    meets_bed
        False where the channel ends first.
    """

    length_m: float
    area_m2: float
    volume_m3: float
    up_m: FloatArray
    depth_m: FloatArray
    wet: Wet
    meets_bed: bool


def fill(above: ChannelAbove, surface_m: FloatArray | float, *, until_m: float = np.inf) -> Filled:
    """Fill a channel from the structure up.

    Parameters
    ----------
    above
        Sections from the structure up.
    surface_m
        Level of the fill, one for all or one for each section, ``(n,)``.
    until_m
        Fill no further up than this.
    """
    surface = np.broadcast_to(np.asarray(surface_m, dtype=np.float64), above.up_m.shape)
    depth = surface - above.bed_m
    dry = np.flatnonzero(depth <= 0)
    end = int(dry[0]) if dry.size else above.size
    if end == 0:
        at = np.zeros(1, dtype=np.int64)
        return Filled(0.0, 0.0, 0.0, above.up_m[:1], np.zeros(1), wetted(above, at, depth), True)
    up, row = above.up_m[:end], np.arange(end)
    wet = wetted(above, row, surface[:end])
    meets = end < above.size
    if meets:
        share = depth[end - 1] / (depth[end - 1] - depth[end])
        tip = up[-1] + share * (above.up_m[end] - up[-1])
        thin = wetted(above, row[-1:], above.bed_m[end - 1 : end] + THIN_M)
        wet = Wet(
            np.append(wet.left_m, thin.left_m),
            np.append(wet.right_m, thin.right_m),
            np.append(wet.area_m2, 0.0),
            np.append(wet.perimeter_m, thin.perimeter_m),
        )
        up, deep = np.append(up, tip), np.append(depth[:end], 0.0)
    else:
        deep = depth
    if up[-1] > until_m:
        meets = False
        keep = up < until_m
        cut = np.append(up[keep], until_m)
        wet = Wet(*(np.interp(cut, up, column) for column in wet))
        up, deep = cut, np.interp(cut, up, deep)
    return Filled(
        length_m=float(up[-1]),
        area_m2=float(np.trapezoid(wet.width_m, up)),
        volume_m3=float(np.trapezoid(wet.area_m2, up)),
        up_m=up,
        depth_m=deep,
        wet=wet,
        meets_bed=meets,
    )


def channel_above(
    ground: Ground,
    cell: int,
    *,
    length_m: float,
    toe_cell: int | None = None,
    stop_at_heads: bool = True,
) -> ChannelAbove:
    """Read the channel above a cell from the ground.

    Sections stand at every step of the bed, or further apart where that would be more than
    `MOST_ROWS`. Each is the median of five neighbours, with the fall of the bed taken off.

    Parameters
    ----------
    ground, cell, length_m
        Terrain, flat cell number of the structure, and how far up.
    toe_cell
        Foot of a drop above: the channel read ends there, however near or far.
    stop_at_heads
        Whether to end at the foot of the first sure headcut.

    Raises
    ------
    ParameterError
        The foot's water does not come to the cell.
    """
    below = 2.0 * ground.raster.grid.cell_m
    line = bed_line(
        ground,
        cell,
        above_m=length_m,
        below_m=below,
        stop_at_heads=stop_at_heads,
        from_cell=toe_cell,
    )
    return channel_along(ground, line)


def channel_along(ground: Ground, line: BedProfile) -> ChannelAbove:
    """Sections of a bed; rows below its cell only help to steady the lowest ones."""
    up = np.flatnonzero(line.distance_m <= 1e-9)[::-1]
    apart = -(-up.size // MOST_ROWS)
    rows = up if apart == 1 else np.unique(np.append(up[::apart], up[-1]))[::-1]
    helps = np.flatnonzero(line.distance_m > 1e-9)[:2][::-1]
    line = line.take(np.concatenate([helps, rows]))
    cell_m = ground.raster.grid.cell_m
    unit, step = section_unit_m(cell_m), 0.5 * cell_m
    half = round(HALF_WIDTH_UNITS * unit / step)
    offset = np.arange(-half, half + 1) * step
    raw = across(ground.raster, line.x_m, line.y_m, line.azimuth_deg, offset)
    shape = running_median(raw - line.bed_m[:, None])[helps.size :]
    line = line.take(slice(helps.size, None))
    reach = max(2, round(THALWEG_UNITS * unit / step))
    near = np.where(np.isnan(shape), np.inf, shape)[:, half - reach : half + reach + 1]
    middle = half - reach + np.argmin(near, axis=1)
    left, left_bank = _bank_top(shape, middle, -1)
    right, right_bank = _bank_top(shape, middle, 1)
    return ChannelAbove(
        up_m=np.maximum(-line.distance_m, 0.0),
        bed_m=line.bed_m,
        offset_m=offset,
        height_m=line.bed_m[:, None] + shape,
        middle=middle,
        left=left,
        right=right,
        banked=left_bank & right_bank,
        error_m=line.error_m,
        lean_left_m=_lean_m(shape, middle, left, left_bank, -1, cell_m),
        lean_right_m=_lean_m(shape, middle, right, right_bank, 1, cell_m),
        x_m=line.x_m,
        y_m=line.y_m,
        azimuth_deg=line.azimuth_deg,
        ends_at=line.ends_at,
    )


def _bank_top(
    shape: FloatArray, middle: IntArray, toward: int
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Column of the bank top on one side, and whether there is one; else of the highest ground.

    As in `terrain.channels.sections`, a bank top stands out most above a chord from the bed to some
    ground further out.
    """
    n, k = shape.shape
    j = np.arange(1, k)
    column = middle[:, None] + toward * j
    off_end = (column < 0) | (column >= k)
    side = np.take_along_axis(shape, np.clip(column, 0, k - 1), axis=1)
    side = side - np.take_along_axis(shape, middle[:, None], axis=1)
    gone = np.maximum.accumulate(off_end | np.isnan(side), axis=1)
    grade = np.where(gone | (j < 3), np.inf, side / j)
    lowest_beyond = np.minimum.accumulate(grade[:, ::-1], axis=1)[:, ::-1]
    lowest_beyond = np.append(lowest_beyond[:, 1:], np.full((n, 1), np.inf), axis=1)
    with np.errstate(invalid="ignore"):
        above = np.where(gone | ~np.isfinite(lowest_beyond), -np.inf, side - j * lowest_beyond)
    top = np.argmax(above, axis=1)
    i = np.arange(n)
    is_bank = (above[i, top] >= LEAST_BULGE_M) & (side[i, top] >= LEAST_BANK_M)
    highest = np.argmax(np.where(gone, -np.inf, side), axis=1)
    out = np.where(is_bank, top, highest) + 1
    # nothing rises above the bed on this side: one cell (two columns) is counted
    rises = (side[i, out - 1] > 0) & ~gone[:, 0]
    return np.clip(middle + toward * np.where(rises, out, 2), 0, k - 1), is_bank


def _lean_m(
    shape: FloatArray,
    middle: IntArray,
    bank: IntArray,
    is_bank: NDArray[np.bool_],
    toward: int,
    cell_m: float,
) -> FloatArray:
    """How far in the foot of a bank stands for the cells' sake, m; columns are half a cell."""
    i, column = np.arange(len(shape)), np.arange(shape.shape[1])
    top = np.maximum(shape[i, bank], 1e-9)
    outward = (column - middle[:, None]) * toward
    high = (shape >= LOW_SHARE * top[:, None]) & (outward > 0)
    first = np.where(high, outward, shape.shape[1]).min(axis=1)
    at = np.clip(middle + toward * first, 0, shape.shape[1] - 1)
    here, before = shape[i, at], shape[i, np.clip(at - toward, 0, shape.shape[1] - 1)]
    rise = np.maximum(here - before, 1e-9)
    low = first - np.clip((here - LOW_SHARE * top) / rise, 0.0, 1.0)
    cells = 0.5 * (np.abs(bank - middle) - low)
    lean = 0.5 * cell_m * np.clip(1.0 + UPRIGHT_CELLS - cells, 0.0, 1.0)
    return np.where(is_bank & (first <= np.abs(bank - middle)), lean, 0.0)
