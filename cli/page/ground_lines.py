"""Ground along and across a channel, and the levels of water and sediment over it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cli.page.side_view import Outline, PartOnSite, parts_on_site
from cli.plan.explanation import Record, known
from cli.plan.plan_reading import PlanFile
from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class GroundLine:
    """Ground along or across the channel: distances, heights and their error, m."""

    x_m: FloatArray
    z_m: FloatArray
    error_m: float = math.nan
    source: str = ""


def lines(rows: Sequence[Record], x: str, z: str) -> dict[int, GroundLine]:
    """Points of a table as one line a site; a site with fewer than two points has none."""
    points: dict[int, list[Record]] = {}
    for row in rows:
        if known(row[x]) and known(row[z]):
            points.setdefault(row["site_id"], []).append(row)
    found = {}
    for site_id, mine in points.items():
        # One height a place: a line that stands upright cannot be read along.
        mine = list({round(float(row[x]), 2): row for row in mine}.values())
        mine.sort(key=lambda row: float(row[x]))
        if len(mine) >= 2:
            errors = [float(row["error_m"]) for row in mine if known(row.get("error_m"))]
            found[site_id] = GroundLine(
                np.array([row[x] for row in mine], dtype=np.float64),
                np.array([row[z] for row in mine], dtype=np.float64),
                float(np.median(errors)) if errors else math.nan,
                str(mine[0].get("source") or ""),
            )
    return found


def footprints(plan: PlanFile) -> dict[int, tuple[PartOnSite, ...]]:
    """Parts of the structure at each site, in metres along and across the flow."""
    layer, sites = plan.layers["structures"], plan.layers["sites"]
    if layer.geometry is None or not layer.rows or sites.geometry is None:
        return {}
    columns = layer.columns
    found = {}
    for i, number in enumerate(sites.columns["site_id"]):
        mine = np.flatnonzero(columns["site_id"] == number)
        if len(mine):
            found[int(number)] = parts_on_site(
                list(layer.geometry[mine]),
                list(columns["part"][mine]),
                list(columns["is_body"][mine]),
                at=(sites.geometry[i].x, sites.geometry[i].y),
                azimuth_deg=float(sites.columns["flow_azimuth_deg"][i]),
            )
    return found


def within(ground: GroundLine, low: float, high: float) -> GroundLine:
    """Part of a ground line, or the whole of it where too little would be left."""
    keep = (ground.x_m >= low) & (ground.x_m <= high)
    if keep.sum() < 3:
        return ground
    return GroundLine(ground.x_m[keep], ground.z_m[keep], ground.error_m, ground.source)


def pool(site: Record, x: FloatArray, z: FloatArray) -> dict[str, Any] | None:
    """Still water behind a structure: level from its crest up to where the bed meets it."""
    if not known(site["pool_area_m2"]) or not known(site["structure_height_m"]):
        return None
    crest = float(np.interp(0.0, x, z)) + float(site["structure_height_m"])
    above = np.flatnonzero((x > 0) & (z >= crest))
    end = float(x[above[0]]) if len(above) else float(x[-1])
    return {"x": [0.0, to_cm(end)], "z": [to_cm(crest), to_cm(crest)]}


def wedge(site: Record, x: FloatArray, z: FloatArray) -> dict[str, Any] | None:
    """Top of the sediment that will fill in: from the crest to where it meets the bed."""
    length = site["wedge_length_m"]
    if not known(length) or not known(site["structure_height_m"]) or not length > 0:
        return None
    crest = float(np.interp(0.0, x, z)) + float(site["structure_height_m"])
    end = min(float(length), float(x[-1]))
    meets = float(np.interp(end, x, z))
    return {"x": [0.0, to_cm(end)], "z": [to_cm(crest), to_cm(max(meets, crest))]}


def water(x: FloatArray, z: FloatArray, built: Sequence[Outline], depth: float) -> FloatArray:
    """Water at its depth in the measured section, over bed and structures.

    It never falls on the way upstream: still or running, a surface slopes the other way. A sketch
    for the eye, not a backwater calculation.
    """
    top = z.copy()
    for outline in built:
        half = len(outline.x_m) // 2  # the first half is the upper edge
        edge_x, edge_z = outline.x_m[:half], outline.z_m[:half]
        inside = (x >= edge_x[0]) & (x <= edge_x[-1])
        top[inside] = np.maximum(top[inside], np.interp(x[inside], edge_x, edge_z))
    return np.maximum.accumulate(top + depth)


def rounded(values: FloatArray) -> list[float]:
    """Numbers as the page is given them, to the centimetre."""
    return [to_cm(v) for v in values]


def to_cm(value: float) -> float:
    """Round a length to the centimetre."""
    return round(float(value), 2)
