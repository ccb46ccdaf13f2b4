"""Which cells hold no ground: declared, not-a-number, impossible, or an undeclared border.

A raster often marks the outside with a number that its header does not declare. Numbers that no
ground can have are void anywhere. Any other constant, such as 0, counts as void only when it forms
a block that touches the raster's edge *and* stands apart from the ground beside it by a cliff: the
sea at 0 beside a beach, or a lake cut by the edge, stays ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.border import edge_block, step_sizes

#: Below this no ground lies, in metres or feet (the lowest dry land is about -430 m).
LOWEST_NUMBER = -1500.0

#: Above this no ground lies, in metres or feet (29,032 ft is the top of the Earth).
HIGHEST_NUMBER = 30000.0

#: A block on the edge must make this share of all cells before it is looked at.
BORDER_SHARE = 0.005

#: And its usual step to the ground beside it must be above this, m, and above one cell size.
BORDER_STEP_M = 3.0

#: Rows looked at together: the temporary arrays stay in cache.
_ROWS_AT_ONCE_CELLS = 1 << 20


@dataclass(frozen=True, slots=True)
class VoidCount:
    """How many cells held no ground, and why."""

    declared: int = 0
    not_a_number: int = 0
    impossible: int = 0

    def __add__(self, other: VoidCount) -> VoidCount:
        return VoidCount(
            self.declared + other.declared,
            self.not_a_number + other.not_a_number,
            self.impossible + other.impossible,
        )

    @property
    def total(self) -> int:
        """All void cells."""
        return self.declared + self.not_a_number + self.impossible


def as_float32(number: float) -> np.float32:
    """Return a number as float32; a filler beyond its range becomes infinite."""
    with np.errstate(over="ignore"):
        return np.float32(number)


def mark_valid(z: NDArray[np.float32], nodata: float | None, out: NDArray[np.bool_]) -> VoidCount:
    """Fill a mask of the cells that hold ground.

    Parameters
    ----------
    z
        float32, shape ``(rows, cols)``; numbers as they stand in the file.
    nodata
        Declared void number, or None.
    out
        bool, same shape; overwritten.
    """
    rows, cols = z.shape
    step = max(1, _ROWS_AT_ONCE_CELLS // max(cols, 1))
    count = VoidCount()
    declared = None if nodata is None or np.isnan(nodata) else as_float32(nodata)
    for r in range(0, rows, step):
        part, mask = z[r : r + step], out[r : r + step]
        # A comparison with NaN is False, so this also drops NaN.
        np.greater(part, LOWEST_NUMBER, out=mask)
        mask &= part < HIGHEST_NUMBER
        if declared is not None:
            mask &= part != declared
        void = part.size - int(np.count_nonzero(mask))
        if void:
            numbers = part[~mask]
            nans = int(np.count_nonzero(np.isnan(numbers)))
            said = 0 if declared is None else int(np.count_nonzero(numbers == declared))
            if nodata is not None and np.isnan(nodata):
                said, nans = nans, 0
            count += VoidCount(said, nans, void - nans - said)
    return count


@dataclass(frozen=True, slots=True)
class BorderBlock:
    """An undeclared constant block on the raster's edge that was taken as void."""

    number: float
    cells: int
    step_m: float


def drop_border(
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    *,
    cell_m: float,
    metres_per_number: float = 1.0,
    known: tuple[float, ...] = (),
) -> tuple[BorderBlock, ...]:
    """Make undeclared constant borders void, in place.

    Parameters
    ----------
    z, valid
        Numbers and mask, shape ``(rows, cols)``; the mask is changed.
    cell_m
        Cell size, m: ground that drops by more than one cell size to the block, at most places
        along its rim, is a cut, not a shore.
    metres_per_number
        Metres in one unit of ``z``.
    known
        Numbers already found to be void elsewhere: their edge blocks need no rim to be void.

    Returns
    -------
    tuple of BorderBlock
        What was dropped, largest block first.
    """
    found: list[BorderBlock] = []
    for number in _edge_numbers(z, valid):
        block = edge_block(z, valid, np.float32(number))
        cells = int(np.count_nonzero(block))
        if cells < BORDER_SHARE * z.size:
            continue
        steps = step_sizes(z, valid, block)
        step_m = float(np.median(steps)) * metres_per_number if steps.size else 0.0
        is_known = any(number == k for k in known)
        if step_m > max(BORDER_STEP_M, cell_m) or (is_known and cells < valid.size):
            valid &= np.logical_not(block, out=block)
            found.append(BorderBlock(float(number), cells, step_m))
    return tuple(sorted(found, key=lambda b: -b.cells))


def _edge_numbers(z: NDArray[np.float32], valid: NDArray[np.bool_]) -> list[np.float32]:
    """Numbers common enough along the edge to be the outside: at most three."""
    edge = np.concatenate([z[0], z[-1], z[1:-1, 0], z[1:-1, -1]])
    known = np.concatenate([valid[0], valid[-1], valid[1:-1, 0], valid[1:-1, -1]])
    numbers, counts = np.unique(edge[known], return_counts=True)
    order = np.argsort(-counts, kind="stable")[:3]
    # A block of half a per cent of a square raster covers at least this much of its edge,
    # unless it touches by a corner; a few equal numbers in a row are flat ground.
    enough = max(3, int(0.005 * edge.size))
    return [numbers[i] for i in order if counts[i] >= enough]


def drop_far_zeros(
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    *,
    cell_m: float,
    metres_per_number: float = 1.0,
) -> int:
    """Make cells of exactly 0 void, in place, where all other ground lies far above them.

    Catches holes and thin rims of 0 that no edge block explains. Ground lies far above when even
    its lowest cell is more than ten times the border step higher.

    Parameters
    ----------
    z, valid
        Heights in the file's unit and whether each is known, shape ``(rows, cols)``; both are
        changed.
    cell_m
        Size of a cell, m.
    metres_per_number
        Metres in one unit of the heights.

    Returns
    -------
    int
        How many cells were dropped.
    """
    rows, cols = z.shape
    step = max(1, _ROWS_AT_ONCE_CELLS // max(cols, 1))
    far = 10.0 * max(BORDER_STEP_M, cell_m) / metres_per_number
    zeros = 0
    for r in range(0, rows, step):
        part, mask = z[r : r + step], valid[r : r + step]
        near = mask & (np.abs(part) <= far)
        if not near.any():
            continue
        is_zero = part[near] == 0
        if not is_zero.all():
            return 0
        zeros += is_zero.size
    if zeros == 0 or zeros == int(np.count_nonzero(valid)):
        return 0
    for r in range(0, rows, step):
        valid[r : r + step] &= z[r : r + step] != 0
    return zeros
