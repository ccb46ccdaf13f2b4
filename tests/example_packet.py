"""A plan to print: the invented stretch with its ground at each site."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from cli.plan.fields import Units
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer, table
from cli.plan.plan_reading import NEEDED
from cli.plan.unit_sentences import worded
from tests.example_stretch import (
    DAM,
    HIGH,
    LIP,
    NEXT,
    middle_x,
    stretch_layers,
    stretch_raster,
    stretch_tables,
)

DOWN_M = (LIP, DAM, NEXT, HIGH)
#: Sizes that the plan has words for; the others are called by their name.
_WORDS = {"sill height": "Sill above the floor"}
_SIZES = [
    *((1, n, v, "m", _WORDS.get(n), None) for n, v in (
        ("height", 0.9), ("length", 2.4), ("crest", 6.8), ("width", 5.6), ("wall", 0.45),
        ("pool", 1.35), ("sill height", 0.15), ("sill length", 0.6), ("largest stone", 0.31))),
    (1, "heaviest stone", 41.3, "kg", None, "two people to lift it"),
    *((site, n, v, "m", None, None) for site in (2, 3) for n, v in (
        ("height", 0.16), ("length", 1.5), ("crest", 3.4), ("bed width", 2.2), ("key", 0.6),
        ("crest dip", 0.05), ("apron", 0.3), ("largest stone", 0.24))),
]  # fmt: skip
#: Site, view, part, level, whether it is seen within the ground, corners.
_OUTLINES = [
    (1, "side", "wall", "site", True, ((0, 0), (0.2, 0), (0.45, -0.9), (0.45, -1.2), (0, -1.2))),
    (1, "side", "floor", "site", True, ((0.45, -1.2), (0.45, -0.9), (1.8, -0.9), (1.8, -1.2))),
    (1, "section", "wall", "site", False, ((-2.8, 0), (-2.8, 0.9), (2.8, 0.9), (2.8, 0))),
    *((site, *rest) for site in (2, 3) for rest in (
        ("side", "body", "ground", True,
         ((-0.75, -0.08), (-0.75, 0.16), (0.75, 0.16), (0.75, -0.08))),
        ("side", "apron", "ground", True, ((0.75, -0.24), (0.75, 0), (1.05, 0), (1.05, -0.24))),
        ("section", "body", "site", True,
         ((-1.1, -0.08), (-1.1, 0.21), (0, 0.16), (1.1, 0.21), (1.1, -0.08))),
        ("section", "left key", "site", True,
         ((-1.7, -0.08), (-1.7, 0.21), (-1.1, 0.21), (-1.1, -0.08))),
        ("section", "right key", "site", True,
         ((1.1, -0.08), (1.1, 0.21), (1.7, 0.21), (1.7, -0.08))))),
]  # fmt: skip


def outline_table() -> Layer:
    """Table ``structure_outlines``: a bowl at site 1, dams at sites 2 and 3."""
    rows: list[tuple[object, ...]] = []
    count: dict[tuple[int, str], int] = {}
    for site, view, part, level, in_ground, corners in _OUTLINES:
        number = count[site, view] = count.get((site, view), 0) + 1
        rows += [
            (site, view, number, part, number == 1, False, level, in_ground, float(x), float(z))
            for x, z in corners
        ]
    return table("structure_outlines", rows)


def bed_m(down_m: np.ndarray) -> np.ndarray:
    """Bed in the middle of the stretch's channel, without its roughness."""
    y = np.asarray(down_m)
    return (
        1700.0 - 0.025 * y - 0.9 * np.clip((y - LIP) / 0.6, 0, 1)
        - 1.5 * np.clip((y - HIGH) / 0.8, 0, 1)
    )  # fmt: skip


def ground_tables() -> list[Layer]:
    """Tables ``profile_points`` and ``section_points``."""
    profile = [
        (site, float(100 - down + d), float(d), float(bed_m(down - d)), 0.03, 0)
        for site, down in enumerate(DOWN_M, start=1)
        for d in np.arange(-9.0, 20.01, 0.5)
    ]
    section = []
    for site, down in enumerate(DOWN_M, start=1):
        low = float(bed_m(down + 2.0)) if site in (1, 4) else float(bed_m(down))
        for x in np.arange(-8.0, 8.01, 0.5):
            rise = min(max((abs(x) - 1.2) / 1.2, 0.0), 1.0)
            section.append((site, float(x), low + rise + 0.05 * abs(float(x)), "dem"))
    return [table("profile_points", profile), table("section_points", section)]


def _with_reasons(reasons: Layer) -> Layer:
    """Reasoning for the sites that the stretch does not tell about."""
    rows = list(zip(*(reasons.columns[n].tolist() for n in reasons.columns), strict=True))
    rows += [
        (3, 1, "measured", "bed slope", None, "2.5 %.", None, "measured"),
        (4, 1, "limits", "hand_work.drop", "fails", "Asked: the drop at most 1.2 m. Found: 2.4 m. "
         "The drop, 2.4 m, is above the 1.2 m that hands should build.", None, "published"),
    ]  # fmt: skip
    return table("reasons", rows)


def write_packet_plan(
    path: Path,
    units: Units = "si",
    *,
    layers: Mapping[str, Layer] | None = None,
    tables: Mapping[str, Layer] | None = None,
    relief: bool = True,
) -> Path:
    """Write the plan; layers and tables given replace its own."""
    all_layers = {**stretch_layers(), **(layers or {})}
    made = [*ground_tables(), outline_table(), table("sizes", _SIZES)]
    all_tables = {layer.name: layer for layer in [*stretch_tables(), *made]}
    all_tables["reasons"] = _with_reasons(all_tables["reasons"])
    all_tables |= tables or {}
    crs = all_layers["sites"].crs
    for name in NEEDED:
        if name == "field_notes":
            sites = all_layers["sites"]
            columns = {"site_id": sites.columns["site_id"]}
            all_layers[name] = Layer(name, sites.geometry, columns, crs)
        elif name not in all_tables:
            all_tables[name] = empty_layer(name)
    picture = None
    if relief:
        from cli.plan.relief_layer import relief_picture

        picture = relief_picture(stretch_raster(), all_layers)
    return write_geopackage(
        path,
        [worded(layer, units) for layer in all_layers.values()],
        tables=[worded(layer, units) for layer in all_tables.values()],
        units=units,
        relief=picture,
    )


__all__ = ["bed_m", "ground_tables", "middle_x", "outline_table", "write_packet_plan"]
