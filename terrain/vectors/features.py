"""Read lines, or shapes of any kind, with a few of their texts from any vector file."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray

from terrain.reading.crs import place_of, same_crs, short_name
from terrain.values.arrays import read_only
from terrain.values.errors import GullywalkError
from terrain.values.grid import Grid
from terrain.values.reader_units import quantity
from terrain.values.reading_remedies import ReadingRemedy
from terrain.vectors.vector_files import UNREADABLE, check_corners, moved, own_crs

#: Texts are cut to so many characters: a name, not a report.
LONGEST_TEXT = 60
#: Shapes farther off the raster than this touch nothing on it, m.
MARGIN_M = 1000.0


class FeatureFileError(GullywalkError, ValueError):
    """A file of roads, or of things to keep clear of, that cannot be used."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to read from a file.

    Parameters
    ----------
    what
        In words, with its article: ``a road``.
    lines
        Take lines only; otherwise any shape.
    texts
        Names of the texts to take, each with the fields that usually hold it, the likeliest
        first; case does not count.
    layers
        Parts of layer names that tell the right one of several.
    name_layer
        What helps where several layers would do.
    """

    what: str
    lines: bool
    texts: Mapping[str, Sequence[str]]
    layers: Sequence[str]
    name_layer: str = "name the layer"


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """Shapes in the raster's coordinate system.

    Parameters
    ----------
    shapes
        Single lines, polygons and points, valid and flat, m, shape ``(n,)``.
    texts
        The texts asked for, shape ``(n,)`` each; empty where the file has none.
    name
        The file.
    notes
        Plain sentences: what was chosen, done and left out.
    """

    shapes: NDArray[Any]
    texts: Mapping[str, NDArray[Any]]
    name: str
    notes: tuple[str, ...]


def read_features(
    path: str | os.PathLike[str], grid: Grid, wanted: Wanted, *, layer: str | None = None
) -> Features:
    """Read what lies on a grid or within 1 km of it.

    Parameters
    ----------
    path
        Any vector file (GeoPackage, Shapefile, GeoJSON, KML, GPX).
    grid
        The raster's cells, with a coordinate system.
    wanted
        What to take.
    layer
        Layer to take where the file has several that would do.

    Raises
    ------
    FeatureFileError
        Missing, no vector file, empty, shapes of the wrong kind or with corners that are not
        numbers, no or an unusable coordinate system, several layers, far from the raster; or a
        raster without a place.
    """
    source = os.fspath(path)
    name = Path(source).name
    if grid.crs is None:
        raise FeatureFileError(
            f"{name} cannot be laid over a DEM whose place is not known",
            expected="a DEM with a coordinate system",
            do=ReadingRemedy.GIVE_CRS_OF_DEM,
        )
    if not os.path.exists(source):
        raise FeatureFileError(
            f"no file {source}", expected=f"a vector file with {wanted.what}", do="check the path"
        )
    with warnings.catch_warnings():
        # GDAL's remarks on odd shapes come back below as clear errors.
        warnings.simplefilter("ignore")
        try:
            chosen, notes = _choose_layer(source, name, wanted, layer)
            meta, whole, texts = _read(source, chosen, wanted, notes, name)
        except UNREADABLE as error:
            raise FeatureFileError(
                f"{name} cannot be read as a vector file, or is damaged",
                expected="a GeoPackage, Shapefile, GeoJSON, KML or GPX file",
                do="check that it is the right file, or export it again",
            ) from error
    shapes, owner = _single_shapes(whole, name, wanted, notes)
    own = own_crs(meta["crs"], name, error=FeatureFileError)
    check_corners(shapes, own, name, error=FeatureFileError)
    if not same_crs(own, grid.crs):
        notes.append(f"{name} is in {short_name(own)}; moved to {short_name(grid.crs)}.")
    shapes = moved(shapes, own, grid.crs)
    near = _near(shapes, grid, name, notes)
    shapes, kept = _mended(shapes[near], wanted, name, notes)
    owner = owner[near][kept]
    return Features(
        read_only(shapes),
        {key: read_only(values[owner]) for key, values in texts.items()},
        name,
        tuple(notes),
    )


def _choose_layer(
    source: str, name: str, wanted: Wanted, layer: str | None
) -> tuple[str, list[str]]:
    """Pick the layer asked for, the only one that would do, or the one named like it."""
    listed = [(str(n), str(t)) for n, t in pyogrio.list_layers(source) if t is not None]
    names = [n for n, _ in listed]
    if layer is not None:
        if layer not in names:
            raise FeatureFileError(
                f"{name} has no layer '{layer}' with shapes",
                expected=f"one of {', '.join(names)}" if names else f"a layer with {wanted.what}",
            )
        return layer, []
    if not listed:
        raise FeatureFileError(f"{name} holds no shapes", expected=wanted.what)
    if len(listed) == 1:
        return names[0], []
    # a layer of unknown or mixed type may hold lines
    fits = [n for n, t in listed if not wanted.lines or not ("Polygon" in t or "Point" in t)]
    full = [n for n in fits if pyogrio.read_info(source, layer=n)["features"] != 0]
    for some in (full, [n for n in full if any(w in n.casefold() for w in wanted.layers)]):
        if len(some) == 1:
            return some[0], [f"{name} has several layers; '{some[0]}' was taken."]
    kind = "lines" if wanted.lines else "shapes"
    if not full:
        raise FeatureFileError(
            f"none of the layers of {name} holds {kind} ({', '.join(names)})", expected=wanted.what
        )
    raise FeatureFileError(
        f"{name} has several layers with {kind} ({', '.join(full)})",
        expected="one",
        do=wanted.name_layer,
    )


def _read(
    source: str, layer: str, wanted: Wanted, notes: list[str], name: str
) -> tuple[dict[str, Any], NDArray[Any], dict[str, NDArray[Any]]]:
    """Shapes of a layer, and the texts asked for."""
    own = {str(f).casefold(): str(f) for f in pyogrio.read_info(source, layer=layer)["fields"]}
    field = {
        key: next((own[f] for f in usual if f in own), None) for key, usual in wanted.texts.items()
    }
    columns = list(dict.fromkeys(f for f in field.values() if f is not None))
    try:
        meta, _, wkb, values = pyogrio.raw.read(source, layer=layer, columns=columns)
    except UnicodeDecodeError:
        meta, _, wkb, values = pyogrio.raw.read(
            source, layer=layer, columns=columns, encoding="ISO-8859-1"
        )
        notes.append(f"The texts of {name} are not in UTF-8; they were read as Latin letters.")
    n = 0 if wkb is None else len(wkb)
    shapes = np.asarray(shapely.from_wkb(wkb, on_invalid="ignore") if n else [], dtype=object)
    lost = sum(w is not None and s is None for w, s in zip(wkb if n else (), shapes, strict=True))
    if lost:
        notes.append(f"{lost} shapes of {name} are damaged and are left out.")
    by_field = dict(zip([str(f) for f in meta["fields"]], values, strict=True))
    texts = {
        key: np.array([_text(v) for v in by_field[f]] if f else [""] * n, dtype=object)
        for key, f in field.items()
    }
    return meta, shapes, texts


def _text(value: Any) -> str:
    """One line of plain text, cut where it is longer than a name."""
    if value is None or value != value:
        return ""
    words = "".join(c if c.isprintable() else " " for c in str(value)[: 20 * LONGEST_TEXT])
    text = " ".join(words.split())
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 3].rstrip() + "..."


def _single_shapes(
    whole: NDArray[Any], name: str, wanted: Wanted, notes: list[str]
) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Shapes one by one, flat, of the kind wanted; and the place of each in the file."""
    owner = np.arange(whole.size)
    shapes = whole
    # collections may hold multi-shapes
    for _ in range(3):
        shapes, index = shapely.get_parts(shapes, return_index=True)
        owner = owner[index]
    there = ~shapely.is_empty(shapes)
    shapes, owner = shapely.force_2d(shapes[there]), owner[there]
    if not shapes.size:
        raise FeatureFileError(f"{name} is empty: it holds no shape", expected=wanted.what)
    if not wanted.lines:
        return shapes, owner
    is_line = np.isin(
        shapely.get_type_id(shapes),
        [shapely.GeometryType.LINESTRING, shapely.GeometryType.LINEARRING],
    )
    if not is_line.any():
        area = (shapely.get_dimensions(shapes) == 2).any()
        raise FeatureFileError(
            f"{name} holds {'polygons' if area else 'points'}, not lines",
            expected=f"{wanted.what} as a line",
            do=ReadingRemedy.LINE_OR_KEEP_CLEAR,
        )
    other = int((~is_line).sum())
    if other:
        notes.append(f"{other} shapes of {name} are not lines and are left out.")
    return shapes[is_line], owner[is_line]


