"""Outlines of structures as the plan holds them, put onto the ground of a profile or a section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from cli.plan.explanation import Record
from terrain.values.arrays import FloatArray

SIDE, SECTION = "side", "section"
#: Between its corners an outline follows the ground in steps of so much, m.
_STEP_M = 0.1
#: Pieces smaller than this are left over from cutting, m2.
_LEAST_M2 = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class PlanOutline:
    """One part of a structure in one view: rows of the table ``structure_outlines``.

    Parameters
    ----------
    part, is_body, as_box, level, in_ground
        As in that table.
    offset_m, height_m
        Corners, shape ``(n,)``.
    """

    part: str
    is_body: bool
    as_box: bool
    level: str
    in_ground: bool
    offset_m: FloatArray
    height_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A closed outline in a drawing: distances and elevations of its corners, m."""

    part: str
    is_body: bool
    as_box: bool
    x_m: FloatArray
    z_m: FloatArray


def outlines_of(rows: Sequence[Record]) -> dict[tuple[int, str], tuple[PlanOutline, ...]]:
    """Read the table ``structure_outlines``: parts by site and view, in their order."""
    parts: dict[tuple[int, str, int], list[Record]] = {}
    for row in rows:
        key = (int(row["site_id"]), str(row["view"]), int(row["shape"]))
        parts.setdefault(key, []).append(row)
    found: dict[tuple[int, str], tuple[PlanOutline, ...]] = {}
    for (site, view, _), corners in sorted(parts.items(), key=lambda item: item[0]):
        first = corners[0]
        offset = np.array([c["offset_m"] for c in corners], dtype=np.float64)
        height = np.array([c["height_m"] for c in corners], dtype=np.float64)
        if len(corners) < 3 or not np.isfinite([offset, height]).all():
            continue  # somebody took corners out of the plan
        one = PlanOutline(
            str(first["part"] or ""),
            bool(first["is_body"]),
            bool(first["as_box"]),
            str(first["level"] or "site"),
            bool(first["in_ground"]),
            offset,
            height,
        )
        found[site, view] = (*found.get((site, view), ()), one)
    return found


def on_profile(
    outline: PlanOutline, at_m: float, x_m: FloatArray, bed_m: FloatArray
) -> list[Piece]:
    """Put a part seen from the side where it stands in a profile; distances grow upstream.

    Nothing is drawn of a part that reaches beyond the profile.
    """
    along, height = _fine(outline)
    station = at_m - along
    if not (x_m[0] <= station.min() and station.max() <= x_m[-1]):
        return []
    return _placed(outline, station, height, float(np.interp(at_m, x_m, bed_m)), x_m, bed_m)


def in_section(outline: PlanOutline, x_m: FloatArray, ground_m: FloatArray) -> list[Piece]:
    """Put a part into a section, whose lowest ground is the bed."""
    across, height = _fine(outline)
    return _placed(outline, across, height, float(ground_m.min()), x_m, ground_m)


def _fine(outline: PlanOutline) -> tuple[FloatArray, FloatArray]:
    """Corners with points between them, so that an outline on the ground follows it."""
    closed = np.column_stack([outline.offset_m, outline.height_m])
    closed = np.concatenate([closed, closed[:1]])
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T)))
    if outline.level != "ground":
        return closed[:, 0], closed[:, 1]
    every = np.unique(np.concatenate([along, np.arange(0.0, along[-1], _STEP_M)]))
    return np.interp(every, along, closed[:, 0]), np.interp(every, along, closed[:, 1])


def _placed(
    outline: PlanOutline,
    x: FloatArray,
    height: FloatArray,
    site_m: float,
    ground_x: FloatArray,
    ground: FloatArray,
) -> list[Piece]:
    z = height + (np.interp(x, ground_x, ground) if outline.level == "ground" else site_m)
    if outline.in_ground:
        return [Piece(outline.part, outline.is_body, outline.as_box, x, z)]
    return [
        Piece(outline.part, outline.is_body, outline.as_box, *corners.T)
        for corners in _above(x, z, ground_x, ground)
    ]


def _above(
    x: FloatArray, z: FloatArray, ground_x: FloatArray, ground: FloatArray
) -> list[FloatArray]:
    """Cut an outline to what stands above the ground; corners of each piece, shape ``(n, 2)``."""
    shape = shapely.make_valid(shapely.Polygon(np.column_stack([x, z])))
    low = min(float(ground.min()), float(z.min())) - 1.0
    surface = np.column_stack([ground_x, ground])
    ends = np.array([[ground_x[-1], low], [ground_x[0], low]])
    below = shapely.make_valid(shapely.Polygon(np.concatenate([surface, ends])))
    seen = shapely.get_parts(shapely.difference(shape, below))
    whole = [p for p in seen if p.geom_type == "Polygon" and p.area > _LEAST_M2]
    return [shapely.get_coordinates(p.exterior)[:-1] for p in whole]


def top_at(piece: Piece, x_m: FloatArray) -> FloatArray:
    """Upper edge of a piece at distances, m; NaN beside it. Shape as ``x_m``."""
    top = np.full(x_m.shape, np.nan)
    xs, zs = np.append(piece.x_m, piece.x_m[0]), np.append(piece.z_m, piece.z_m[0])
    for k in range(len(xs) - 1):
        a, b = sorted(((xs[k], zs[k]), (xs[k + 1], zs[k + 1])))
        over = (x_m >= a[0]) & (x_m <= b[0])
        share = (x_m[over] - a[0]) / max(b[0] - a[0], 1e-12)
        top[over] = np.fmax(
            top[over], np.where(b[0] > a[0], a[1] + share * (b[1] - a[1]), max(a[1], b[1]))
        )
    return top
