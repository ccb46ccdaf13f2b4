"""What the profile and the section of a site show, put together from its plan."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from cli.figures.profile_drawing import Level, LongProfile, ProfileStructure
from cli.figures.section_drawing import SectionDrawing
from cli.figures.structure_shapes import Outline, crest_of, solids_of
from cli.plan.explanation import known
from cli.plan.fields import Units
from cli.plan.plan_numbers import amount
from cli.plan.plan_reading import PlanFile
from terrain.values.arrays import FloatArray

Row = Mapping[str, Any]
#: A profile reaches so far from its site, or so many lengths of the structure if that is more, m.
_LEAST_M, _LENGTHS = 11.0, 2.5
#: Slope of sediment behind a structure, as a share of the bed's; only drawn with it.
_DEPOSIT = 0.5


def sizes_of(rows: Sequence[Row]) -> dict[str, float]:
    """Sizes of a site by name, m or pieces; a ratio that shares a name with a length is left out.

    Parameters
    ----------
    rows
        Its rows of the table ``sizes``, SI.
    """
    found: dict[str, float] = {}
    for row in rows:
        if row["unit"] in ("m", "pieces"):
            found.setdefault(str(row["name"]), float(row["value"]))
    return found


def profile_of(plan: PlanFile, site: Row) -> LongProfile | None:
    """Put together the long profile of a site with its neighbours on it.

    Parameters
    ----------
    plan
        The plan.
    site
        Row of the layer ``sites``, SI.

    Returns
    -------
    LongProfile or None
        Distances are from the site, downstream below zero; None where the plan has no profile.
    """
    points = plan.rows("profile_points", int(site["site_id"]))
    x, bed = _line(points, "distance_m", "bed_m")
    if x.size < 2:
        return None
    neighbours = _neighbours(plan, site, float(x[0]), float(x[-1]))
    x, bed = _shown(plan, site, neighbours, x, bed)
    structures, pools, wedges, heads = [], [], [], []
    for other, at in ((site, 0.0), *neighbours):
        pieces = _pieces(plan, other, at, x, bed)
        structures += pieces
        if known(other["pool_area_m2"]) and pieces:
            crest = float(np.interp(at, x, bed)) + float(other["structure_height_m"])
            pool = _still_pool(x, bed, at, crest)
            if pool is not None:
                pools.append(pool)
            wedge = _wedge(x, bed, at, crest, other)
            if wedge is not None:
                wedges.append(wedge)
        drop = float(other["headcut_height_m"])
        if known(drop) and drop > 0 and not pieces:
            lip = float(other["elevation_m"])
            heads.append((at, lip, lip))  # the face itself is in the bed that is drawn
    depth = float(site["design_depth_m"])
    wet = known(depth) and site["structure"] != "rolling dip"
    return LongProfile(
        station_m=x,
        bed_m=bed,
        structures=tuple(structures),
        water=Level(x, bed + depth) if wet else None,
        pools=tuple(pools),
        wedges=tuple(wedges),
        headcuts=tuple(heads),
        flood_words=flood_words(site, plan.units),
        name_levels=False,
    )


def section_of(plan: PlanFile, site: Row) -> SectionDrawing | None:
    """Put together the cross-section of a site; None where the plan has none.

    Parameters
    ----------
    plan
        The plan.
    site
        Row of the layer ``sites``, SI.
    """
    points = plan.rows("section_points", int(site["site_id"]))
    x, ground = _line(points, "offset_m", "ground_m")
    made_up = any(p["source"] == "curve" for p in points)
    # A channel that nobody has seen says nothing of ground on which water is to spread.
    if (
        x.size < 3
        or site["structure"] == "rolling dip"
        or (made_up and site["control"] == "spread")
    ):
        return None
    bed = float(ground.min())
    sizes = sizes_of(plan.rows("sizes", int(site["site_id"])))
    crest = crest_of(str(site["structure"]), sizes)
    crest_x: FloatArray = np.array([])
    drawn: dict[str, Any] = {}
    if crest is not None:
        start = bed + sizes["height"] if crest.from_lip else bed
        crest_x = np.array(crest.offset_m)
        top: FloatArray = start + np.array(crest.height_m)
        if crest.from_lip:
            crest_x, top = _between_banks(x, ground, crest_x, top)
        drawn = {
            "crest_offset_m": crest_x,
            "crest_m": top,
            "base_m": math.nan if crest.from_lip else bed - crest.base_m,
            "label": _label(site, plan.units),
        }
        x, ground = _wide_enough(x, ground, crest.offset_m)
    x, ground = _about_channel(x, ground, site, crest_x.tolist())
    depth, bankfull = float(site["design_depth_m"]), float(site["bankfull_depth_m"])
    return SectionDrawing(
        offset_m=x,
        ground_m=ground,
        control=str(site["control"]),
        water_m=bed + depth,
        bankfull_m=bed + bankfull if site["control"] == "grade" else math.nan,
        flood_words=flood_words(site, plan.units),
        **drawn,
    )


def _line(points: Sequence[Row], x: str, z: str) -> tuple[FloatArray, FloatArray]:
    """Points in the order of their distance; those that are not known or stand twice left out."""
    at: FloatArray = np.array([p[x] for p in points], dtype=np.float64)
    height: FloatArray = np.array([p[z] for p in points], dtype=np.float64)
    order = np.argsort(at, kind="stable")
    at, height = at[order], height[order]
    sound = np.isfinite(at) & np.isfinite(height)
    at, height = at[sound], height[sound]
    new = np.append(True, np.diff(at) > 0)[: at.size]
    return at[new], height[new]


def flood_words(site: Row, units: Units) -> str:
    """Name the design flood of a site in a figure, with its flow."""
    years = float(site["design_return_period_yr"])
    name = f"{years:.0f}-year flood" if known(years) else "design flood"
    flow = float(site["design_flow_m3s"])
    return f"{name}, {amount('sites', 'design_flow_m3s', flow, units)}" if known(flow) else name


def _neighbours(plan: PlanFile, site: Row, low_m: float, high_m: float) -> list[tuple[Row, float]]:
    """Other sites on the same stretch of channel, with their distance along it."""
    if site["structure"] == "rolling dip":
        return []
    found: list[tuple[Row, float]] = []
    for other in plan.rows("sites"):
        at = float(other["station_m"]) - float(site["station_m"])
        same = other["channel_id"] == site["channel_id"] and other["structure"] != "rolling dip"
        if same and other["site_id"] != site["site_id"] and low_m < at < high_m:
            found.append((other, at))
    return found


def _shown(
    plan: PlanFile, site: Row, neighbours: list[tuple[Row, float]], x: FloatArray, bed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Cut the profile to what the site is about: its structure, its pair and their surroundings."""
    length = float(site["structure_length_m"])
    reach = max(_LEAST_M, _LENGTHS * length if known(length) else 0.0)
    pair = [at for o, at in neighbours if site["pair_id"] and o["pair_id"] == site["pair_id"]]
    near = [at for at in pair if abs(at) <= 2.5 * reach]
    low, high = min([-reach, *(at - 5.0 for at in near)]), max([reach, *(at + 5.0 for at in near)])
    if str(site["control"]) == "grade" and known(site["wedge_length_m"]):
        high = max(high, min(float(site["wedge_length_m"]) + 3.0, 2.5 * reach))
    keep = (x >= low) & (x <= high)
    return (x[keep], bed[keep]) if keep.sum() >= 2 else (x, bed)


