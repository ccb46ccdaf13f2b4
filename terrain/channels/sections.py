"""Cross-sections: bank tops, width and depth of channels.

A bank top is taken where the ground stands out most above a straight chord from the bed to some
point further out: the break of slope at the top of a bank. The lower of the two banks rules, as is
common practice. Several sections up and down the flow are measured and their median is taken, so
that noise and clumps of grass do not decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain._kernels.sections import (
    BANK_DEPTH,
    BANK_WIDTH,
    BED,
    LEFT,
    N_MEASURES,
    RIGHT,
    SIDE_RISE,
    VALLEY_WIDTH,
    measure_places,
    read_section,
    widths_across,
)
from terrain.values.arrays import read_only
from terrain.values.errors import ParameterError
from terrain.values.parallel import over_items
from terrain.values.raster import Raster

#: A bank lower than this is not told from noise, m (twice the usual error of lidar heights).
LEAST_BANK_M = 0.2
#: Least height of a bank top above its chord, m.
LEAST_BULGE_M = 0.08
#: A section reaches this many units to each side.
HALF_WIDTH_UNITS = 16.0
#: Sections that make up one measurement, one unit apart.
COPIES = 5
#: A valley's floor is looked for this far to each side, units.
VALLEY_HALF_UNITS = 60
#: Cells that a channel must be wide to be measured (practice: 3 to 5 cells).
RESOLVED_CELLS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class SectionMeasures:
    """Measures at places along channels, ``(n,)``; NaN where the raster does not show them.

    Parameters
    ----------
    bed_m
        Lowest ground near the middle, m.
    bank_width_m, bank_depth_m
        Width between the bank tops at the level of the lower one, and its height above the bed.
    valley_width_m
        Width at twice that height.
    left_m, right_m
        Ends of the bank-top width: metres to the right of the place, looking downstream.
    side_rise_m
        Mean height above the bed of the lower side well away from it; below 0 on a fan.
    resolved
        Whether the width is at least `RESOLVED_CELLS` cells.
    """

    bed_m: NDArray[np.float64]
    bank_width_m: NDArray[np.float64]
    bank_depth_m: NDArray[np.float64]
    valley_width_m: NDArray[np.float64]
    left_m: NDArray[np.float64]
    right_m: NDArray[np.float64]
    side_rise_m: NDArray[np.float64]
    resolved: NDArray[np.bool_]


def section_unit_m(cell_m: float) -> float:
    """Length that sections are multiples of: 1 m, or a larger cell, m."""
    return max(1.0, cell_m)


def places_uv(raster: Raster, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
    """Places ``(n,)`` as kernels read them: metres east and south of the first cell's centre."""
    t = raster.grid.transform
    u = np.asarray(x, dtype=np.float64) - t.c - 0.5 * t.a
    v = t.f + 0.5 * t.e - np.asarray(y, dtype=np.float64)
    return np.atleast_1d(u), np.atleast_1d(v)


