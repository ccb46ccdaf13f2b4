"""Typical sections: the cells of a straight stretch of channel laid on each other.

Noise of 5 cm hides a bench in a single section. Over a stretch of a dozen metres the bed's fall is
taken off, the cells are sorted by their distance from the middle between the banks, and the median
at each distance is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain._kernels.profile_measures import (
    bank_heights,
    benches_of,
    stages_of_flow,
    top_widths,
)
from terrain._kernels.stacks import (
    BED,
    LENGTH,
    MIDDLE,
    N_FACTS,
    NOISE,
    RISE,
    SCATTER,
    stack_places,
)
from terrain.channels.sections import (
    HALF_WIDTH_UNITS,
    LEAST_BANK_M,
    LEAST_BULGE_M,
    directions,
    places_uv,
    section_unit_m,
)
from terrain.values.arrays import BoolArray, FloatArray, read_only
from terrain.values.errors import ParameterError
from terrain.values.parallel import over_items
from terrain.values.raster import Raster

#: A stretch reaches this many units up and down the channel.
HALF_LENGTH_UNITS = 8
#: The channel is followed by sections this many units apart.
SECTION_UNITS = 2
#: Heights of a typical section stand this many to a cell: its cells lie at all distances.
STEPS_PER_CELL = 3
#: The bed is followed over steps up to this high from one section to the next, m.
LARGEST_STEP_M = 0.25
#: Heights are gone through in steps of this, m.
RISE_M = 0.02
#: No bench is looked for lower than this above the bed, m: three times the usual error of a cell.
LOWEST_BENCH_M = 0.16
#: Nor higher than this, m: a flow that fills a deeper channel is beyond hand-built structures.
HIGHEST_BENCH_M = 2.0
#: Above a bench, hydraulic depth falls by at least this share, and by more than noise makes.
BENCH_DROP = 0.06
NOISE_DROP = 0.3
#: A bench widens the section by at least this many cells, and lies in one of at least so many.
BENCH_TREAD_CELLS, BENCH_WIDTH_CELLS = 0.5, 2.0
#: The bank rises above a bench by at least this, m, and the bench lies below this share of it.
ABOVE_BENCH_M, BENCH_SHARE = 0.2, 0.75
#: A bench needs a stretch of this many units on a bed no steeper than this, where the middles of
#: the sections scatter no more than this many cells: steps and bends blur a section.
BENCH_LENGTH_UNITS, BENCH_SLOPE, STRAIGHT_CELLS = 8.0, 0.08, 0.4


@dataclass(frozen=True, slots=True, eq=False)
class Stacks:
    """Typical sections of n stretches, left to right looking downstream.

    Parameters
    ----------
    offset_m
        Metres to the right of the middle, shape ``(k,)``, even steps of a third of a cell.
    height_m
        Height above the bed, shape ``(n, k)``; NaN where there is none.
    bed_m
        Height of the bed at each place, m.
    bed_slope
        Fall of the bed per metre downstream over the stretch.
    middle_m
        How far the middle between the banks lies to the right of the place, m.
    noise_m
        Usual distance of single cells from the typical section where it is level, m.
    length_m
        Length of the stretch; shorter than usual where a step of the bed cuts it off.
    scatter_m
        How far the middles of the sections lie from an even curve; NaN where banks are not seen.
    cell_m
        Size of a cell.
    """

    offset_m: FloatArray
    height_m: FloatArray
    bed_m: FloatArray
    bed_slope: FloatArray
    middle_m: FloatArray
    noise_m: FloatArray
    length_m: FloatArray
    scatter_m: FloatArray
    cell_m: float

    @property
    def size(self) -> int:
        """Number of stretches."""
        return int(self.bed_m.size)

    @property
    def even(self) -> BoolArray:
        """Whether the stretch is straight and even enough for a bench to show."""
        with np.errstate(invalid="ignore"):
            even: BoolArray = (
                (self.length_m >= BENCH_LENGTH_UNITS * section_unit_m(self.cell_m))
                & (self.scatter_m <= STRAIGHT_CELLS * max(1.0, self.cell_m))
                & (np.abs(self.bed_slope) <= BENCH_SLOPE)
            )
        return even

    @property
    def height_error_m(self) -> FloatArray:
        """Error of the typical section's heights: that of a median over its cells, m."""
        cells = self.length_m / (STEPS_PER_CELL * self.cell_m)
        return np.asarray(1.25 * self.noise_m / np.sqrt(np.maximum(cells, 1.0)))


@dataclass(frozen=True, slots=True, eq=False)
class Benches:
    """Benches inside the banks; arrays over stretches, ``(n,)``, NaN where none is plain.

    Parameters
    ----------
    height_m
        Height above the bed at which the water would run out over the bench.
    width_m
        Width there.
    hydraulic_depth_m
        Area over width there.
    fall
        Share by which hydraulic depth falls over the bench.
    """

    height_m: FloatArray
    width_m: FloatArray
    hydraulic_depth_m: FloatArray
    fall: FloatArray


