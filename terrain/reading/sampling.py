"""A sparse look at the numbers of a raster: enough to tell feet from metres before reading it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from terrain.reading.nodata import as_float32, mark_valid
from terrain.reading.opening import GDAL_ERRORS, FileFacts, damaged, open_dataset

_SAMPLE_SIDE = 128
_SAMPLES_PER_AXIS = 3
_SAMPLED_FILES = 4


@dataclass(frozen=True, slots=True)
class Sample:
    """A sparse look at the numbers of the files, in their own unit; None where all were void."""

    low: float | None
    high: float | None
    median_slope: float | None
    void_share: float
    zero_share: float


def take_sample(files: Sequence[FileFacts], nodata: float | None, cell_m: float) -> Sample:
    """Read a few small windows of some of the files and describe their numbers.

    Parameters
    ----------
    files
        The tiles; at most four, spread over the list, are looked at.
    nodata
        A void number given besides those that the files declare.
    cell_m
        Cell size, m, for slopes.

    Raises
    ------
    RasterReadError
        A window cannot be read.
    """
    n = min(len(files), _SAMPLED_FILES)
    chosen = sorted({round(i * (len(files) - 1) / max(n - 1, 1)) for i in range(n)})
    pairs = [pair for i in chosen for pair in _windows_of(files[i], nodata)]
    cells = sum(z.size for z, _ in pairs)
    voids = cells - sum(int(np.count_nonzero(mask)) for _, mask in pairs)
    zeros = sum(int(np.count_nonzero(mask & (z == 0))) for z, mask in pairs)
    # Cells of exactly 0 are often the outside; they say nothing about feet.
    known = [np.where(mask & (z != 0), z, np.float32(np.nan)) for z, mask in pairs]
    numbers = np.concatenate([z[np.isfinite(z)] for z in known])
    if numbers.size == 0:
        return Sample(None, None, None, voids / cells, zeros / cells)
    return Sample(
        float(numbers.min()),
        float(np.quantile(numbers, 0.999)),
        _median_slope(known, cell_m),
        voids / cells,
        zeros / cells,
    )


def _windows_of(
    facts: FileFacts, nodata: float | None
) -> list[tuple[NDArray[np.float32], NDArray[np.bool_]]]:
    """Numbers and masks of the windows of one file."""
    pairs = []
    with open_dataset(facts.path) as dataset:
        for window in _sample_windows(facts):
            try:
                z = dataset.read(1, window=window, out_dtype="float32")
                shown = dataset.read_masks(1, window=window) if facts.has_mask else None
            except GDAL_ERRORS as error:
                raise damaged(facts, window) from error
            z, declared = facts.scaled(z)
            mask = np.empty(z.shape, dtype=np.bool_)
            mark_valid(z, declared, mask)
            if nodata is not None:
                mask &= z != as_float32(nodata)
            if shown is not None:
                mask &= shown > 0
            pairs.append((z, mask))
    return pairs


def _sample_windows(facts: FileFacts) -> list[Window]:
    h, w = min(facts.rows, _SAMPLE_SIDE), min(facts.cols, _SAMPLE_SIDE)
    n = _SAMPLES_PER_AXIS
    tops = sorted({round((facts.rows - h) * i / (n - 1)) for i in range(n)})
    lefts = sorted({round((facts.cols - w) * i / (n - 1)) for i in range(n)})
    return [Window(left, top, w, h) for top in tops for left in lefts]


def _median_slope(parts: Sequence[NDArray[np.float32]], cell_m: float) -> float | None:
    """Median of rise over run over the windows, or None with fewer than 100 cells."""
    slopes = []
    for z in parts:
        dx = (z[1:-1, 2:] - z[1:-1, :-2]) / (2 * cell_m)
        dy = (z[2:, 1:-1] - z[:-2, 1:-1]) / (2 * cell_m)
        slope = np.hypot(dx, dy)
        slopes.append(slope[np.isfinite(slope)])
    together = np.concatenate(slopes)
    return float(np.median(together)) if together.size >= 100 else None
