"""What an airborne survey makes of a surface: ground points, thin under brush, gridded.

Points fall on the surface at a stated density, are lost where brush, a steep face or a sharp rim
keeps them from being taken for ground, carry errors, and are gridded as products usually are:
the points of one output cell are averaged, and the cells between are filled from the facets of a
Delaunay triangulation or from the nearest points by inverse distance. A drop of one metre that
falls within half a metre of ground so comes out spread over three to eight. Densities and errors
are those that survey reports commonly state (judgement).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import Delaunay, cKDTree

FACE_SLOPE = (0.45, 1.3)  # m/m: from here on points are lost, and here all but the least
RIM_M = (0.10, 0.45)  # how far ground stands above its surroundings of 2 m when it is cut off
LEAST_DENSITY_PER_M2 = 0.05
NEIGHBOURS = 8


@dataclass(frozen=True, slots=True)
class Survey:
    """How the ground was surveyed and gridded. Densities are of points taken for ground."""

    density_per_m2: float = 4.0
    brush_share: float = 0.08  # of the land
    brush_density_per_m2: float = 0.3
    face_density_per_m2: float = 0.3
    brush_left: float = 0.15  # share of the points in brush that are stems, up to 0.4 m too high
    rim_loss: float = 0.85  # share of the points lost on sharp rims
    vertical_m: float = 0.05
    horizontal_m: float = 0.12
    swath_m: float = 0.015  # how far strips of flight differ from each other
    pits_per_ha: float = 0.7
    by_distance: bool = False  # inverse distance instead of facets


def survey_ground(
    clean: NDArray[np.floating],
    cell_m: float,
    out_cell_m: float,
    seed: int,
    how: Survey | None = None,
    *,
    water: NDArray[np.bool_] | None = None,
) -> NDArray[np.float32]:
    """Elevations as a survey of a surface gives them.

    Parameters
    ----------
    clean
        Surface without noise (m), best finer than the output; shape (rows, cols).
    cell_m, out_cell_m
        Cell sizes (m); what is left over at the right and lower edge is dropped.
    seed
        Any whole number; the same one gives the same survey.
    how
        Densities, errors and gridding.
    water
        Cells of ``clean`` under still water: no points, flat in the output.

    Returns
    -------
    numpy.ndarray
        Shape ``(int(rows * cell_m / out_cell_m), int(cols * cell_m / out_cell_m))``.
    """
    how = how or Survey()
    rng = np.random.default_rng([seed, 77])
    z = np.asarray(clean, np.float64)
    brush = brush_cover(z, cell_m, rng, how)
    density = point_density(z, cell_m, rng, how, brush)
    if water is not None:
        density = np.where(water, 0.0, density)
    x, y, height = draw_points(z, density, cell_m, rng, how, brush)
    shape = (int(z.shape[0] * cell_m / out_cell_m), int(z.shape[1] * cell_m / out_cell_m))
    x, y, height = cell_means(x, y, height, out_cell_m, shape)
    pits = rng.choice(height.size, int(how.pits_per_ha * z.size * cell_m**2 / 1e4), replace=False)
    height[pits] -= rng.uniform(0.3, 1.6, pits.size)
    x, y, height = _with_corners(x, y, height, shape, out_cell_m)
    grid = _by_distance if how.by_distance else _by_facets
    out = grid(x / out_cell_m, y / out_cell_m, height, shape)
    if water is not None:
        rows, cols = ((np.arange(n) + 0.5) * out_cell_m / cell_m for n in shape)
        at = np.ix_(rows.astype(int), cols.astype(int))
        out = np.where(np.asarray(water)[at], z[at], out)
    return np.asarray(out, np.float32)


def _bumps(
    rng: np.random.Generator, shape: tuple[int, int], cell_m: float, size_m: float
) -> NDArray[np.float64]:
    """Random field of bumps ``size_m`` wide, mean 0, deviation 1."""
    step = size_m / 2
    coarse = rng.standard_normal(tuple(int(n * cell_m / step) + 4 for n in shape))
    rows, cols = ((np.arange(n) + 0.5) * cell_m / step + 1 for n in shape)
    at = np.meshgrid(rows, cols, indexing="ij", sparse=False)
    field = ndimage.map_coordinates(coarse, at, order=1)
    return np.asarray((field - field.mean()) / field.std())


def brush_cover(
    z: NDArray[np.float64], cell_m: float, rng: np.random.Generator, how: Survey
) -> NDArray[np.bool_]:
    """Cells under brush: in patches, more of it where ground is hollow and so moist."""
    hollow = (
        ndimage.uniform_filter(ndimage.uniform_filter(z, int(24 / cell_m)), int(24 / cell_m)) - z
    )
    lie = 0.8 * _bumps(rng, z.shape, cell_m, 45.0) + 0.5 * _bumps(rng, z.shape, cell_m, 7.0)
    lie += 0.7 * np.clip(hollow, -1.0, 1.0)
    return np.asarray(lie > np.quantile(lie[::4, ::4], 1 - how.brush_share))


def point_density(
    z: NDArray[np.float64],
    cell_m: float,
    rng: np.random.Generator,
    how: Survey,
    brush: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Ground points to be expected on each cell, per square metre."""
    gy, gx = np.gradient(z, cell_m)
    slope = np.hypot(gx, gy)
    face = np.clip((slope - FACE_SLOPE[0]) / (FACE_SLOPE[1] - FACE_SLOPE[0]), 0, 1)
    near = ndimage.gaussian_filter(z, 2.0 / cell_m)
    stands_out = np.clip((z - near - RIM_M[0]) / (RIM_M[1] - RIM_M[0]), 0, 1)
    most = how.density_per_m2 * (1 + 0.25 * _bumps(rng, z.shape, cell_m, 90.0))
    most *= 1 - how.rim_loss * stands_out
    # between the two densities along a straight line of their logarithms
    least = min(how.face_density_per_m2, how.density_per_m2)
    most = np.maximum(most, LEAST_DENSITY_PER_M2)
    density = most * np.minimum(least / most, 1.0) ** face
    brushy = min(how.brush_density_per_m2, how.density_per_m2)
    return np.where(brush, np.minimum(density, brushy), density)


