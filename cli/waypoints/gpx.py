"""GPX 1.1: waypoints by rank, and each loop as a route (its stops) and a track (its way).

Element names, their order and their ranges follow the GPX 1.1 schema (Topografix, 2004).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as Xml

from cli.waypoints.trips import Trip
from cli.waypoints.waypoint import Waypoint
from cli.waypoints.xml_texts import plain
from cli.waypoints.xml_writing import add_text, xml_bytes

GPX = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
#: A receiver's screen shows little of a comment.
_COMMENT_MOST = 120


def gpx_text(title: str, note: str, points: Sequence[Waypoint], trips: Sequence[Trip]) -> bytes:
    """Write a GPX file; the same input gives the same bytes.

    Parameters
    ----------
    title, note
        Name and description of the file.
    points
        Sites by rank.
    trips
        Loops; none where the ground is not known.

    Returns
    -------
    bytes
        UTF-8.
    """
    root = Xml.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": "Gullywalk",
            "xmlns": GPX,
            "xmlns:xsi": _XSI,
            "xsi:schemaLocation": f"{GPX} {GPX}/gpx.xsd",
        },
    )
    about = Xml.SubElement(root, "metadata")
    add_text(about, "name", plain(title, 120))
    add_text(about, "desc", plain(note, 1000))
    _bounds(about, points, trips)
    for point in points:
        place = _place(root, "wpt", point.lon, point.lat, point.elevation_m, point.name)
        add_text(place, "cmt", plain(point.sizes, _COMMENT_MOST))
        add_text(place, "desc", point.note)
        add_text(place, "type", plain(point.control, 40))
    for trip in trips:
        _route(root, trip)
    for trip in trips:
        _track(root, trip)
    return xml_bytes(root)


def _bounds(about: Xml.Element, points: Sequence[Waypoint], trips: Sequence[Trip]) -> None:
    at = [(p.lon, p.lat) for p in points]
    at += [(lon, lat) for trip in trips for lon, lat in trip.track.degrees.tolist()]
    lons, lats = zip(*at, strict=True)
    Xml.SubElement(
        about,
        "bounds",
        {
            "minlat": f"{min(lats):.7f}",
            "minlon": f"{min(lons):.7f}",
            "maxlat": f"{max(lats):.7f}",
            "maxlon": f"{max(lons):.7f}",
        },
    )


def _place(
    parent: Xml.Element, kind: str, lon: float, lat: float, elevation_m: float, name: str = ""
) -> Xml.Element:
    place = Xml.SubElement(parent, kind, {"lat": f"{lat:.7f}", "lon": f"{lon:.7f}"})
    if math.isfinite(elevation_m):
        add_text(place, "ele", f"{elevation_m:.2f}")
    add_text(place, "name", name)
    return place


def _head(parent: Xml.Element, trip: Trip) -> None:
    add_text(parent, "name", trip.name)
    add_text(parent, "desc", trip.words)
    add_text(parent, "number", str(trip.number))


def _route(root: Xml.Element, trip: Trip) -> None:
    route = Xml.SubElement(root, "rte")
    _head(route, trip)
    height = float(trip.track.elevation_m[0])
    _place(route, "rtept", *trip.start, height, "Start")
    for stop in trip.stops:
        _place(route, "rtept", stop.lon, stop.lat, stop.elevation_m, stop.name)
    _place(route, "rtept", *trip.start, height, "Start")


def _track(root: Xml.Element, trip: Trip) -> None:
    track = Xml.SubElement(root, "trk")
    _head(track, trip)
    piece = Xml.SubElement(track, "trkseg")
    rows: Iterable[tuple[list[float], float]] = zip(
        trip.track.degrees.tolist(), trip.track.elevation_m.tolist(), strict=True
    )
    for (lon, lat), height in rows:
        _place(piece, "trkpt", lon, lat, height)