def _pieces(
    plan: PlanFile, site: Row, at: float, x: FloatArray, bed: FloatArray
) -> list[ProfileStructure]:
    """Draw one structure where it stands; its words go with its first piece."""
    structure = str(site["structure"])
    sizes = sizes_of(plan.rows("sizes", int(site["site_id"])))
    label = _label(site, plan.units)
    out = []
    for solid in solids_of(structure, sizes):
        along, height = _cut_fine(solid.outline)
        station = at - along
        if not (x[0] <= station.min() and station.max() <= x[-1]):
            continue
        level = np.interp(station, x, bed) if solid.on_bed else float(site["elevation_m"])
        out.append(ProfileStructure(label, str(site["control"]), station, level + height))
        label = ""
    return out


def _cut_fine(outline: Outline, step_m: float = 0.1) -> tuple[FloatArray, FloatArray]:
    """Corners with points between them, so that an outline on the bed follows the bed."""
    closed = np.array([*outline, outline[0]])
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T)))
    every = np.unique(np.concatenate([along, np.arange(0.0, along[-1], step_m)]))
    return np.interp(every, along, closed[:, 0]), np.interp(every, along, closed[:, 1])


def _label(site: Row, units: Units) -> str:
    """Rank and type, and the sizes below."""
    high = "deep" if site["structure"] == "rolling dip" else "high"
    sizes = [
        f"{amount('sites', name, float(site[name]), units)} {word}"
        for name, word in (("structure_height_m", high), ("structure_length_m", "long"))
        if known(site[name])
    ]
    if site["structure_height_m"] == 0:
        sizes[0] = "flush with the bed"
    return "\n".join([f"{site['rank']}: {site['structure']}", ", ".join(sizes)]).strip()


