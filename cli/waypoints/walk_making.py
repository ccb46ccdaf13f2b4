"""From a plan and its raster to the walk, and from both to the file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer

from cli.file_errors import OutputError
from cli.plan.plan_reading import PlanFile
from cli.plan.ranked_list import significant
from cli.plan.site_ground import Ground, ground_of
from cli.waypoints.gpx import gpx_text
from cli.waypoints.kml import kml_text, kmz_bytes
from cli.waypoints.trips import DATUM_NOTE, trips_of
from cli.waypoints.walk_words import how_good, left_out, stops_words, summary
from cli.waypoints.waypoint import Waypoint
from cli.waypoints.xml_texts import plain
from siting.walking.start import Start, choose_start
from siting.walking.stops import Place
from siting.walking.walk import MINUTES_PER_SITE, Walk, walking_order
from terrain.values.progress import Progress, silent

#: Ground is read so far beyond the sites, as a share of their spread, and at least so far, m.
_BEYOND, _BEYOND_M = 0.15, 200.0
_FEET = {"si": ("m", 1.0), "us": ("ft", 1 / 0.3048)}


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """A walk and the ground it was found on.

    Parameters
    ----------
    walk
        The loops.
    ground
        The raster.
    notes
        What a person should know, plain sentences.
    method
        How times were reckoned, with sources.
    """

    walk: Walk
    ground: Ground
    notes: tuple[str, ...]
    method: str


def walk_of(
    plan: PlanFile,
    points: Sequence[Waypoint],
    dem: Sequence[str],
    *,
    start: tuple[float, float] | None = None,
    hours: float | None = None,
    minutes_per_site: float | None = None,
    progress: Progress = silent,
) -> Walked:
    """Find the walk to the sites of a plan.

    Parameters
    ----------
    plan, points
        The plan and those of its sites that are visited.
    dem
        Elevation raster, or its tiles.
    start
        Longitude and latitude, or x and y in the plan's system; None to choose.
    hours, minutes_per_site
        As :func:`siting.walking.walk.walking_order`.
    progress
        Told how far the work is.

    Raises
    ------
    GullywalkError
        The raster lies elsewhere or cannot be read, or the walk cannot be planned.
    """
    crs = plan.crs
    roads, ranch = _shapes(plan, "roads"), _shapes(plan, "ranch")
    xy = np.array([(p.x_m, p.y_m) for p in points])
    given = None if start is None else _place(start, crs)
    parts = [xy] if given is None else [xy, np.array([[given.x_m, given.y_m]])]
    if given is None and not roads:
        parts += [shapely.get_coordinates(shape) for shape in ranch]
    ground = ground_of(dem, _around(np.vstack(parts)), crs, plan.run_info, what="the sites do")
    raster = ground.raster
    where = given or choose_start(raster, xy, roads=roads, ranch=ranch)
    walk = walking_order(
        raster,
        [Place(p.site_id, p.x_m, p.y_m, p.stop_id, p.build_order) for p in points],
        start=where,
        hours=hours,
        minutes_per_site=MINUTES_PER_SITE if minutes_per_site is None else minutes_per_site,
        roads=roads,
        progress=progress,
    )
    return Walked(walk, ground, ground.notes, _method(walk, plan))


def _shapes(plan: PlanFile, name: str) -> list[Any]:
    layer = plan.layers.get(name)
    return [] if layer is None or layer.geometry is None else list(layer.geometry)


def _around(xy: np.ndarray[Any, Any]) -> tuple[float, float, float, float]:
    low, high = xy.min(axis=0), xy.max(axis=0)
    beyond = max(_BEYOND * float((high - low).max()), _BEYOND_M)
    west, south = (low - beyond).tolist()
    east, north = (high + beyond).tolist()
    return west, south, east, north


def _place(start: tuple[float, float], crs: CRS | None) -> Start:
    """Place given by a person; numbers that can be degrees are taken for degrees."""
    first, second = start
    if abs(first) > 180 or abs(second) > 90:
        return Start(first, second, words=f"the place given, x {first:.0f}, y {second:.0f}")
    if crs is None:
        raise OutputError("the plan has no coordinate system", expected="one")
    mover = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True)
    x, y = mover.transform(first, second)
    return Start(float(x), float(y), words=f"the place given, {first:.5f} {second:.5f} (lon lat)")


def _method(walk: Walk, plan: PlanFile) -> str:
    unit, factor = _FEET[plan.units]
    step, net = (f"{significant(v * factor)} {unit}" for v in walk.cell_m)
    return (
        f"Walking time: Tobler 1993, off a path 0.6 of it, in steps of {step} on a net of {net}; "
        "steep banks, cuts deeper than a metre and ponds cost more (round figures without a "
        "published source)."
    )


def title_of(plan: PlanFile, most: int = 100) -> str:
    """Name of the ranch, or else of the plan's file."""
    layer = plan.layers.get("ranch")
    names = [] if layer is None else [n for n in layer.columns["name"] if n]
    return plain(names[0] if names else plan.path.stem, most)


def document(
    plan: PlanFile, points: Sequence[Waypoint], walked: Walked | None, *, ending: str
) -> bytes:
    """Make the file asked for.

    Parameters
    ----------
    plan, points, walked
        What goes into it; without a walk only the sites.
    ending
        ``.gpx``, ``.kml`` or ``.kmz``.
    """
    title = f"{title_of(plan)}: sites to visit"
    note = [f"{stops_words(points)} by rank, from {plain(plan.name, 80)}."]
    trips = []
    if walked is not None:
        trips = trips_of(walked.walk, points, plan.crs, plan.units)
        note += [summary(walked.walk, points, plan.units), *left_out(walked.walk)]
        note += [*how_good(walked.walk), walked.method]
    else:
        note.append("No walking order: it cannot be made without the ground.")
    note.append(DATUM_NOTE)
    about = " ".join(note)
    if ending == ".gpx":
        return gpx_text(title, about, points, trips)
    if ending == ".kml":
        return kml_text(title, about, points, trips)
    from cli.waypoints.icons import icons_of

    addresses, pictures = icons_of(points)
    return kmz_bytes(kml_text(title, about, points, trips, icons=addresses), pictures)
