"""The net of ways over the ground: places, and the time from each to its sixteen neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy.sparse import csr_array

from siting.walking.footing import footing, step_time_s
from siting.walking.walk_land import WalkLand, WalkRules
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid

#: Steps to eight neighbours, and eight knight's moves, which bend a way less (rows, columns).
MOVES = (
    (-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (-1, 1), (1, -1), (1, 1),
    (-2, -1), (-2, 1), (2, -1), (2, 1), (-1, -2), (-1, 2), (1, -2), (1, 2),
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class WalkNet:
    """Places on the ground and the times between neighbours.

    Parameters
    ----------
    land
        The ground.
    grid
        Places as centres of cells; coarser than the ground's cells or the same.
    spacing
        Ground cells from one place to the next.
    first
        Row and column of the first place on the ground's grid.
    time_s
        Square sparse matrix: s from place to place, by flat number.
    """

    land: WalkLand
    grid: Grid
    spacing: int
    first: tuple[int, int]
    time_s: csr_array


def walk_net(land: WalkLand, rules: WalkRules | None = None) -> WalkNet:
    """Lay the net over the ground, as fine as ``rules.most_nodes`` allows.

    Along every connection the walk is timed in steps of one ground cell, so that a bank between
    two places counts however far apart they are.

    Raises
    ------
    ParameterError
        Ground of a single place.
    """
    rules = rules or WalkRules()
    spacing = max(1, int(np.ceil(np.sqrt(land.grid.size / rules.most_nodes))))
    first = (min(spacing // 2, land.grid.rows - 1), min(spacing // 2, land.grid.cols - 1))
    grid = _places(land.grid, spacing, first)
    number = np.arange(grid.size, dtype=np.int32).reshape(grid.shape)
    starts, ends, times = [], [], []
    for down, right in MOVES:
        if grid.rows <= abs(down) or grid.cols <= abs(right):
            continue
        time = _move_times(land, rules, grid, spacing, first, (down, right))
        ok = np.isfinite(time)
        here = _window(grid.shape, down, right)
        there = _window(grid.shape, -down, -right)
        starts.append(number[here][ok])
        ends.append(number[there][ok])
        times.append(time[ok])
    if not starts:
        raise ParameterError(
            f"ground of {grid.rows} x {grid.cols} places to walk on", expected="two at least"
        )
    entries = (np.concatenate(times), (np.concatenate(starts), np.concatenate(ends)))
    return WalkNet(land, grid, spacing, first, csr_array(entries, shape=(grid.size, grid.size)))


def _places(land: Grid, spacing: int, first: tuple[int, int]) -> Grid:
    """Grid whose cells have the places at their centres."""
    rows = -(-(land.rows - first[0]) // spacing)
    cols = -(-(land.cols - first[1]) // spacing)
    t = land.transform
    west = t.c + (first[1] + 0.5 - spacing / 2) * t.a
    north = t.f + (first[0] + 0.5 - spacing / 2) * t.e
    return Grid(rows, cols, Affine(t.a * spacing, 0.0, west, 0.0, t.e * spacing, north), land.crs)


def _window(shape: tuple[int, int], down: int, right: int) -> tuple[slice, slice]:
    """Places from which a move stays on the net."""
    rows, cols = shape
    return (
        slice(max(0, -down), rows - max(0, down)),
        slice(max(0, -right), cols - max(0, right)),
    )


def _move_times(
    land: WalkLand,
    rules: WalkRules,
    grid: Grid,
    spacing: int,
    first: tuple[int, int],
    move: tuple[int, int],
) -> NDArray[np.float64]:
    """Time of one move from every place from which it stays on the net, s; NaN where no way is."""
    down, right = move
    rows, cols = _window(grid.shape, down, right)
    steps = spacing * max(abs(down), abs(right))

    def cells(i: int) -> tuple[NDArray[Any], NDArray[Any]]:
        """Ground after so many steps, at places as ``row[:, None], col[None, :]``."""
        row = np.arange(rows.start, rows.stop) * spacing + first[0] + i * spacing * down / steps
        col = np.arange(cols.start, cols.stop) * spacing + first[1] + i * spacing * right / steps
        return row[:, None], col[None, :]

    step_m = spacing * _length(land.grid, down, right) / steps
    here = footing(land, *cells(0))
    total = np.zeros(here.height_m.shape)
    for i in range(1, steps + 1):
        before, here = here, footing(land, *cells(i))
        total += step_time_s(before, here, step_m, rules)
    return total


def _length(grid: Grid, down: float, right: float) -> float:
    return float(np.hypot(down * grid.cell_height_m, right * grid.cell_width_m))
