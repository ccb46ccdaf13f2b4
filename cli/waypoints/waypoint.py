"""Sites of a plan as points to walk to, with what a person needs to know there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer

from cli.file_errors import OutputError
from cli.palette import SiteSymbol
from cli.plan.explanation import ROAD
from cli.plan.fields import Units
from cli.plan.plan_numbers import amount, span
from cli.plan.plan_reading import PlanFile
from cli.plan.structure_looks import StructureLooks, looks_of
from cli.waypoints.xml_texts import plain, sentences

NAME_MOST, NOTE_MOST = 60, 600
_CAUTION_MOST, _REASON_MOST = 220, 220
#: A site's measures and how they are said.
_SIZES = (
    ("structure_height_m", "{} {high}"),
    ("structure_length_m", "{} along the {way}"),
    ("headcut_height_m", "drop of {}"),
    ("width_m", "channel {} wide"),
)


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A site to walk to.

    Parameters
    ----------
    site_id, rank
        Its number and its rank.
    lon, lat
        WGS 84, degrees.
    x_m, y_m
        In the plan's coordinate system, m.
    elevation_m
        As the raster gives it, m; NaN where unknown.
    name
        Rank and what to build, short.
    what
        What to build.
    sizes, why, careful
        Plain sentences in the plan's units; may be empty.
    control
        What it is for: vertical, grade, spread or refer.
    symbol
        Its shape.
    confidence
        How sure it is, 0 to 1.
    pair_id, build_order
        As in the plan.
    """

    site_id: int
    rank: int
    lon: float
    lat: float
    x_m: float
    y_m: float
    elevation_m: float
    name: str
    what: str
    sizes: str
    why: str
    careful: str
    control: str
    symbol: SiteSymbol
    confidence: float
    pair_id: int
    build_order: int

    @property
    def note(self) -> str:
        """All that is said about it, in one paragraph."""
        parts = [f"Site {self.site_id}, rank {self.rank}. {self.sizes}", self.why]
        if self.careful:
            parts.append(f"Careful: {self.careful}")
        return plain(" ".join(p for p in parts if p), NOTE_MOST)


def to_degrees(crs: CRS | None, xy: ArrayLike) -> NDArray[np.float64]:
    """Turn x and y in a plan's system, m, into longitude and latitude, shape ``(n, 2)``."""
    if crs is None:
        raise OutputError("the plan has no coordinate system", expected="one")
    at = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    mover = Transformer.from_crs(crs, CRS.from_epsg(4326), always_xy=True)
    # As lists: pyproj takes an array of one place for a number.
    return np.column_stack(mover.transform(at[:, 0].tolist(), at[:, 1].tolist()))


def waypoints_of(plan: PlanFile, *, top: int | None = None) -> list[Waypoint]:
    """Sites of a plan by rank.

    Parameters
    ----------
    plan
        The plan; where a site was moved in a GIS, its point counts and not its lon and lat.
    top
        Only so many of the first; all by default.

    Raises
    ------
    OutputError
        The plan has no sites, or one lies nowhere on the Earth.
    """
    layer = plan.layers["sites"]
    if not layer.rows or layer.geometry is None:
        raise OutputError(
            f"{plan.name} has no sites, so there is nowhere to walk to",
            do="screen a larger part, or a finer raster",
        )
    xy = shapely.get_coordinates(layer.geometry)
    degrees = to_degrees(layer.crs, xy)
    if not np.isfinite(degrees).all():
        raise OutputError(f"{plan.name} has a site that lies outside its coordinate system")
    rows = plan.rows("sites")
    order = np.argsort(layer.columns["rank"], kind="stable").tolist()[:top]
    digits = len(str(max(int(rows[i]["rank"]) for i in order)))
    looks = looks_of(plan.layers)
    return [_waypoint(rows[i], xy[i], degrees[i], digits, plan.units, looks) for i in order]


def _waypoint(
    row: Mapping[str, Any],
    xy: NDArray[np.float64],
    degrees: NDArray[np.float64],
    digits: int,
    units: Units,
    looks: StructureLooks,
) -> Waypoint:
    control = str(row["control"] or "")
    refer = control == "refer"
    look = looks.of(row["structure"])
    held = control == "hold"
    what = (
        f"hold, site {int(row['site_id'])}"
        if held
        else "ask an engineer"
        if refer
        else plain(look.label, NAME_MOST).replace("_", " ")
    )
    what = what or "site"
    rank = int(row["rank"])
    return Waypoint(
        site_id=int(row["site_id"]),
        rank=rank,
        lon=float(degrees[0]),
        lat=float(degrees[1]),
        x_m=float(xy[0]),
        y_m=float(xy[1]),
        elevation_m=float(row["elevation_m"]),
        name=plain(what if held else f"{rank:0{digits}d} {what}", NAME_MOST),
        what=what,
        sizes="Do not build here yet: settle first what is said here."
        if held
        else _sizes(row, what, units, refer=refer, high=look.height_word),
        why=sentences(row["reason"], _REASON_MOST),
        careful=sentences(row["caution"], _CAUTION_MOST),
        control=control,
        symbol=looks.symbol(control, row["structure"]),
        confidence=float(row["confidence"]),
        pair_id=int(row["pair_id"]),
        build_order=int(row["build_order"]),
    )


def _sizes(
    row: Mapping[str, Any], what: str, units: Units, *, refer: bool, high: str = "high"
) -> str:
    on_road = row["purpose"] == ROAD
    way = "road" if on_road else "channel"
    said = [
        words.format(amount("sites", name, row[name], units), high=high, way=way)
        for name, words in _SIZES
        if math.isfinite(row[name]) and row[name] > 0 and not (on_road and name == "width_m")
    ]
    wide = span(row["width_low_m"], row["width_high_m"], units)
    if wide != "-":
        said.append(f"channel {wide} wide, measure it")
    head = "Do not build here by hand: ask an engineer" if refer else f"Build: {what}"
    return ", ".join([head, *said]) + "."


def names_by_site(points: Sequence[Waypoint]) -> dict[int, Waypoint]:
    """Waypoints by the number of their site."""
    return {point.site_id: point for point in points}
