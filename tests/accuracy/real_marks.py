"""Heads marked by eye on real rasters, twice and blind to each other, and how finds meet them.

The rasters and marks lie beside the checkout (`shared/dem/real`) and are never copied into it. A
head is *agreed* where both persons marked it within 6 m and neither called it low.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from affine import Affine
from scipy.optimize import linear_sum_assignment

from terrain.reading.dem import read_dem
from terrain.values.raster import Raster

REAL = Path(__file__).resolve().parents[3] / "shared" / "dem" / "real"
WITHIN_M = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Marks of one raster in map coordinates, ``(n, 2)`` each."""

    agreed: np.ndarray
    every: np.ndarray
    windows: tuple[tuple[int, int, int, int], ...]
    transform: Affine

    def inside(self, xy: np.ndarray) -> np.ndarray:
        """Whether places lie where marks are complete, ``(n,)``."""
        t = self.transform
        col, row = (xy[:, 0] - t.c) / t.a - 0.5, (xy[:, 1] - t.f) / t.e - 0.5
        out = np.zeros(len(xy), dtype=bool)
        for r, c, h, w in self.windows:
            out |= (row >= r) & (row < r + h) & (col >= c) & (col < c + w)
        return out


def pairs_within(a: np.ndarray, b: np.ndarray) -> list[tuple[int, int]]:
    """Pairs of places within 6 m, one to one, the nearest together."""
    if not len(a) or not len(b):
        return []
    distance = np.hypot(*(a[:, None] - b[None]).transpose(2, 0, 1))
    i, j = linear_sum_assignment(np.where(distance <= WITHIN_M, distance, 1e6))
    return [(int(x), int(y)) for x, y in zip(i, j, strict=True) if distance[x, y] <= WITHIN_M]


def _rows(name: str, file: str) -> list[dict[str, str]]:
    with open(REAL / "marks" / file, encoding="utf-8") as text:
        return [row for row in csv.DictReader(text) if row["raster"] == f"{name}.tif"]


def _marks(name: str, transform: Affine) -> Marks:
    windows = tuple(
        (int(r["row0"]), int(r["col0"]), int(r["rows"]), int(r["cols"]))
        for r in _rows(name, "windows.csv")
    )
    empty = np.empty((0, 2))
    frame = Marks(empty, empty, windows, transform)
    places, sure = [], []
    for file in ("one.csv", "two.csv"):
        rows = _rows(name, file)
        t = transform
        at = [
            (t.c + t.a * (float(r["col"]) + 0.5), t.f + t.e * (float(r["row"]) + 0.5)) for r in rows
        ]
        xy = np.array(at).reshape(-1, 2)
        inside = frame.inside(xy)
        places.append(xy[inside])
        sure.append(np.array([r["confidence"] != "low" for r in rows], dtype=bool)[inside])
    one, two = places
    pairs = pairs_within(one, two)
    both = [(one[i] + two[j]) / 2 for i, j in pairs]
    agreed = [(one[i] + two[j]) / 2 for i, j in pairs if sure[0][i] and sure[1][j]]
    alone = [one[i] for i in range(len(one)) if i not in {k for k, _ in pairs}]
    alone += [two[j] for j in range(len(two)) if j not in {k for _, k in pairs}]
    return Marks(
        np.array(agreed).reshape(-1, 2), np.array(both + alone).reshape(-1, 2), windows, transform
    )


def marks_of(folder: Path) -> dict[str, tuple[Raster, Marks]]:
    """Rasters that have marks, with them, by name; none where the folder is absent."""
    listed = folder / "marks" / "windows.csv"
    if not listed.exists():
        return {}
    with open(listed, encoding="utf-8") as text:
        names = sorted({row["raster"].removesuffix(".tif") for row in csv.DictReader(text)})
    out = {}
    for name in names:
        raster = read_dem(str(folder / f"{name}.tif")).raster
        out[name] = (raster, _marks(name, raster.grid.transform))
    return out


def count(found: np.ndarray, small: np.ndarray, marks: Marks) -> tuple[int, int, int, int, int]:
    """Agreed heads, those found, and finds that are right, wrong and double.

    Parameters
    ----------
    found
        Places of the finds, ``(n, 2)``.
    small
        Whether a find is one that the marks leave out (below 0.5 m, or under 0.03 ha of land).
    marks
        What was marked.
    """
    keep = marks.inside(found)
    found, small = found[keep], small[keep]
    hit = pairs_within(marks.agreed, found)
    met = {i for i, _ in pairs_within(found, marks.every)}
    rest = [i for i in range(len(found)) if i not in met and not small[i]]
    near = [
        len(marks.every) > 0 and np.hypot(*(marks.every - found[i]).T).min() <= WITHIN_M
        for i in rest
    ]
    return len(marks.agreed), len(hit), len(met), len(rest) - sum(near), sum(near)
