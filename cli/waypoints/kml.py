"""KML 2.2 and KMZ: sites by rank in one folder, the loops as lines in another.

Element names and their order follow the OGC KML 2.2 schema (OGC 07-147r2).
"""

from __future__ import annotations

import html
import io
import math
import zipfile
from collections.abc import Mapping, Sequence
from xml.etree import ElementTree as Xml

from cli import palette
from cli.waypoints.looks import loop_look
from cli.waypoints.trips import Trip
from cli.waypoints.waypoint import Waypoint
from cli.waypoints.xml_texts import plain
from cli.waypoints.xml_writing import add_text, xml_bytes

KML = "http://www.opengis.net/kml/2.2"
#: The oldest time a zip file can hold: no clock in our files.
_NO_TIME = (1980, 1, 1, 0, 0, 0)


def kml_text(
    title: str,
    note: str,
    points: Sequence[Waypoint],
    trips: Sequence[Trip],
    *,
    icons: Mapping[str, str] | None = None,
) -> bytes:
    """Write a KML file; the same input gives the same bytes.

    Parameters
    ----------
    title, note
        Name and description of the file.
    points
        Sites by rank.
    trips
        Loops; none where the ground is not known.
    icons
        Address of an icon by look of a site (:func:`look_of`); without one the viewer's own pin is
        tinted.

    Returns
    -------
    bytes
        UTF-8.
    """
    root = Xml.Element("kml", {"xmlns": KML})
    document = Xml.SubElement(root, "Document")
    _named(document, plain(title, 120), plain(note, 1000))
    for look, colour in sorted({(look_of(p), p.symbol.colour) for p in points}):
        _site_style(document, look, colour, (icons or {}).get(look))
    for trip in trips:
        _line_style(document, trip.number)
    folder = Xml.SubElement(document, "Folder")
    add_text(folder, "name", "Sites by rank")
    for point in points:
        mark = Xml.SubElement(folder, "Placemark")
        _named(mark, point.name, point.note)
        add_text(mark, "styleUrl", f"#{look_of(point)}")
        _point(mark, point.lon, point.lat, point.elevation_m)
    if trips:
        folder = Xml.SubElement(document, "Folder")
        add_text(folder, "name", "Walking order")
        for trip in trips:
            _loop(folder, trip)
    return xml_bytes(root)


def look_of(point: Waypoint) -> str:
    """Name of the look of a site: its shape, and whether it is sure."""
    sure = not point.confidence < palette.LOW_CONFIDENCE
    return point.symbol.key if sure else f"{point.symbol.key}-unsure"


def kmz_bytes(kml: bytes, icons: Mapping[str, bytes]) -> bytes:
    """Pack a KML file and its icons; no clock and no owner goes in.

    Parameters
    ----------
    kml
        The file, which names the icons by their addresses.
    icons
        PNG by address within the archive.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, data in (("doc.kml", kml), *sorted(icons.items())):
            entry = zipfile.ZipInfo(name, date_time=_NO_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data, compresslevel=9)
    return out.getvalue()


def _named(parent: Xml.Element, name: str, note: str) -> None:
    """Name and description; viewers take the latter for a page of HTML, so it is quoted as one."""
    add_text(parent, "name", name)
    add_text(parent, "description", html.escape(note))


def _colour(hex_colour: str, opacity: int = 255) -> str:
    """Opacity, blue, green, red as KML wants them."""
    red, green, blue = (hex_colour[i : i + 2].lower() for i in (1, 3, 5))
    return f"{opacity:02x}{blue}{green}{red}"


def _site_style(document: Xml.Element, look: str, colour: str, icon: str | None) -> None:
    style = Xml.SubElement(document, "Style", {"id": look})
    shape = Xml.SubElement(style, "IconStyle")
    if icon is None:
        add_text(shape, "color", _colour(colour))
    else:
        add_text(shape, "scale", "0.8")
        add_text(Xml.SubElement(shape, "Icon"), "href", icon)
    label = Xml.SubElement(style, "LabelStyle")
    add_text(label, "scale", "0.8")


def _line_style(document: Xml.Element, number: int) -> None:
    style = Xml.SubElement(document, "Style", {"id": f"loop-{number}"})
    line = Xml.SubElement(style, "LineStyle")
    add_text(line, "color", _colour(loop_look(number)[0]))
    add_text(line, "width", "3")


def _point(parent: Xml.Element, lon: float, lat: float, elevation_m: float) -> None:
    point = Xml.SubElement(parent, "Point")
    add_text(point, "coordinates", _at(lon, lat, elevation_m))


def _at(lon: float, lat: float, elevation_m: float) -> str:
    height = f",{elevation_m:.2f}" if math.isfinite(elevation_m) else ""
    return f"{lon:.7f},{lat:.7f}{height}"


def _loop(parent: Xml.Element, trip: Trip) -> None:
    folder = Xml.SubElement(parent, "Folder")
    stops = ", ".join(f"{i} {stop.name}" for i, stop in enumerate(trip.stops, start=1))
    _named(folder, trip.name, plain(f"{trip.words}. In this order: {stops}.", 4000))
    mark = Xml.SubElement(folder, "Placemark")
    _named(mark, f"{trip.name}: start", trip.words)
    _point(mark, *trip.start, float(trip.track.elevation_m[0]))
    mark = Xml.SubElement(folder, "Placemark")
    _named(mark, trip.name, trip.words)
    add_text(mark, "styleUrl", f"#loop-{trip.number}")
    line = Xml.SubElement(mark, "LineString")
    add_text(line, "tessellate", "1")
    heights = trip.track.elevation_m.tolist()
    rows = zip(trip.track.degrees.tolist(), heights, strict=True)
    add_text(line, "coordinates", "\n".join(_at(lon, lat, z) for (lon, lat), z in rows))
