"""Long profile and cross-section of a site as numbers that the page draws."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from cli.page.ground_lines import (
    GroundLine,
    footprints,
    lines,
    pool,
    rounded,
    to_cm,
    water,
    wedge,
    within,
)
from cli.page.page_texts import shortened
from cli.page.side_view import Outline, profile_outlines, section_outlines
from cli.plan.explanation import Explanation, Record, known
from cli.plan.plan_numbers import amount, measure, number_and_unit
from cli.plan.plan_reading import PlanFile
from terrain.values.arrays import FloatArray

#: How far a drawing reaches beyond what stands in it, m: up and down the channel.
_BEYOND_M = 12.0


class Drawings:
    """Profiles, sections and footprints of a plan, by site.

    Parameters
    ----------
    plan
        The plan.
    """

    def __init__(self, plan: PlanFile) -> None:
        self._profiles = lines(plan.rows("profile_points"), "distance_m", "bed_m")
        self._sections = lines(plan.rows("section_points"), "offset_m", "ground_m")
        self._parts = footprints(plan)

    def profile(self, found: Explanation) -> dict[str, Any] | None:
        """Drawing of a site's long profile, or nothing where the plan has none.

        Distances grow upstream, 0 at the site. Other sites of its group are drawn as well.
        """
        site = found.site
        ground = self._profiles.get(site["site_id"])
        if ground is None:
            return None
        ground = within(ground, *_reach(found, ground))
        x, z = ground.x_m, ground.z_m
        built: list[Outline] = []
        bodies, labels = [], []
        for other, at in _in_profile(found, ground):
            outlines = profile_outlines(
                self._parts.get(other["site_id"], ()),
                other,
                _sizes(found, other),
                distance_m=x,
                bed_m=z,
                at_m=at,
            )
            built += outlines
            bodies += [_body(outline, other) for outline in outlines]
            if outlines:
                labels.append(_sizes_label(found, other, outlines))
        drawing: dict[str, Any] = {
            "x": rounded(x),
            "z": rounded(z),
            "bodies": bodies,
            "labels": labels,
        }
        if known(ground.error_m):
            drawing["error"] = amount("profile_points", "error_m", ground.error_m, found.units)
        if (head := _headcut(found, x, z)) is not None:
            drawing["labels"].append(head)
        levels = {"pool": pool(site, x, z), "wedge": wedge(site, x, z)}
        drawing |= {key: level for key, level in levels.items() if level is not None}
        if known(site["design_depth_m"]):
            drawing["water"] = rounded(water(x, z, built, float(site["design_depth_m"])))
            drawing["flood"] = flood_words(found)
        return drawing

    def section(self, found: Explanation) -> dict[str, Any] | None:
        """Drawing of a site's cross-section looking downstream, or nothing."""
        site = found.site
        ground = self._sections.get(site["site_id"])
        if ground is None:
            return None
        parts = self._parts.get(site["site_id"], ())
        half = max((max(abs(e) for e in part.across_m) for part in parts), default=0.0)
        half = max(half, float(np.nan_to_num(site["bank_width_m"]))) + 2.0
        ground = within(ground, -half, half)
        x, z = ground.x_m, ground.z_m
        outlines = section_outlines(
            parts,
            site,
            _sizes(found, site),
            offset_m=x,
            ground_m=z,
        )
        near = np.abs(x) <= max(float(np.nan_to_num(site["bank_width_m"])) / 2, 1.0)
        bed = float(z[near].min()) if near.any() else float(z.min())
        drawing: dict[str, Any] = {
            "x": rounded(x),
            "z": rounded(z),
            "bodies": [_body(outline, site) for outline in outlines],
            "labels": [],
            "curve": ground.source == "curve",
            "road": not site["channel_id"],
        }
        across = next((o for o in outlines if o.is_body), None)
        if across is not None:
            both = (float(np.min([o.x_m.min() for o in outlines])),
                    float(np.max([o.x_m.max() for o in outlines])))  # fmt: skip
            wide = amount("sites", "width_m", both[1] - both[0], found.units)
            middle = len(across.x_m) // 4
            name = shortened(site["structure"], 30)
            text = f"{name}: {height_words(found, site)}, {wide} across"
            drawing["labels"].append([to_cm(across.x_m[middle]), to_cm(across.z_m[middle]), text])
        if known(site["design_depth_m"]):
            drawing["level"] = to_cm(bed + float(site["design_depth_m"]))
            drawing["flood"] = flood_words(found)
        if known(site["bankfull_depth_m"]) and site["channel_id"]:
            drawing["bankfull"] = to_cm(bed + float(site["bankfull_depth_m"]))
        return drawing


