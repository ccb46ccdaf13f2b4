"""The bed of a channel above and below a cell, from the ground as measured.

Single heights carry some centimetres of noise, and grass stands on the bed. The bed is therefore
read along the lowest ground near the flow path and smoothed by straight lines fitted to its
neighbourhood, in which outliers lose their weight (`terrain.channels.line_smoothing`). A known
headcut parts the bed: nothing is smoothed across it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.across import across, running_median
from siting.channels.ground import Ground
from terrain.channels.line_smoothing import PER_MEDIAN, TOGETHER, smooth_line
from terrain.channels.profiles import SMOOTHING_CELLS, profile_step_m
from terrain.channels.sections import section_unit_m
from terrain.flow.ways import cells_down, cells_up
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

#: Half of the stretch over which the bed is smoothed: so many metres, and at least so many steps.
SMOOTHING_M = 5.0
SMOOTHING_STEPS = 5
#: The direction of the flow is taken over so many steps up and down.
DIRECTION_STEPS = 4
#: Lowest ground is looked for so many section units beside the flow path.
SEARCH_UNITS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class BedProfile:
    """A bed along the flow, going downstream; arrays of shape ``(n,)``.

    Parameters
    ----------
    distance_m
        Metres along the channel from the cell asked for: 0 there, positive downstream.
    bed_m, error_m
        Smoothed bed, and its standard error.
    raw_m
        Bed as read, before smoothing.
    cell
        Nearest cell of the flow path.
    x_m, y_m, azimuth_deg
        Place on the smoothed path (not tied to cell centres), and direction of the flow clockwise
        from north.
    piece
        Rows of one number hang together; a headcut lies between two numbers.
    ends_at
        What ended the walk: ``length``, ``headcut``, ``foot`` (the foot that was asked for) or
        ``edge`` (of the raster, or the divide).
    """

    distance_m: FloatArray
    bed_m: FloatArray
    error_m: FloatArray
    raw_m: FloatArray
    cell: IntArray
    x_m: FloatArray
    y_m: FloatArray
    azimuth_deg: FloatArray
    piece: IntArray
    ends_at: str

    def take(self, which: NDArray[Any] | slice) -> BedProfile:
        """Return some of the rows."""
        arrays = {f.name: getattr(self, f.name)[which] for f in fields(self) if f.name != "ends_at"}
        return replace(self, **arrays)

    def slope(self, from_m: float | None = None, to_m: float | None = None) -> tuple[float, float]:
        """Bed slope over a stretch and its standard error, m per m; positive falls downstream.

        Median of the slopes between all pairs of points (Theil and Sen), so that clumps of grass
        and a short step do not decide. Pairs on both sides of a headcut are left out.

        Raises
        ------
        ParameterError
            Fewer than three rows in the stretch.
        """
        low = self.distance_m[0] if from_m is None else from_m
        high = self.distance_m[-1] if to_m is None else to_m
        inside = (self.distance_m >= low - 1e-9) & (self.distance_m <= high + 1e-9)
        d, z, piece = self.distance_m[inside], self.raw_m[inside], self.piece[inside]
        if d.size < 3:
            raise ParameterError(
                f"a bed slope over {d.size} heights", expected="a stretch of three steps or more"
            )
        i, j = np.triu_indices(d.size, 1)
        pair = (piece[i] == piece[j]) & (d[j] - d[i] > 1e-6)
        if not pair.any():
            raise ParameterError(
                "a bed slope over a stretch that headcuts part", expected="a stretch between drops"
            )
        i, j = i[pair], j[pair]
        slope = float(np.median((z[i] - z[j]) / (d[j] - d[i])))
        left = z + slope * d
        spread = 0.0
        for p in np.unique(piece):
            own = piece == p
            left[own] -= np.median(left[own])
            spread += float(((d[own] - d[own].mean()) ** 2).sum())
        noise = PER_MEDIAN * float(np.median(np.abs(left))) * np.sqrt(d.size / max(d.size - 2, 1))
        return slope, float(np.sqrt(TOGETHER) * noise / np.sqrt(spread))


def bed_below(
    ground: Ground,
    cell: int,
    *,
    length_m: float,
    step_m: float | None = None,
    stop_at_heads: bool = True,
) -> BedProfile:
    """Bed from a cell down.

    Parameters
    ----------
    ground
        Terrain.
    cell
        Flat cell number.
    length_m
        How far, m; less where the water leaves the raster.
    step_m
        Distance between rows; by default the size of a cell.
    stop_at_heads
        Whether to end at the lip of the first sure headcut (its lip is the last row).
    """
    line = bed_line(
        ground, cell, above_m=0.0, below_m=length_m, step_m=step_m, stop_at_heads=stop_at_heads
    )
    return replace(line, ends_at=_why(ground, line, length_m, stop_at_heads))


def bed_line(
    ground: Ground,
    cell: int,
    *,
    above_m: float,
    below_m: float,
    step_m: float | None = None,
    stop_at_heads: bool = True,
    from_cell: int | None = None,
) -> BedProfile:
    """Bed on both sides of a cell; ``ends_at`` tells what ended the walk up.

    Distances are 0 at the cell and negative above it. At junctions the way goes up along the larger
    donor.

    Parameters
    ----------
    ground, cell, step_m
        As for `bed_below`.
    above_m, below_m
        How far up and down, m.
    stop_at_heads
        Whether to begin at the foot of the first sure headcut above, and to end at the lip of the
        first one below.
    from_cell
        Begin at this cell, which must drain to ``cell``, however far up it lies: the foot of a
        drop.

    Raises
    ------
    ParameterError
        Lengths below 0, a step that is not above 0, or a foot whose water goes elsewhere.
    """
    raster, flow = ground.raster, ground.conditioned.flow
    step = profile_step_m(raster) if step_m is None else float(step_m)
    if not (step > 0 and above_m >= 0 and below_m >= 0):
        raise ParameterError(
            f"a bed over {above_m:g} and {below_m:g} m in steps of {step:g} m",
            expected="lengths of 0 or more and a step above 0",
        )
    # what lies beyond the ends helps to smooth them
    beyond = max(SMOOTHING_M, SMOOTHING_STEPS * step) + SMOOTHING_CELLS * raster.grid.cell_m
    if from_cell is None:
        up = cells_up(flow, ground.counts, cell, length_m=above_m + beyond)[::-1]
    else:
        up = _way_between(ground, int(from_cell), int(cell))
    down = cells_down(flow, cell, length_m=below_m + beyond)
    way = np.concatenate([up[:-1], down])
    at = up.size - 1
    x, y, walked = _smoothed_line(raster, way)
    walked -= walked[at]
    lip, foot = _drops_on(ground, way)

    top, ends_at = max(-above_m, walked[0]), "length"
    if from_cell is not None:
        top, ends_at = walked[0], "foot"
    elif walked[0] > -above_m:
        ends_at = "edge"
    bottom = min(below_m, walked[-1])
    if stop_at_heads and lip.size:
        head, fall = _heads_around(walked, lip, foot, at)
        if from_cell is None and head >= top:
            top, ends_at = head, "headcut"
        bottom = min(bottom, fall)

    exact = [top, bottom, 0.0, *walked[lip], *walked[foot]]
    distance = _rows(walked[0], walked[-1], step, exact)
    whole = _read_bed(raster, way, (x, y, walked), distance, (lip, foot), step, ends_at)
    return whole.take((distance >= top - 1e-9) & (distance <= bottom + 1e-9))


def _read_bed(
    raster: Raster,
    way: IntArray,
    line: tuple[FloatArray, FloatArray, FloatArray],
    distance: FloatArray,
    heads: tuple[IntArray, IntArray],
    step: float,
    ends_at: str,
) -> BedProfile:
    """Read the bed at distances along the smoothed line of a way, and smooth it between heads."""
    x, y, walked = line
    place = np.interp(distance, walked, np.arange(way.size))
    px, py = np.interp(distance, walked, x), np.interp(distance, walked, y)
    nearest = way[np.rint(place).astype(np.int64)]
    azimuth = _azimuth_deg(px, py)
    piece = _pieces(place, *heads)
    raw = _lowest_ground(raster, px, py, azimuth, nearest)
    half = max(SMOOTHING_STEPS, int(np.ceil(SMOOTHING_M / step)))
    bed, error = smooth_line(distance, raw, piece, half=half)
    return BedProfile(
        distance_m=distance,
        bed_m=bed,
        error_m=error,
        raw_m=raw,
        cell=nearest,
        x_m=px,
        y_m=py,
        azimuth_deg=azimuth,
        piece=piece,
        ends_at=ends_at,
    )


def _heads_around(
    walked: FloatArray, lip: IntArray, foot: IntArray, at: int
) -> tuple[float, float]:
    """Distance to the foot of the next headcut above and to the lip of the next one below, m."""
    above, below = foot <= at, lip >= at
    head = walked[foot[above].max()] if above.any() else -np.inf
    fall = walked[lip[below].min()] if below.any() else np.inf
    return float(head), float(fall)


def _way_between(ground: Ground, upper: int, lower: int) -> IntArray:
    if not bool(ground.catchments.contains(lower, upper)):
        raise ParameterError(
            "a foot of a drop whose water does not come to the structure",
            expected="a structure below the drop, on its way",
        )
    length = 64.0
    while True:
        way = cells_down(ground.conditioned.flow, upper, length_m=length)
        at = np.flatnonzero(way == lower)
        if at.size:
            return way[: at[0] + 1]
        length *= 4


def _smoothed_line(raster: Raster, way: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Line through a way of cells and the walk along it.

    Smoothed twice as `terrain.channels.profiles` does it: once leaves a slanting way 5 % too long.
    """
    x, y = raster.grid.xy_of(way)
    n = way.size
    i = np.arange(n)
    half = np.minimum(SMOOTHING_CELLS, np.minimum(i, n - 1 - i))
    out = []
    for v in (x, y):
        for _ in range(2):
            total = np.concatenate([[0.0], np.cumsum(v - v[0])])
            v = v[0] + (total[i + half + 1] - total[i - half]) / (2 * half + 1)
        out.append(v)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(out[0]), np.diff(out[1])))])
    return out[0], out[1], walked