def directions(azimuth_deg: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
    """Unit vectors of flow directions: east and south, each ``(n,)``."""
    angle = np.radians(np.atleast_1d(np.asarray(azimuth_deg, dtype=np.float64)))
    return np.sin(angle), -np.cos(angle)


def measure_sections(
    raster: Raster, x: ArrayLike, y: ArrayLike, flow_azimuth_deg: ArrayLike
) -> SectionMeasures:
    """Measure channels at places.

    Parameters
    ----------
    raster
        Ground as measured.
    x, y
        Places on the bed, m, shape ``(n,)``.
    flow_azimuth_deg
        Direction of the flow there, clockwise from north.

    Raises
    ------
    ParameterError
        When the three differ in length.
    """
    u, v = places_uv(raster, x, y)
    du, dv = directions(flow_azimuth_deg)
    if not u.size == v.size == du.size:
        raise ParameterError(
            f"{u.size} x, {v.size} y and {du.size} directions", expected="one of each a place"
        )
    grid = raster.grid
    unit = section_unit_m(grid.cell_m)
    step = 0.5 * grid.cell_m
    half = round(HALF_WIDTH_UNITS * unit / step)
    reach = max(1, round(2.0 * unit / step))
    out = np.empty((u.size, N_MEASURES))

    def measure(part: NDArray[np.int64]) -> None:
        if part.size:
            a, b = int(part[0]), int(part[-1]) + 1
            measure_places(
                raster.elevation_m,
                (u[a:b], v[a:b], du[a:b], dv[a:b]),
                (grid.cell_width_m, grid.cell_height_m),
                (half, step, reach, grid.cell_m / step),
                (COPIES, unit),
                (LEAST_BANK_M, LEAST_BULGE_M),
                out[a:b],
            )

    over_items(measure, np.array_split(np.arange(u.size), max(1, u.size // 256)))
    with np.errstate(invalid="ignore"):
        resolved = out[:, BANK_WIDTH] >= RESOLVED_CELLS * grid.cell_m
    return SectionMeasures(
        bed_m=read_only(out[:, BED].copy()),
        bank_width_m=read_only(out[:, BANK_WIDTH].copy()),
        bank_depth_m=read_only(out[:, BANK_DEPTH].copy()),
        valley_width_m=read_only(out[:, VALLEY_WIDTH].copy()),
        left_m=read_only(out[:, LEFT].copy()),
        right_m=read_only(out[:, RIGHT].copy()),
        side_rise_m=read_only(out[:, SIDE_RISE].copy()),
        resolved=read_only(resolved),
    )


def section_heights(
    raster: Raster, x: float, y: float, flow_azimuth_deg: float
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Ground along one cross-section, left to right looking downstream.

    Returns
    -------
    tuple
        Metres to the right of the place, and heights (m; NaN where there is none), both of shape
        ``(n,)``.
    """
    grid = raster.grid
    step = 0.5 * grid.cell_m
    half = round(HALF_WIDTH_UNITS * section_unit_m(grid.cell_m) / step)
    u, v = places_uv(raster, x, y)
    du, dv = directions(flow_azimuth_deg)
    heights = np.empty(2 * half + 1)
    read_section(
        raster.elevation_m,
        u[0],
        v[0],
        du[0],
        dv[0],
        grid.cell_width_m,
        grid.cell_height_m,
        half,
        step,
        heights,
    )
    return (np.arange(2 * half + 1) - half) * step, heights


def valley_widths(
    raster: Raster, x: ArrayLike, y: ArrayLike, flow_azimuth_deg: ArrayLike, level_m: ArrayLike
) -> NDArray[np.float64]:
    """Distance across the flow between where the ground first rises to a level on either side, m.

    Where a side does not reach it within `VALLEY_HALF_UNITS` units or the raster ends, that side
    counts as far as it was looked at: the width is then the least there may be.

    Parameters
    ----------
    raster
        Ground as measured.
    x, y
        Places, m, shape ``(n,)``.
    flow_azimuth_deg
        Direction of the flow, clockwise from north.
    level_m
        Heights, m; NaN gives NaN.
    """
    u, v = places_uv(raster, x, y)
    du, dv = directions(flow_azimuth_deg)
    level = np.atleast_1d(np.asarray(level_m, dtype=np.float64))
    out = np.empty(u.size)
    grid = raster.grid

    def measure(part: NDArray[np.int64]) -> None:
        if part.size:
            a, b = int(part[0]), int(part[-1]) + 1
            widths_across(
                raster.elevation_m,
                u[a:b],
                v[a:b],
                du[a:b],
                dv[a:b],
                grid.cell_width_m,
                grid.cell_height_m,
                VALLEY_HALF_UNITS,
                section_unit_m(grid.cell_m),
                level[a:b],
                out[a:b],
            )

    over_items(measure, np.array_split(np.arange(u.size), max(1, u.size // 256)))
    return out
