"""How a structure looks from the side and along the channel, to scale, from its footprint.

A plan keeps each part of a structure as a polygon on the map. Turned back into metres along and
across the flow, the parts say where each begins and ends; heights come from the site's sizes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cli.plan.explanation import Record
from terrain.values.arrays import FloatArray

#: Parts that lie level with the bed: drawn as thick as a stone.
_LEVEL = frozenset({"apron", "pool", "outlet"})
#: Parts that lead down from the lip of a drop to its foot.
_LEANING = frozenset({"face"})


@dataclass(frozen=True, slots=True)
class PartOnSite:
    """One part of a structure: metres downstream along its middle, and metres to the right."""

    name: str
    is_body: bool
    along_m: tuple[float, float]
    across_m: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A closed outline in a drawing: distances and heights, m, and what it is."""

    part: str
    is_body: bool
    x_m: FloatArray
    z_m: FloatArray


def parts_on_site(
    shapes: Sequence[BaseGeometry],
    names: Sequence[str],
    bodies: Sequence[bool],
    *,
    at: tuple[float, float],
    azimuth_deg: float,
) -> tuple[PartOnSite, ...]:
    """Turn footprints on the map into lengths along and across the flow.

    Parameters
    ----------
    shapes, names, bodies
        Footprints of one structure, m, what each is, and whether it is the body.
    at
        Place of the site, m.
    azimuth_deg
        Direction of the flow, clockwise from north.
    """
    if not len(shapes) or not math.isfinite(azimuth_deg):
        return ()
    turned = [_turned(shape, at, azimuth_deg) for shape in shapes]
    body = next((t for t, is_body in zip(turned, bodies, strict=True) if is_body), turned[0])
    _, left, _, right = body.bounds
    middle = (left + right) / 2
    found = []
    for shape, name, is_body in zip(turned, names, bodies, strict=True):
        along = _along_middle(shape, middle)
        _, low, _, high = shape.bounds
        found.append(PartOnSite(str(name or ""), bool(is_body), along, (low, high)))
    return tuple(found)


def _turned(shape: BaseGeometry, at: tuple[float, float], azimuth_deg: float) -> BaseGeometry:
    """Coordinates as metres downstream and metres to the right."""
    angle = math.radians(azimuth_deg)
    east, north = math.sin(angle), math.cos(angle)

    def turn(xy: FloatArray) -> FloatArray:
        dx, dy = xy[:, 0] - at[0], xy[:, 1] - at[1]
        return np.column_stack([dx * east + dy * north, dx * north - dy * east])

    return shapely.transform(shape, turn)


def _along_middle(shape: BaseGeometry, middle: float) -> tuple[float, float]:
    """First stretch of a part along the middle of the structure; of keys, their whole length."""
    west, _, east, _ = shape.bounds
    line = shapely.LineString([(west - 1, middle), (east + 1, middle)])
    cut = [c for c in shapely.get_parts(shapely.intersection(shape, line)) if c.length > 1e-6]
    if not cut:
        return west, east
    first = min(cut, key=lambda c: c.bounds[0])
    return first.bounds[0], first.bounds[2]