def _drops_on(ground: Ground, way: IntArray) -> tuple[IntArray, IntArray]:
    """Places in a way of the lips and feet of sure headcuts whose face the way goes over."""
    heads = ground.headcuts
    none = np.empty(0, dtype=np.int64)
    if not heads.size:
        return none, none
    sure = heads.confidence >= ground.rules.value("measuring.least_confidence")
    found = np.flatnonzero(sure & np.isin(heads.cell, way) & np.isin(heads.foot_cell, way))
    lip = np.array([np.flatnonzero(way == c)[0] for c in heads.cell[found]], dtype=np.int64)
    foot = np.array([np.flatnonzero(way == c)[0] for c in heads.foot_cell[found]], dtype=np.int64)
    order = np.argsort(lip, kind="stable")
    order = order[foot[order] > lip[order]]
    return lip[order], foot[order]


def _rows(first: float, last: float, step: float, exact: list[float]) -> FloatArray:
    """Even distances that hold 0, and some exact ones besides."""
    even = np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 1) * step
    rows = np.sort(np.concatenate([even, exact]))
    apart: FloatArray = rows[np.concatenate([[True], np.diff(rows) > 1e-6])]
    return apart


def _pieces(place: FloatArray, lip: IntArray, foot: IntArray) -> IntArray:
    """Number the stretches above, on and below each face."""
    piece = (place[:, None] > lip[None, :] + 1e-6).sum(axis=1)
    piece += (place[:, None] >= foot[None, :] - 1e-6).sum(axis=1)
    return np.asarray(np.maximum.accumulate(piece), dtype=np.int64)


