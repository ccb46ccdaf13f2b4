"""Fit raster files onto one grid of cells, or say exactly why they do not fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from affine import Affine
from pyproj import CRS

from terrain.reading.crs import datum_name, same_crs, short_name
from terrain.reading.opening import FileFacts
from terrain.values.errors import GridMismatchError
from terrain.values.grid import ALIGN_TOLERANCE_CELLS


@dataclass(frozen=True, slots=True)
class Mosaic:
    """One north-up grid in the files' own units, and where each file lies on it.

    Parameters
    ----------
    rows, cols
        Cells from north to south and from west to east.
    transform
        From (column, row) to (x, y), in the units of the files' coordinate system.
    corners
        Row and column of each file's upper-left cell, in the order of the files.
    shapes
        Rows and columns of each file.
    """

    rows: int
    cols: int
    transform: Affine
    corners: tuple[tuple[int, int], ...]
    shapes: tuple[tuple[int, int], ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge."""
        t = self.transform
        return t.c, t.f + self.rows * t.e, t.c + self.cols * t.a, t.f

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the grid, x and y."""
        west, south, east, north = self.bounds
        return (west + east) / 2, (south + north) / 2

    @property
    def covered_share(self) -> float:
        """Cells of all files over cells of the grid; above 1 where files overlap."""
        return sum(h * w for h, w in self.shapes) / (self.rows * self.cols)


def build_mosaic(files: Sequence[FileFacts], crs: Sequence[CRS]) -> Mosaic:
    """Fit files onto the grid of the first.

    Parameters
    ----------
    files
        Facts of each file.
    crs
        Flat coordinate system to use for each.

    Raises
    ------
    GridMismatchError
        Cell size, coordinate system, datum or alignment differ; all differences are named.
    """
    first = files[0]
    differences = [
        d
        for facts, system in zip(files[1:], crs[1:], strict=True)
        for d in _differences(first, crs[0], facts, system)
    ]
    if differences:
        shown = "; ".join(differences[:4])
        more = f"; and {len(differences) - 4} more" if len(differences) > 4 else ""
        raise GridMismatchError(
            shown + more,
            expected="tiles of one grid",
            do="give tiles of one survey, or warp them to one grid first",
        )
    t = first.transform
    offsets = [
        (round((f.transform.f - t.f) / t.e), round((f.transform.c - t.c) / t.a)) for f in files
    ]
    top = min(r for r, _ in offsets)
    left = min(c for _, c in offsets)
    bottom = max(r + f.rows for (r, _), f in zip(offsets, files, strict=True))
    right = max(c + f.cols for (_, c), f in zip(offsets, files, strict=True))
    return Mosaic(
        rows=bottom - top,
        cols=right - left,
        transform=Affine(t.a, 0, t.c + left * t.a, 0, t.e, t.f + top * t.e),
        corners=tuple((r - top, c - left) for r, c in offsets),
        shapes=tuple((f.rows, f.cols) for f in files),
    )


def _differences(a: FileFacts, crs_a: CRS, b: FileFacts, crs_b: CRS) -> list[str]:
    """Name what keeps two files from sharing a grid."""
    if not same_crs(crs_a, crs_b):
        datums = datum_name(crs_a), datum_name(crs_b)
        if datums[0] != datums[1]:
            return [f"{a.name} is on the datum {datums[0]}, {b.name} on {datums[1]}"]
        return [f"{a.name} is in {short_name(crs_a)}, {b.name} in {short_name(crs_b)}"]
    unit = "degree" if crs_a.is_geographic else crs_a.axis_info[0].unit_name
    ta, tb = a.transform, b.transform
    drift_x = abs(tb.a - ta.a) * max(a.cols, b.cols) / ta.a
    drift_y = abs(tb.e - ta.e) * max(a.rows, b.rows) / -ta.e
    if max(drift_x, drift_y) > ALIGN_TOLERANCE_CELLS:
        sizes = _cell_text(a, unit), _cell_text(b, unit)
        return [f"tile {a.name} has {sizes[0]} cells, {b.name} {sizes[1]}"]
    col, row = (tb.c - ta.c) / ta.a, (tb.f - ta.f) / ta.e
    shift = max(abs(col - round(col)), abs(row - round(row)))
    if shift > ALIGN_TOLERANCE_CELLS:
        return [f"the cells of {b.name} are shifted by {shift:.2f} of a cell against {a.name}"]
    return []


def _cell_text(facts: FileFacts, unit: str) -> str:
    x, y = facts.transform.a, -facts.transform.e
    unit = {"metre": "m", "US survey foot": "ft", "foot": "ft"}.get(unit, unit)
    return f"{x:.6g} {unit}" if abs(x / y - 1) < 1e-6 else f"{x:.6g} x {y:.6g} {unit}"
