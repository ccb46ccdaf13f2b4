"""Read tiles straight into one array: north-up, cleaned, the first file wins in overlaps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from terrain.reading.nodata import BorderBlock, VoidCount, as_float32, drop_border, mark_valid
from terrain.reading.opening import GDAL_ERRORS, FileFacts, damaged, open_dataset
from terrain.reading.survey import DemSurvey, ReadOptions
from terrain.values.progress import Progress, silent

#: Cells read at a time, in whole rows of blocks.
_CHUNK_CELLS = 1 << 22

#: Overlapping tiles that differ by more than this are reported, m.
OVERLAP_DIFFERENCE_M = 0.1


@dataclass(frozen=True, slots=True)
class Rect:
    """A half-open rectangle of mosaic cells."""

    row0: int
    row1: int
    col0: int
    col1: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.row1 - self.row0, self.col1 - self.col0

    def meet(self, other: Rect) -> Rect | None:
        """Return the part that two rectangles share, or None."""
        r0, r1 = max(self.row0, other.row0), min(self.row1, other.row1)
        c0, c1 = max(self.col0, other.col0), min(self.col1, other.col1)
        return Rect(r0, r1, c0, c1) if r0 < r1 and c0 < c1 else None


@dataclass(slots=True)
class Tally:
    """What was met while reading."""

    voids: VoidCount = field(default_factory=VoidCount)
    masked: int = 0
    borders: tuple[BorderBlock, ...] = ()
    overlap_cells: int = 0
    differing_cells: int = 0
    largest_difference: float = 0.0


def read_rect(
    survey: DemSurvey, options: ReadOptions, rect: Rect, step: int, progress: Progress
) -> tuple[NDArray[np.float32], NDArray[np.bool_], Tally]:
    """Read a rectangle of the mosaic into one array, averaging blocks when step is above 1.

    Returns
    -------
    tuple
        Heights in the file's unit and whether each is known, both of shape ``(rows, cols)`` of the
        rectangle over the step, and what was met.
    """
    rows, cols = rect.shape
    tally = Tally()
    if step == 1:
        z = np.empty((rows, cols), dtype=np.float32)
        valid = np.zeros((rows, cols), dtype=np.bool_)
        _paste_tiles(survey, options, rect, z, valid, tally, progress)
        return z, valid, tally
    shape = math.ceil(rows / step), math.ceil(cols / step)
    z = np.empty(shape, dtype=np.float32)
    valid = np.zeros(shape, dtype=np.bool_)
    high = max(1, _CHUNK_CELLS // (step * cols)) * step
    for r in range(0, rows, high):
        band = Rect(rect.row0 + r, min(rect.row0 + r + high, rect.row1), rect.col0, rect.col1)
        zb = np.empty(band.shape, dtype=np.float32)
        vb = np.zeros(band.shape, dtype=np.bool_)
        _paste_tiles(survey, options, band, zb, vb, tally, silent)
        top = r // step
        n = math.ceil(band.shape[0] / step)
        z[top : top + n], valid[top : top + n] = _average(zb, vb, step)
        progress("reading an overview", min(1.0, (r + high) / rows))
    return z, valid, tally


def _average(
    z: NDArray[np.float32], valid: NDArray[np.bool_], step: int
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Mean of the valid cells of each block; a block is valid when half of it is."""
    at_r, at_c = np.arange(0, z.shape[0], step), np.arange(0, z.shape[1], step)
    known = np.where(valid, z, np.float32(0)).astype(np.float64)
    total = np.add.reduceat(np.add.reduceat(known, at_c, axis=1), at_r, axis=0)
    ones = valid.astype(np.int64)
    count = np.add.reduceat(np.add.reduceat(ones, at_c, axis=1), at_r, axis=0)
    mean = (total / np.maximum(count, 1)).astype(np.float32)
    size_r = np.diff(np.append(at_r, z.shape[0]))
    size_c = np.diff(np.append(at_c, z.shape[1]))
    return mean, count * 2 >= np.multiply.outer(size_r, size_c)