def stack_sections(
    raster: Raster, x: ArrayLike, y: ArrayLike, flow_azimuth_deg: ArrayLike
) -> Stacks:
    """Make the typical section of the stretch around each place.

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
    unit, step = section_unit_m(grid.cell_m), grid.cell_m / STEPS_PER_CELL
    half = round(HALF_WIDTH_UNITS * unit / step)
    profiles = np.empty((u.size, 2 * half + 1))
    facts = np.empty((u.size, N_FACTS))
    units = np.arange(-HALF_LENGTH_UNITS, HALF_LENGTH_UNITS + 1, SECTION_UNITS)
    along = np.asarray(units * unit, dtype=np.float64)
    least = np.array([LEAST_BANK_M, LEAST_BULGE_M])

    def stack(a: int, b: int) -> None:
        stack_places(
            raster.elevation_m,
            u[a:b],
            v[a:b],
            du[a:b],
            dv[a:b],
            grid.cell_width_m,
            grid.cell_height_m,
            half,
            step,
            _reach(grid.cell_m),
            least,
            along,
            LARGEST_STEP_M * unit,
            profiles[a:b],
            facts[a:b],
        )

    _in_parts(stack, u.size)
    columns = [read_only(np.ascontiguousarray(facts[:, k])) for k in range(N_FACTS)]
    return Stacks(
        offset_m=read_only((np.arange(2 * half + 1) - half) * step),
        height_m=read_only(profiles),
        bed_m=columns[BED],
        bed_slope=read_only(-columns[RISE]),
        middle_m=columns[MIDDLE],
        noise_m=columns[NOISE],
        length_m=columns[LENGTH],
        scatter_m=columns[SCATTER],
        cell_m=grid.cell_m,
    )


def widths_at(stacks: Stacks, height_m: ArrayLike) -> tuple[FloatArray, BoolArray]:
    """Width of each section at a height above its bed.

    Returns
    -------
    tuple
        Widths (m; NaN where the height is), and whether both sides reach that height, ``(n,)``;
        where one does not, the width goes to its end and is the least there may be.
    """
    level = np.asarray(height_m, dtype=np.float64)
    width, closed = np.empty(stacks.size), np.empty(stacks.size, dtype=np.bool_)
    half, reach, step = _shape(stacks)
    top_widths(stacks.height_m, half, reach, step, level, width, closed)
    return width, closed


def find_benches(stacks: Stacks, bank_depth_m: ArrayLike) -> Benches:
    """Find the bench inside the banks: the first local maximum of hydraulic depth from the bed up.

    Hydraulic depth (section area over top width) falls where the water runs out over a bench. Only
    a fall that noise does not make counts, well below the bank top: never the global maximum.

    Parameters
    ----------
    stacks
        Typical sections.
    bank_depth_m
        Height of the bank top above the bed, shape ``(n,)``; NaN gives none.
    """
    top = np.asarray(bank_depth_m, dtype=np.float64)
    error = np.nan_to_num(stacks.height_error_m)
    out = np.empty((stacks.size, 4))
    half, reach, step = _shape(stacks)

    def find(a: int, b: int) -> None:
        benches_of(
            stacks.height_m[a:b],
            half,
            reach,
            step,
            np.minimum(top[a:b], 1.5 * HIGHEST_BENCH_M),
            RISE_M,
            LOWEST_BENCH_M,
            BENCH_DROP,
            NOISE_DROP * error[a:b],
            BENCH_TREAD_CELLS * stacks.cell_m,
            out[a:b],
        )

    _in_parts(find, stacks.size)
    with np.errstate(invalid="ignore"):
        plain = stacks.even & (out[:, 0] <= np.minimum(top - ABOVE_BENCH_M, BENCH_SHARE * top))
        plain &= out[:, 0] <= HIGHEST_BENCH_M
        plain &= out[:, 1] >= BENCH_WIDTH_CELLS * stacks.cell_m
    out[~plain] = np.nan
    return Benches(*(read_only(np.ascontiguousarray(out[:, k])) for k in range(4)))


def flow_stages(
    stacks: Stacks,
    bank_depth_m: ArrayLike,
    *,
    flow_m3s: ArrayLike,
    slope: ArrayLike,
    roughness: float,
) -> tuple[FloatArray, FloatArray]:
    """Depth and width of a flow in each section by Manning's equation, m.

    Above the bank top the sides are taken as upright. NaN where flow or bank top is not known.
    All arrays have one value a section, ``(n,)``.
    """
    out = np.empty((stacks.size, 2))
    # of one layout, so that the kernel is compiled once
    top, flow, fall = (np.array(a, dtype=np.float64) for a in (bank_depth_m, flow_m3s, slope))
    half, reach, step = _shape(stacks)

    def settle(a: int, b: int) -> None:
        stages_of_flow(
            stacks.height_m[a:b],
            half,
            reach,
            step,
            top[a:b],
            flow[a:b],
            fall[a:b],
            roughness,
            RISE_M,
            out[a:b],
        )

    _in_parts(settle, stacks.size)
    return out[:, 0].copy(), out[:, 1].copy()


def lower_banks(stacks: Stacks) -> NDArray[Any]:
    """Name the side of the lower bank top, looking downstream; '' where none shows; ``(n,)``."""
    heights = np.empty((stacks.size, 2))
    half, reach, _ = _shape(stacks)

    def measure(a: int, b: int) -> None:
        bank_heights(stacks.height_m[a:b], half, reach, heights[a:b])

    _in_parts(measure, stacks.size)
    lower = np.where(heights[:, 0] <= heights[:, 1], "left", "right").astype(object)
    lower[~np.isfinite(heights).all(axis=1)] = ""
    return lower


def _shape(stacks: Stacks) -> tuple[int, int, float]:
    return (stacks.offset_m.size - 1) // 2, _reach(stacks.cell_m), stacks.cell_m / STEPS_PER_CELL


def _reach(cell_m: float) -> int:
    """Steps to each side of the middle in which the bed is looked for."""
    return max(1, round(2.0 * section_unit_m(cell_m) * STEPS_PER_CELL / cell_m))


def _in_parts(work: Callable[[int, int], None], n: int) -> None:
    edges = [(a, min(a + 256, n)) for a in range(0, n, 256)]
    over_items(lambda edge: work(*edge), edges)