def _azimuth_deg(x: FloatArray, y: FloatArray) -> FloatArray:
    n = x.size
    if n < 2:
        return np.zeros(n)
    i = np.arange(n)
    a, b = np.maximum(i - DIRECTION_STEPS, 0), np.minimum(i + DIRECTION_STEPS, n - 1)
    return np.asarray(np.degrees(np.arctan2(x[b] - x[a], y[b] - y[a])) % 360.0)


def _lowest_ground(
    raster: Raster, x: FloatArray, y: FloatArray, azimuth_deg: FloatArray, cell: IntArray
) -> FloatArray:
    """Height where the ground is lowest near the path.

    Where that is, is settled on the median of five sections, so that little noise is picked out: a
    flat bed with noise of 5 cm is read 1 to 2 cm too low.
    """
    cell_m = raster.grid.cell_m
    reach = max(2, round(SEARCH_UNITS * section_unit_m(cell_m) / (0.5 * cell_m)))
    offset = np.arange(-reach, reach + 1) * 0.5 * cell_m
    z = across(raster, x, y, azimuth_deg, offset)
    smooth = running_median(z)
    lowest = np.argmin(np.where(np.isnan(smooth), np.inf, smooth), axis=1)
    read = z[np.arange(len(z)), lowest]
    return np.where(np.isnan(read), raster.elevation_m.reshape(-1)[cell], read)


def _why(ground: Ground, line: BedProfile, length_m: float, stop_at_heads: bool) -> str:
    """Say what ended a walk down."""
    if line.distance_m[-1] >= length_m - 1e-6:
        return "length"
    heads = ground.headcuts
    return "headcut" if stop_at_heads and (heads.cell == line.cell[-1]).any() else "edge"