def profile_outlines(
    parts: Sequence[PartOnSite],
    site: Record,
    sizes: Mapping[str, float],
    *,
    distance_m: FloatArray,
    bed_m: FloatArray,
    at_m: float = 0.0,
) -> list[Outline]:
    """Outlines of a structure in a long profile whose distances grow upstream.

    Parameters
    ----------
    parts
        Parts of the structure.
    site
        Fields of its site.
    sizes
        Further sizes by name, m.
    distance_m, bed_m
        The profile, shape ``(n,)``.
    at_m
        Where the structure stands in the profile.
    """
    height = float(site["structure_height_m"])
    if not parts or not math.isfinite(height):
        return []
    stone = _finite(site["stone_d50_m"], 0.1)

    def bed(x: FloatArray) -> FloatArray:
        return np.interp(x, distance_m, bed_m)

    vertical = site["control"] == "vertical"
    lip = float(bed(np.array([at_m]))[0])
    outlines = []
    for part in parts:
        if " " in part.name and not part.is_body:
            continue  # keys and wings lie in the banks
        x = np.linspace(at_m - part.along_m[1], at_m - part.along_m[0], 9)
        ground = bed(x)
        foot = lip - height
        if part.name in _LEVEL:
            # The floor of a bowl lies at the foot of the drop, an apron on the bed.
            level = np.full(9, foot) if vertical else ground
            top, under = level, level - stone
        elif part.name == "sill":
            top = np.full(9, foot + _finite(sizes.get("sill height"), stone))
            under = np.full(9, foot - stone)
        elif part.name == "wall":
            top, under = np.full(9, lip), np.full(9, foot)
        elif part.name == "dip":
            done = _dip_surface(x - at_m, ground, lip, sizes, height)
            top, under = np.maximum(done, ground), np.minimum(done, ground)
        elif part.name in _LEANING or vertical:
            share = (x - x[0]) / max(x[-1] - x[0], 1e-9)
            top = foot + share * height
            under = top - _finite(sizes.get("layer"), 2 * stone)
        else:
            top = np.full(9, float(bed(np.array([at_m]))[0]) + height)
            under = np.minimum(ground, top - 1e-3)
        outlines.append(_closed(part, x, top, under))
    return outlines


def _dip_surface(
    x: FloatArray, road: FloatArray, middle: float, sizes: Mapping[str, float], depth: float
) -> FloatArray:
    """Road over a rolling dip once it is made: down into it, and up again on its lower side."""
    low = middle - _finite(sizes.get("cut"), depth)
    ends = np.array([x[0], 0.0, x[-1]])
    rise = low + _finite(sizes.get("reverse"), 0.0) * -x[0]
    heights = np.array([max(rise, low), low, road[-1]])
    return np.asarray(np.interp(x, ends, heights), dtype=np.float64)


def section_outlines(
    parts: Sequence[PartOnSite],
    site: Record,
    sizes: Mapping[str, float],
    *,
    offset_m: FloatArray,
    ground_m: FloatArray,
) -> list[Outline]:
    """Outlines of a structure in a cross-section, looking downstream.

    Parameters
    ----------
    parts, site, sizes
        As `profile_outlines`.
    offset_m, ground_m
        The section, shape ``(n,)``.
    """
    height = float(site["structure_height_m"])
    if not parts or not math.isfinite(height):
        return []
    body = next((p for p in parts if p.is_body), parts[0])
    x = np.linspace(*body.across_m, 41)
    bed = float(np.interp(x, offset_m, ground_m).min())
    dip = _finite(sizes.get("crest dip"), 0.0)
    half = max((body.across_m[1] - body.across_m[0]) / 2, 1e-9)
    middle = sum(body.across_m) / 2
    sill = _finite(sizes.get("sill height"), 0.0)
    outlines = []
    for part in parts:
        if part.name in _LEVEL or part.name == "dip":
            continue
        x = np.linspace(*part.across_m, 41)
        ground = np.interp(x, offset_m, ground_m)
        rise = dip * np.minimum(np.abs(x - middle) / half, 1.0)
        top = bed + (sill if part.name == "sill" else height) + rise
        if part.is_body:
            # Above the ground only: beyond its ends the bank stands higher.
            outlines.append(_closed(part, x, np.maximum(top, ground), ground))
        else:
            # Keys, and a sill's ends, lie in the bank: they are shown as deep as they are dug.
            outlines.append(_closed(part, x, top, np.full(41, bed)))
    return outlines


def _closed(part: PartOnSite, x: FloatArray, top: FloatArray, under: FloatArray) -> Outline:
    return Outline(
        part.name,
        part.is_body,
        np.concatenate([x, x[::-1]]),
        np.concatenate([top, under[::-1]]),
    )


def _finite(value: object, instead: float) -> float:
    number = float(value) if isinstance(value, int | float) else math.nan
    return number if math.isfinite(number) else instead