def flood_words(found: Explanation) -> str:
    """Say which flood the water in a drawing is."""
    years = found.site["design_return_period_yr"]
    deep = measure(found, "design_depth_m")
    return f"{years:.0f}-year flood, {deep} deep" if known(years) else f"design flood, {deep} deep"


def _in_profile(found: Explanation, ground: GroundLine) -> list[tuple[Record, float]]:
    """Sites of the group that lie within the profile, and where; the site itself comes first."""
    site = found.site
    out = [(site, 0.0)]
    for mate in found.mates:
        if mate["channel_id"] == site["channel_id"] and site["channel_id"]:
            at = float(mate["station_m"]) - float(site["station_m"])
            if ground.x_m[0] < at < ground.x_m[-1]:
                out.append((mate, at))
    return out


def _reach(found: Explanation, ground: GroundLine) -> tuple[float, float]:
    """Stretch of the profile that is drawn: the structure, its group, and ground either side."""
    site = found.site
    at = [0.0, *(a for _, a in _in_profile(found, ground) if abs(a) < 25)]
    half = float(np.nan_to_num(site["structure_length_m"]))
    wedge = float(np.nan_to_num(site["wedge_length_m"]))
    return min(at) - half - _BEYOND_M, max(at) + max(half, min(wedge, 30.0)) + _BEYOND_M


def _sizes(found: Explanation, site: Record) -> dict[str, float]:
    """Sizes of the site itself by name; of its mates the plan's site fields must do."""
    if site is not found.site:
        return {}
    return {
        str(row["name"]): float(row["value"])
        for row in found.rows["sizes"]
        if row["unit"] == "m" or row["name"] == "reverse"
    }


def _body(outline: Outline, site: Record) -> dict[str, Any]:
    # Corners on one line are of no use to the page.
    around = shapely.LinearRing(np.column_stack([outline.x_m, outline.z_m]))
    corners = shapely.get_coordinates(shapely.simplify(around, 0.004))[:-1]
    return {
        "c": site["control"] or "refer",
        "body": outline.is_body,
        "at": rounded(corners.ravel()),
    }


def _sizes_label(found: Explanation, site: Record, outlines: Sequence[Outline]) -> list[Any]:
    """Words on a structure in the profile, and the place they point to."""
    body = next((o for o in outlines if o.is_body), outlines[0])
    top = int(np.argmax(body.z_m))
    if body.part == "dip":
        top = int(np.argmin(body.z_m))
    long = measure(found, "structure_length_m", site=site)
    name = site["structure"] if site is found.site else f"site {site['site_id']}"
    words = f"{shortened(name, 30)}: {height_words(found, site)}, {long} along"
    return [to_cm(body.x_m[top]), to_cm(body.z_m[top]), words]


def height_words(found: Explanation, site: Record) -> str:
    """How high a structure stands, how deep a dip is, or that it lies level with the bed."""
    if not float(site["structure_height_m"]) > 0:
        return "level with the bed"
    word = "deep" if site["structure"] == "rolling dip" else "high"
    return f"{measure(found, 'structure_height_m', site=site)} {word}"


def _headcut(found: Explanation, x: FloatArray, z: FloatArray) -> list[Any] | None:
    """Words at the lip of the drop that a structure stands at."""
    height = found.site["headcut_height_m"]
    if not known(height):
        return None
    lip = float(np.interp(0.0, x, z))
    return [0.0, to_cm(lip), f"drop of {measure(found, 'headcut_height_m')}"]


def part_sizes(found: Explanation) -> list[tuple[str, str, str]]:
    """Sizes of a site in words: what, how large, and how it came about."""
    out = []
    for row in found.rows["sizes"]:
        value, unit = row["value"], row["unit"]
        if unit in ("m/m", "share") and known(value):
            text = f"{100 * value:.2g} %"
        else:
            text = number_and_unit(value, unit, found.units)
        out.append((str(row["name"]), text, str(row["note"] or "")))
    return out
