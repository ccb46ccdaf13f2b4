"""Read one or many elevation rasters into one array of metres with a mask, on one metric grid."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from terrain.reading.nodata import drop_border, drop_far_zeros
from terrain.reading.projecting import resample, source_window
from terrain.reading.rectangles import OVERLAP_DIFFERENCE_M, Rect, Tally, read_rect
from terrain.reading.survey import DemSurvey, PathLike, ReadOptions, survey_dem
from terrain.values.errors import ParameterError, RasterReadError
from terrain.values.grid import Grid
from terrain.values.memory import READING_BYTES_PER_CELL, RESAMPLING_BYTES_PER_CELL, require_memory
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster
from terrain.values.reader_units import exactly, quantity
from terrain.values.units import HeightFacts, StatedUnits, settle_vertical_unit

#: How the note begins that says that only an overview was read.
OVERVIEW_NOTE = "An overview"


@dataclass(frozen=True, slots=True)
class Source:
    """A file that was read: its path, size in bytes and SHA-256 of its content (hex)."""

    path: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class DemReading:
    """A DEM in memory and how it came there.

    Parameters
    ----------
    raster
        Heights in metres on the working grid, or the part or overview of it asked for.
    survey
        What the files are.
    notes
        Plain sentences: everything that was done to the numbers.
    sources
        The files, with hashes of their content.
    """

    raster: Raster
    survey: DemSurvey
    notes: tuple[str, ...]
    sources: tuple[Source, ...]


def read_dem(
    paths: PathLike | Sequence[PathLike],
    *,
    options: ReadOptions | None = None,
    bounds: tuple[float, float, float, float] | None = None,
    max_cells: int | None = None,
    progress: Progress = silent,
) -> DemReading:
    """Read one raster, or the tiles of one, into metres on a metric north-up grid.

    Parameters
    ----------
    paths
        Any rasters that GDAL reads.
    options
        What is known better than the files say.
    bounds
        West, south, east and north of the part to read, m, in the working coordinate system
        (``survey_dem(...).grid.crs``); snapped outward to whole cells and cut to the raster.
    max_cells
        Read an overview of at most about this many cells: blocks of cells are averaged.
    progress
        Told what is being read and how far it is.

    Returns
    -------
    DemReading

    Raises
    ------
    RasterReadError
        A file is missing, damaged, no elevation raster, or holds no usable ground.
    CrsError
        No usable coordinate system.
    GridMismatchError
        The tiles do not share one grid.
    VerticalUnitError
        The unit of the heights is unknown or not believable.
    MemoryNeedError
        It would not fit into memory.
    ParameterError
        Both ``bounds`` and ``max_cells``, or bounds outside the raster.
    """
    options = ReadOptions() if options is None else options
    if bounds is not None and max_cells is not None:
        raise ParameterError("both bounds and max_cells", expected="one of them")
    survey = survey_dem(paths, options)
    with ThreadPoolExecutor(max_workers=1) as pool:
        hashes = pool.map(_source, [f.path for f in survey.files])
        raster, notes = _read(survey, options, bounds, max_cells, progress)
        sources = tuple(hashes)
    return DemReading(raster, survey, (*survey.notes, *notes), sources)


def _source(path: str) -> Source:
    """Hash a file's content in a stream; other than plain files keep an empty hash."""
    if not os.path.isfile(path):
        return Source(path, 0, "")
    with open(path, "rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return Source(path, os.path.getsize(path), digest)


def _read(
    survey: DemSurvey,
    options: ReadOptions,
    bounds: tuple[float, float, float, float] | None,
    max_cells: int | None,
    progress: Progress,
) -> tuple[Raster, list[str]]:
    """Read, clean and convert; returns the raster and notes about it."""
    mosaic, projection = survey.mosaic, survey.projection
    part = survey.grid if bounds is None else part_of_grid(survey.grid, bounds)
    step = 1 if max_cells is None else max(1, math.ceil(math.sqrt(part.size / max(max_cells, 1))))
    if projection is not None:
        rect = Rect(*source_window(mosaic, projection, part))
        per_cell = RESAMPLING_BYTES_PER_CELL
    else:
        rect = _rect_of_part(survey.grid, part)
        per_cell = READING_BYTES_PER_CELL
    require_memory(
        max(part.size, rect.shape[0] * rect.shape[1]) // step**2, bytes_per_cell=per_cell
    )
    z, valid, tally = read_rect(survey, options, rect, step, progress)
    factor = survey.metres_per_number
    cell_m = survey.grid.cell_m * step
    zeros = drop_far_zeros(z, valid, cell_m=cell_m, metres_per_number=factor)
    known = tuple(b.number for b in tally.borders)
    tally.borders += drop_border(z, valid, cell_m=cell_m, metres_per_number=factor, known=known)
    _require_ground(z, valid, survey, options)
    notes = _void_notes(survey, tally, zeros, z.size)
    if step > 1:
        part = _coarser(part, step)
        notes.append(f"{OVERVIEW_NOTE}: {step} x {step} cells are averaged into one.")
    if projection is not None:
        t = mosaic.transform
        placed = Affine(t.a * step, 0, t.c + rect.col0 * t.a, 0, t.e * step, t.f + rect.row0 * t.e)
        progress("projecting the elevations", 0.0)
        z, valid = resample(z, valid, placed, projection, part)
        progress("projecting the elevations", 1.0)
        if not valid.any():
            raise RasterReadError(
                f"{survey.files[0].name} holds no ground in the part asked for",
                expected="cells with heights",
            )
    _finish(z, valid, factor)
    return Raster(part, z, valid), notes


def part_of_grid(grid: Grid, bounds: tuple[float, float, float, float]) -> Grid:
    """Return the part of a grid that bounds meet, snapped outward to whole cells.

    Raises
    ------
    ParameterError
        The bounds are empty or lie outside the grid.
    """
    west, south, east, north = bounds
    t = grid.transform
    # A hair of a cell is rounding, not a wish for one more row.
    col0, col1 = math.floor((west - t.c) / t.a + 1e-6), math.ceil((east - t.c) / t.a - 1e-6)
    row0, row1 = math.floor((north - t.f) / t.e + 1e-6), math.ceil((south - t.f) / t.e - 1e-6)
    col0, row0 = max(col0, 0), max(row0, 0)
    col1, row1 = min(col1, grid.cols), min(row1, grid.rows)
    if not (west < east and south < north) or col0 >= col1 or row0 >= row1:
        asked = ", ".join(f"{v:.0f}" for v in bounds)
        has = ", ".join(f"{v:.0f}" for v in grid.bounds)
        raise ParameterError(
            f"the part asked for ({asked}) does not meet the DEM", expected=f"within ({has})"
        )
    corner = Affine(t.a, 0, t.c + col0 * t.a, 0, t.e, t.f + row0 * t.e)
    return Grid(row1 - row0, col1 - col0, corner, grid.crs)


def _rect_of_part(grid: Grid, part: Grid) -> Rect:
    t, p = grid.transform, part.transform
    row0, col0 = round((p.f - t.f) / t.e), round((p.c - t.c) / t.a)
    return Rect(row0, row0 + part.rows, col0, col0 + part.cols)


def _coarser(grid: Grid, step: int) -> Grid:
    t = grid.transform
    rows, cols = math.ceil(grid.rows / step), math.ceil(grid.cols / step)
    return Grid(rows, cols, Affine(t.a * step, 0, t.c, 0, t.e * step, t.f), grid.crs)


def _require_ground(
    z: NDArray[np.float32], valid: NDArray[np.bool_], survey: DemSurvey, options: ReadOptions
) -> None:
    """Refuse rasters without ground, without relief, or with numbers that look like feet."""
    name = survey.files[0].name if len(survey.files) == 1 else "the mosaic"
    low, high, count = _extremes(z, valid)
    if count == 0:
        raise RasterReadError(
            f"{name} holds no ground: every cell is missing or a filler number",
            expected="cells with heights",
            do="use a DEM that covers the ranch",
        )
    if count < 9:
        raise RasterReadError(
            f"{name} holds only {count} cells with heights", expected="at least nine"
        )
    if low == high:
        raise RasterReadError(
            f"{name} has the height {low:g} everywhere",
            expected="a DEM with relief",
            do="check that it is the DEM and not a mask",
        )
    if options.vertical_unit is None:
        stride = max(1, math.isqrt(z.size // 1_000_000))
        some = z[::stride, ::stride][valid[::stride, ::stride]]
        if some.size:
            heights = HeightFacts(float(np.quantile(some, 0.999)), None, survey.place)
            stated = StatedUnits(crs=survey.vertical_unit)
            settle_vertical_unit(stated, heights, name=name)


def _extremes(z: NDArray[np.float32], valid: NDArray[np.bool_]) -> tuple[float, float, int]:
    """Lowest and highest valid number, and how many are valid, in row blocks."""
    low, high, count = math.inf, -math.inf, 0
    step = max(1, (1 << 20) // z.shape[1])
    for r in range(0, z.shape[0], step):
        part, mask = z[r : r + step], valid[r : r + step]
        n = int(np.count_nonzero(mask))
        if n:
            count += n
            low = min(low, float(np.min(part, where=mask, initial=np.float32(np.inf))))
            high = max(high, float(np.max(part, where=mask, initial=np.float32(-np.inf))))
    return low, high, count


def _finish(z: NDArray[np.float32], valid: NDArray[np.bool_], factor: float) -> None:
    """Turn numbers into metres and void cells into NaN, in place."""
    step = max(1, (1 << 20) // z.shape[1])
    for r in range(0, z.shape[0], step):
        part = z[r : r + step]
        if factor != 1.0:
            # One rounding, from the exact product.
            part[...] = part * np.float64(factor)
        np.copyto(part, np.float32(np.nan), where=~valid[r : r + step])


def _void_notes(survey: DemSurvey, tally: Tally, zeros: int, cells: int) -> list[str]:
    """Say which cells were taken as missing ground, and why."""
    notes = []
    voids = tally.voids
    name = survey.files[0].name

    def share(n: int) -> str:
        return f"{n:,} cells ({100 * n / cells:.2g} %)"

    if voids.declared:
        number = survey.files[0].nodata
        declared = "" if number is None else f" ({number:g})"
        notes.append(f"{share(voids.declared)} are missing ground as {name} declares{declared}.")
    if voids.not_a_number:
        notes.append(f"{share(voids.not_a_number)} are not numbers and count as missing ground.")
    if voids.impossible:
        notes.append(
            f"{share(voids.impossible)} hold numbers that no ground can have, not declared in the "
            "file; they count as missing ground."
        )
    if tally.masked:
        notes.append(f"{share(tally.masked)} are masked out by the file.")
    if zeros:
        notes.append(
            f"{share(zeros)} are exactly 0, far below all other ground, not declared in the file; "
            "they count as missing ground."
        )
    for number in dict.fromkeys(b.number for b in tally.borders):
        blocks = [b for b in tally.borders if b.number == number]
        notes.append(
            f"{share(sum(b.cells for b in blocks))} along the edge are exactly {number:g}, about "
            f"{quantity(max(b.step_m for b in blocks), 'm')} apart from the ground beside them, "
            "not declared in the file; they count as missing ground."
        )
    if tally.differing_cells:
        notes.append(
            f"Overlapping tiles differ by more than {exactly(OVERLAP_DIFFERENCE_M, 'm')} in "
            f"{tally.differing_cells:,} of {tally.overlap_cells:,} cells, by up to "
            f"{quantity(tally.largest_difference, 'm')}; the tile given first is used."
        )
    return notes