def _paste_tiles(
    survey: DemSurvey,
    options: ReadOptions,
    rect: Rect,
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    tally: Tally,
    progress: Progress,
) -> None:
    """Read what every file has of a rectangle into arrays that start all void."""
    mosaic = survey.mosaic
    places = [
        Rect(r, r + h, c, c + w)
        for (r, c), (h, w) in zip(mosaic.corners, mosaic.shapes, strict=True)
    ]
    for i, (facts, place) in enumerate(zip(survey.files, places, strict=True)):
        common = rect.meet(place)
        if common is not None:
            here = (
                slice(common.row0 - rect.row0, common.row1 - rect.row0),
                slice(common.col0 - rect.col0, common.col1 - rect.col0),
            )
            others = (q for j, q in enumerate(places) if j != i)
            if any(common.meet(q) is not None for q in others):
                tile = np.empty(common.shape, dtype=np.float32)
                known = np.zeros(common.shape, dtype=np.bool_)
                _read_tile(facts, options, place, common, tile, known, tally, silent)
                factor = survey.metres_per_number
                tally.borders += drop_border(
                    tile, known, cell_m=survey.grid.cell_m, metres_per_number=factor
                )
                _merge(tile, known, z[here], valid[here], tally, factor)
            else:
                name = facts.name

                def told(_: str, done: float, i: int = i, name: str = name) -> None:
                    progress(f"reading {name}", (i + done) / len(places))

                _read_tile(facts, options, place, common, z[here], valid[here], tally, told)
        progress(f"reading {facts.name}", (i + 1) / len(places))


def _merge(
    tile: NDArray[np.float32],
    known: NDArray[np.bool_],
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    tally: Tally,
    metres_per_number: float,
) -> None:
    """Fill what earlier tiles left void; count where they differ from this one."""
    both = known & valid
    cells = int(np.count_nonzero(both))
    if cells:
        difference = np.abs(tile[both] - z[both]) * metres_per_number
        tally.overlap_cells += cells
        tally.differing_cells += int(np.count_nonzero(difference > OVERLAP_DIFFERENCE_M))
        tally.largest_difference = max(tally.largest_difference, float(difference.max()))
    new = known & ~valid
    np.copyto(z, tile, where=new)
    valid |= new


def _read_tile(
    facts: FileFacts,
    options: ReadOptions,
    place: Rect,
    common: Rect,
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    tally: Tally,
    progress: Progress,
) -> None:
    """Read the part of one file straight into the arrays' place, north-up, with its mask."""
    rows, cols = common.shape
    per_chunk = max(1, _CHUNK_CELLS // cols // facts.block_rows) * facts.block_rows
    top, left = common.row0 - place.row0, common.col0 - place.col0
    row_of_blocks = facts.block_rows * facts.cols * np.dtype(facts.dtype).itemsize
    with open_dataset(facts.path, cache_bytes=2 * row_of_blocks) as dataset:
        r = 0
        while r < rows:
            # Chunks end where the file's blocks end, so that none is decoded twice.
            n = min(per_chunk - (top + r) % facts.block_rows, rows - r)
            first = facts.rows - top - r - n if facts.flipped else top + r
            window = Window(left, first, cols, n)
            part, mask = z[r : r + n], valid[r : r + n]
            target = part[::-1] if facts.flipped else part
            try:
                dataset.read(1, window=window, out=target)
                told = dataset.read_masks(1, window=window) if facts.has_mask else None
            except GDAL_ERRORS as error:
                raise damaged(facts, window) from error
            _clean(facts, options, part, mask, tally)
            if told is not None:
                shown = (told[::-1] if facts.flipped else told) > 0
                tally.masked += int(np.count_nonzero(mask & ~shown))
                mask &= shown
            r += n
            progress(facts.name, r / rows)


def _clean(
    facts: FileFacts,
    options: ReadOptions,
    z: NDArray[np.float32],
    mask: NDArray[np.bool_],
    tally: Tally,
) -> None:
    """Scale numbers in place and fill their mask."""
    _, nodata = facts.scaled(z)
    tally.voids += mark_valid(z, nodata, mask)
    if options.nodata is not None:
        extra = mask & (z == as_float32(options.nodata))
        tally.voids += VoidCount(declared=int(np.count_nonzero(extra)))
        mask &= ~extra
