"""Loops of a walk in degrees, with names and heights: what GPX and KML both write."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from cli.plan.fields import Units
from cli.waypoints.walk_words import loop_words
from cli.waypoints.waypoint import Waypoint, names_by_site, to_degrees
from siting.walking.walk import Walk

DATUM_NOTE = (
    "Heights are those of the elevation raster, in metres; the raster does not say above which "
    "level they are counted."
)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A way: longitude and latitude (degrees), shape ``(n, 2)``, and heights (m, NaN unknown)."""

    degrees: NDArray[np.float64]
    elevation_m: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """A loop.

    Parameters
    ----------
    number
        1 for the first.
    name, words
        What it is called, and how far and how long it is.
    start
        Where it starts and ends.
    stops
        Sites in the order they are visited.
    track
        The way.
    """

    number: int
    name: str
    words: str
    start: tuple[float, float]
    stops: tuple[Waypoint, ...]
    track: Track


def trips_of(walk: Walk, points: Sequence[Waypoint], crs: CRS | None, units: Units) -> list[Trip]:
    """Turn the loops of a walk into what a file holds."""
    by_site = names_by_site(points)
    start = to_degrees(crs, (walk.start.x_m, walk.start.y_m))[0]
    trips = []
    for number, legs in enumerate(walk.loops, start=1):
        xy = np.vstack([legs[0].line[:1], *(leg.line[1:] for leg in legs)])
        heights = np.concatenate([legs[0].height_m[:1], *(leg.height_m[1:] for leg in legs)])
        stops = tuple(by_site[leg.to_site] for leg in legs if leg.to_site is not None)
        trips.append(
            Trip(
                number,
                f"Loop {number} of {len(walk.loops)}" if len(walk.loops) > 1 else "Walk",
                loop_words(walk, number, units, by_site),
                (float(start[0]), float(start[1])),
                stops,
                Track(to_degrees(crs, xy), heights),
            )
        )
    return trips
