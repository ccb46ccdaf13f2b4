"""Long profile and cross-section of a site as numbers that the page draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from cli.figures.profile_drawing import Level, LongProfile, ProfileStructure
from cli.figures.section_drawing import SectionStructure, label_place
from cli.figures.site_drawings import SiteDrawings
from cli.page.page_texts import shortened
from cli.plan.explanation import Explanation, known
from cli.plan.plan_numbers import amount, in_row, measure, size_across
from terrain.values.arrays import FloatArray


def profile_data(found: Explanation, drawings: SiteDrawings) -> dict[str, Any] | None:
    """Drawing of a site's long profile, or nothing where the plan has none.

    Distances grow upstream, 0 at the site. Other sites beside it are drawn as well.
    """
    profile = drawings.profile(found.site)
    if profile is None:
        return None
    drawing: dict[str, Any] = {
        "x": rounded(profile.station_m),
        "z": rounded(profile.bed_m),
        "bodies": [
            _body(s.station_m, s.elevation_m, s.control, is_body=s.is_body)
            for s in profile.structures
        ],
        "labels": [_label(s) for s in profile.structures if s.label],
        "pools": [_level(level) for level in profile.pools],
        "wedges": [_level(level) for level in profile.wedges],
        "box": profile.as_box,
        "widest": _at_the_widest(found),
        "road": found.on_road,
    }
    if known(profile.error_m):
        drawing["error"] = amount("profile_points", "error_m", profile.error_m, found.units)
    if (head := _headcut(found, profile)) is not None:
        drawing["labels"].append(head)
    if profile.water is not None:
        drawing["water"] = rounded(profile.water.elevation_m)
        drawing["flood"] = profile.flood_words
    return drawing


def section_data(found: Explanation, drawings: SiteDrawings) -> dict[str, Any] | None:
    """Drawing of a site's cross-section looking downstream, or nothing."""
    section = drawings.section(found.site)
    if section is None:
        return None
    drawing: dict[str, Any] = {
        "x": rounded(section.offset_m),
        "z": rounded(section.ground_m),
        "bodies": [
            _body(s.offset_m, s.elevation_m, section.control, is_body=s.is_body)
            for s in section.structures
        ],
        "labels": _across(section.structures, section.label, found),
        "curve": section.from_curve,
        "road": section.on_road,
        "box": section.as_box,
        "widest": _at_the_widest(found),
    }
    if math.isfinite(section.water_m):
        drawing["level"] = to_cm(section.water_m)
        drawing["flood"] = section.flood_words
    if math.isfinite(section.bankfull_m):
        drawing["bankfull"] = to_cm(section.bankfull_m)
    return drawing


def _at_the_widest(found: Explanation) -> bool:
    """Whether a structure is drawn at the widest, since nobody saw the width."""
    return known(found.site["width_low_m"]) and known(found.site["structure_height_m"])


def _body(x: FloatArray, z: FloatArray, control: str, *, is_body: bool) -> dict[str, Any]:
    # Corners on one line are of no use to the page.
    around = shapely.LinearRing(np.column_stack([x, z]))
    corners = shapely.get_coordinates(shapely.simplify(around, 0.004))[:-1]
    return {"c": control, "body": is_body, "at": rounded(corners.ravel())}


def _level(level: Level) -> dict[str, list[float]]:
    """A surface of water or sediment; it is straight, so that its ends will do."""
    ends = [0, -1]
    return {"x": rounded(level.station_m[ends]), "z": rounded(level.elevation_m[ends])}


def _one_line(label: str, *more: str) -> str:
    """Words of a drawing, which stand in lines, in one line; a long name is cut."""
    name, _, sizes = label.partition("\n")
    return ", ".join(part for part in (shortened(name, 34), sizes, *more) if part)


def _label(structure: ProfileStructure) -> list[Any]:
    """Words on a structure in the profile, and the place they point to."""
    top = int(np.argmax(structure.elevation_m))
    at = to_cm(structure.station_m[top]), to_cm(structure.elevation_m[top])
    return [*at, _one_line(structure.label)]


def _across(parts: Sequence[SectionStructure], label: str, found: Explanation) -> list[list[Any]]:
    """Words on a structure in the section: how high, and how far it reaches across."""
    if not parts:
        return []
    wide = size_across(found)
    words = f"{wide} across" if wide else ""
    name = label.partition("\n")[0]
    at = [to_cm(v) for v in label_place(parts[0])]
    return [[*at, _one_line(name, height_words(found), words)]]


def _headcut(found: Explanation, profile: LongProfile) -> list[Any] | None:
    """Words at the lip of the drop that a structure stands at."""
    if not known(found.site["headcut_height_m"]):
        return None
    lip = float(np.interp(0.0, profile.station_m, profile.bed_m))
    return [0.0, to_cm(lip), f"drop of {measure(found, 'headcut_height_m')}"]


def height_words(found: Explanation) -> str:
    """How high or deep a structure is, or that it lies flush with the bed."""
    if not float(found.site["structure_height_m"]) > 0:
        return "flush with the bed"
    return f"{measure(found, 'structure_height_m')} {found.look.height_word}"


def part_sizes(found: Explanation) -> list[tuple[str, str, str]]:
    """Sizes of a site in words: what, how large, and how it came about."""
    out = []
    for row in found.rows["sizes"]:
        value, unit = row["value"], row["unit"]
        if unit in ("m/m", "share") and known(value):
            text = f"{100 * value:.2g} %"
        else:
            text = in_row(row, "value", found.units)
        out.append((str(row["meaning"] or row["name"]), text, str(row["note"] or "")))
    return out


def rounded(values: FloatArray) -> list[float]:
    """Numbers as the page is given them, to the centimetre."""
    return [to_cm(v) for v in values]


def to_cm(value: float) -> float:
    """Round a length to the centimetre."""
    return round(float(value), 2)