def _still_pool(x: FloatArray, bed: FloatArray, at: float, crest_m: float) -> Level | None:
    """Level water from the crest up to where the bed rises through it."""
    above = np.flatnonzero((x > at) & (bed >= crest_m))
    end = float(x[above[0]]) if above.size else float(x[-1])
    inside = np.linspace(at, end, 60)
    if end - at < 0.2 or float(np.max(crest_m - np.interp(inside, x, bed))) <= 0:
        return None
    return Level(inside, np.full(inside.shape, crest_m))


def _wedge(x: FloatArray, bed: FloatArray, at: float, crest_m: float, site: Row) -> Level | None:
    """Top of the sediment: from the crest at half the slope of the bed, until it runs out."""
    length = float(site["wedge_length_m"])
    if not math.isfinite(length) or length < 0.2:
        return None
    inside = np.linspace(at, min(at + length, float(x[-1])), 60)
    top = crest_m + _DEPOSIT * float(np.nan_to_num(site["slope"])) * (inside - at)
    # A drop within its reach ends it there.
    met = np.flatnonzero(np.interp(inside, x, bed) >= top)
    end = int(met[0]) + 1 if met.size else inside.size
    return Level(inside[:end], top[:end]) if end > 1 else None


def _between_banks(
    x: FloatArray, ground: FloatArray, crest_x: FloatArray, crest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Part of a crest that stands over the channel; what lies within the banks is not seen."""
    every = np.linspace(crest_x[0], crest_x[-1], 201)
    top, below = np.interp(every, crest_x, crest), np.interp(every, x, ground)
    inside = below <= top + 0.02
    low = int(np.argmin(below))
    if not inside[low]:
        return crest_x, crest
    left = low - int(np.argmin(np.append(inside[low::-1], False)))
    right = low + int(np.argmin(np.append(inside[low:], False)))
    return every[left + 1 : right], top[left + 1 : right]


def _about_channel(
    x: FloatArray, ground: FloatArray, site: Row, offsets: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Cut a section to the channel, the structure and some ground beside them."""
    wide = float(site["bank_width_m"])
    half = max(0.75 * wide if known(wide) else 4.0, *(abs(o) + 1.0 for o in offsets), 2.5)
    keep = np.abs(x) <= half
    return (x[keep], ground[keep]) if keep.sum() >= 3 else (x, ground)


def _wide_enough(
    x: FloatArray, ground: FloatArray, offsets: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Carry the ground on level where a key reaches further than the section was read."""
    low, high = min(offsets) - 0.2, max(offsets) + 0.2
    if low < x[0]:
        x, ground = np.append(low, x), np.append(ground[0], ground)
    if high > x[-1]:
        x, ground = np.append(x, high), np.append(ground, ground[-1])
    return x, ground
