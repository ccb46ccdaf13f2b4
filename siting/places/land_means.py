"""Means over the drainage area of every cell, from maps of soil and cover."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.runoff import runoff_depth_mm
from siting.places.land_maps import SLOPE_CLASSES, LandMap
from terrain.channels.drainage_areas import Catchments
from terrain.flow.flow_field import FlowField
from terrain.values.arrays import read_only
from terrain.values.parallel import band_edges


def mean_curve_number(flow: FlowField, counts: NDArray[Any], land: LandMap) -> NDArray[np.float32]:
    """Area-weighted curve number of the land that drains to each cell.

    The sum of the curve numbers over the cells that have one, divided by how many they are; NaN
    where none has. One weighted accumulation, and a second one where the maps have holes.

    Returns
    -------
    numpy.ndarray
        float32, shape ``(rows, cols)``.
    """
    sums = flow.accumulate(land.looked_up(np.nan_to_num(land.numbers), np.float32))
    known = counts
    if land.has_holes:
        known = flow.accumulate(land.looked_up(np.isfinite(land.numbers), np.bool_))
    mean = np.full(sums.shape, np.nan, dtype=np.float32)
    for a, b in band_edges(sums.shape[0]):
        np.divide(sums[a:b], known[a:b], out=mean[a:b], where=known[a:b] > 0, casting="same_kind")
    return read_only(mean)


def sums_above(
    catchments: Catchments,
    land: LandMap,
    gradient: NDArray[np.float32],
    cells: NDArray[np.int64],
    amounts: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Sum amounts that depend on cover, soil and slope over the land above cells, in one pass.

    What drains to a cell is one run of the catchments' numbers. All runs together cut the numbers
    into stretches; each stretch is counted once, and a run is the sum of its stretches. Whole
    numbers keep the sums exact.

    Parameters
    ----------
    catchments
        Numbering of the cells.
    land
        Map of cover and soil.
    gradient
        Steepness of every cell, m per m, shape ``(rows, cols)``.
    cells
        Flat cell numbers, shape ``(n,)``.
    amounts
        Amounts of one cell of each pair of cover and soil on flat, rolling and hilly ground, shape
        ``(pairs, 3, amounts)``.

    Returns
    -------
    numpy.ndarray
        int64, shape ``(n, amounts)``.
    """
    classes = len(SLOPE_CLASSES) + 1
    number = catchments.number
    by_number = np.zeros(number.size, dtype=np.uint16)
    for a, b in band_edges(len(number)):
        kind = land.pair[a:b] * np.uint16(classes)
        for slope in SLOPE_CLASSES:
            kind += gradient[a:b] > slope
        known = number[a:b] >= 0
        if known.all():
            by_number[number[a:b]] = kind
        else:
            by_number[number[a:b][known]] = kind[known]
    first = number.reshape(-1)[cells].astype(np.int64)
    last = first + catchments.counts.reshape(-1)[cells].astype(np.int64)
    edges = np.unique(np.concatenate([first, last]))
    of_kind = amounts.reshape(-1, amounts.shape[-1])
    below = np.zeros((edges.size, amounts.shape[-1]), dtype=np.int64)
    for i, (a, b) in enumerate(pairwise(edges), start=1):
        kinds = np.bincount(by_number[a:b])
        below[i] = kinds @ of_kind[: kinds.size]
    np.cumsum(below, axis=0, out=below)
    found: NDArray[np.int64] = (
        below[np.searchsorted(edges, last)] - below[np.searchsorted(edges, first)]
    )
    return found


def runoff_amounts(land: LandMap, rain_mm: float) -> NDArray[np.int64]:
    """Runoff of one rain from each kind of ground, micrometres; none without a curve number.

    Summed over cells it is the volume of the flood. Unlike the runoff of the mean curve number,
    which is the lower the more the numbers differ, it can never fall downstream.
    """
    depth_mm = np.nan_to_num(runoff_depth_mm(rain_mm, land.numbers))
    return np.repeat(np.rint(1000 * depth_mm).astype(np.int64)[:, None], 3, axis=1)


def coefficient_amounts(land: LandMap) -> NDArray[np.int64]:
    """Coefficient C of the rational method of each kind of ground, in ten-thousandths.

    Each cell has the C of its own cover, soil and slope (NRCS module 206D, table 2): woods count
    as woodland, row crops as cultivated and all else as pasture or range; group A as sandy loam, D
    as tight clay, B, C and unknown soil as clay and silt loam (common practice, no published
    source).
    """
    return np.rint(10_000 * land.rational).astype(np.int64)