def draw_points(
    z: NDArray[np.float64],
    density: NDArray[np.float64],
    cell_m: float,
    rng: np.random.Generator,
    how: Survey,
    brush: NDArray[np.bool_],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Points on the surface with their errors: x to the right, y down, height (m)."""
    count = rng.poisson(density * cell_m**2)
    cell = np.repeat(np.arange(z.size), count.ravel())
    y = (cell // z.shape[1] + rng.random(cell.size)) * cell_m
    x = (cell % z.shape[1] + rng.random(cell.size)) * cell_m
    at = np.stack([y / cell_m - 0.5, x / cell_m - 0.5])
    height = ndimage.map_coordinates(z, at, order=1, mode="nearest")
    height += rng.normal(0, how.vertical_m, cell.size)
    stems = brush.ravel()[cell] & (rng.random(cell.size) < how.brush_left)
    height += np.where(stems, rng.uniform(0.05, 0.4, cell.size), 0.0)
    bearing = rng.uniform(0, np.pi)
    strip = (x * np.cos(bearing) + y * np.sin(bearing)) / 170.0
    height += how.swath_m * np.where(strip % 1 < 0.5, 1.0, -1.0)
    x += rng.normal(0, how.horizontal_m, cell.size)
    y += rng.normal(0, how.horizontal_m, cell.size)
    return x, y, height


def cell_means(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    height: NDArray[np.float64],
    cell_m: float,
    shape: tuple[int, int],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """One point for each output cell that holds any: their mean position and height."""
    row, col = np.floor(y / cell_m).astype(np.int64), np.floor(x / cell_m).astype(np.int64)
    inside = (row >= 0) & (row < shape[0]) & (col >= 0) & (col < shape[1])
    cell = (row * shape[1] + col)[inside]
    size = shape[0] * shape[1]
    count = np.bincount(cell, minlength=size)
    full = count > 0
    mean = [
        np.bincount(cell, weights=v[inside], minlength=size)[full] / count[full]
        for v in (x, y, height)
    ]
    return mean[0], mean[1], mean[2]


def _with_corners(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    height: NDArray[np.float64],
    shape: tuple[int, int],
    cell_m: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Points of their own around the edge, as high as the nearest, so that no cell lies outside."""
    rows, cols = shape
    down, right = np.append(np.arange(-1, rows, 4.0), rows + 1), np.arange(0, cols, 4.0)
    ex = np.concatenate([right, right, np.full(down.size, -1.0), np.full(down.size, cols + 1.0)])
    ey = np.concatenate([np.full(right.size, -1.0), np.full(right.size, rows + 1.0), down, down])
    ex, ey = ex * cell_m, ey * cell_m
    near = cKDTree(np.column_stack([x, y])).query(np.column_stack([ex, ey]))[1]
    return np.append(x, ex), np.append(y, ey), np.append(height, height[near])


def _by_facets(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    height: NDArray[np.float64],
    shape: tuple[int, int],
) -> NDArray[np.float64]:
    """Heights at cell centres on the facets of a Delaunay triangulation; positions in cells."""
    out = np.full(shape, np.nan)
    facets = Delaunay(np.column_stack([x, y])).simplices.astype(np.int64)
    _fill_facets(out, x, y, height, facets)
    if np.isnan(out).any():  # a centre on the seam of two facets
        near = ndimage.distance_transform_edt(
            np.isnan(out), return_distances=False, return_indices=True
        )
        out = out[tuple(near)]
    return out


@njit(cache=True)
def _fill_facets(
    out: NDArray[np.float64],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    height: NDArray[np.float64],
    facets: NDArray[np.int64],
) -> None:
    rows, cols = out.shape
    for k in range(facets.shape[0]):
        a, b, c = facets[k, 0], facets[k, 1], facets[k, 2]
        r0 = max(int(np.ceil(min(y[a], y[b], y[c]) - 0.5)), 0)
        r1 = min(int(np.floor(max(y[a], y[b], y[c]) - 0.5)), rows - 1)
        c0 = max(int(np.ceil(min(x[a], x[b], x[c]) - 0.5)), 0)
        c1 = min(int(np.floor(max(x[a], x[b], x[c]) - 0.5)), cols - 1)
        twice = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
        if r1 < r0 or c1 < c0 or twice == 0.0:
            continue
        for r in range(r0, r1 + 1):
            for q in range(c0, c1 + 1):
                px, py = q + 0.5, r + 0.5
                u = ((px - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (py - y[a])) / twice
                v = ((x[b] - x[a]) * (py - y[a]) - (px - x[a]) * (y[b] - y[a])) / twice
                if u >= -1e-12 and v >= -1e-12 and u + v <= 1 + 1e-12:
                    out[r, q] = (
                        height[a] + u * (height[b] - height[a]) + v * (height[c] - height[a])
                    )


def _by_distance(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    height: NDArray[np.float64],
    shape: tuple[int, int],
) -> NDArray[np.float64]:
    """Heights at cell centres from the nearest points, weighted by inverse square distance."""
    row, col = np.indices(shape)
    centres = np.column_stack([col.ravel() + 0.5, row.ravel() + 0.5])
    distance, near = cKDTree(np.column_stack([x, y])).query(centres, NEIGHBOURS)
    weight = 1 / (distance**2 + 0.05)
    return np.asarray((weight * height[near]).sum(axis=1) / weight.sum(axis=1)).reshape(shape)