def _near(shapes: NDArray[Any], grid: Grid, name: str, notes: list[str]) -> NDArray[np.bool_]:
    """Which shapes lie on the raster or near it; the others touch nothing."""
    west, south, east, north = grid.bounds
    frame = shapely.box(west, south, east, north)
    # where the raster's system does not reach, corners have become infinite
    reached = np.isfinite(shapely.bounds(shapes)).all(axis=1)
    away = np.full(shapes.size, np.inf)
    away[reached] = shapely.distance(shapes[reached], frame)
    near: NDArray[np.bool_] = away <= MARGIN_M
    if not near.any():
        raise FeatureFileError(
            f"{name} lies outside the DEM: {_extent(shapes[reached], grid)}",
            expected="a file of the same ranch",
            do="check that both belong to the same ranch, and the coordinate system of each",
        )
    if not (away == 0).any():
        off = quantity(float(away.min()), "m")
        notes.append(f"Nothing in {name} lies on the DEM; the nearest is {off} off.")
    elif not near.all():
        notes.append(
            f"{int((~near).sum())} of {near.size} shapes of {name} lie more than 1 km off the DEM."
        )
    return near


def _extent(shapes: NDArray[Any], grid: Grid) -> str:
    """Where shapes and raster lie, in longitude and latitude where they are known."""
    if not shapes.size:
        return "its coordinates lie beyond the reach of the DEM's coordinate system"
    assert grid.crs is not None  # checked by the caller
    places = []
    for west, south, east, north in (shapely.total_bounds(shapes), grid.bounds):
        x, y = (west + east) / 2, (south + north) / 2
        at = place_of(grid.crs, x, y)
        places.append(
            f"x {x:.0f}, y {y:.0f}"
            if at is None
            else f"longitude {at[0]:.4f}, latitude {at[1]:.4f}"
        )
    return f"its middle is at {places[0]}, that of the DEM at {places[1]}"


def _mended(
    shapes: NDArray[Any], wanted: Wanted, name: str, notes: list[str]
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Valid shapes, and which were kept; lines without a length go when lines are wanted."""
    shapes = shapes.copy()
    broken = ~shapely.is_valid(shapes)
    if wanted.lines:
        kept = shapely.length(shapes) > 0
        if not kept.any():
            raise FeatureFileError(f"the lines of {name} have no length", expected=wanted.what)
        if not kept.all():
            notes.append(f"{int((~kept).sum())} lines of {name} have no length and are left out.")
        return shapes[kept], kept
    if broken.any():
        shapes[broken] = shapely.make_valid(shapes[broken])
        notes.append(f"{int(broken.sum())} shapes of {name} crossed themselves and were mended.")
    return shapes, np.ones(shapes.size, dtype=np.bool_)
