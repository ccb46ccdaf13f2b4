"""Read polygons that carry a code, such as soils or land cover, from any vector file."""

from __future__ import annotations

import os
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.errors
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from terrain.reading.crs import same_crs, short_name
from terrain.values.errors import GullywalkError
from terrain.vectors.vector_files import UNREADABLE, moved, own_crs


class MapError(GullywalkError, ValueError):
    """A map of soils or cover that cannot be used."""


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """Polygons in the wanted coordinate system, each with the value of one field.

    Parameters
    ----------
    shapes
        Shapely polygons and multipolygons, shape ``(n,)``.
    values
        Value of the field of each, shape ``(n,)``.
    name, field
        The file and the field.
    notes
        Plain sentences: what was chosen and done.
    """

    shapes: NDArray[Any]
    values: NDArray[Any]
    name: str
    field: str
    notes: tuple[str, ...]


def read_patches(
    path: str | os.PathLike[str],
    crs: CRS,
    *,
    fields: Sequence[str],
    field: str | None = None,
    layer: str | None = None,
    name_field: str = "name the field",
    name_layer: str = "name the layer",
) -> Patches:
    """Read the polygons of a file and the field that holds their code.

    Parameters
    ----------
    path
        Any vector file (GeoJSON, Shapefile, GeoPackage, KML).
    crs
        Coordinate system wanted, m.
    fields
        Names that the field usually has, the likeliest first; case does not count.
    field, layer
        The field and the layer to take, where they are known.
    name_field, name_layer
        What helps where the field is not found, or several layers would do.

    Raises
    ------
    MapError
        Missing, no vector file, no polygons, no such field or layer, several layers that would do,
        or no usable coordinate system.
    """
    source = os.fspath(path)
    name = Path(source).name
    if not os.path.exists(source):
        raise MapError(f"no file {source}", expected="a map with polygons", do="check the path")
    with warnings.catch_warnings():
        # GDAL's remarks on odd rings come back below as clear errors.
        warnings.simplefilter("ignore")
        try:
            layer, column = _choose(
                source, name, fields, field, layer, name_field=name_field, name_layer=name_layer
            )
            meta, _, wkb, values = pyogrio.raw.read(source, layer=layer, columns=[column])
            shapes = shapely.from_wkb(wkb, on_invalid="ignore")
        except UNREADABLE as error:
            raise MapError(
                f"{name} cannot be read as a vector file",
                expected="polygons in a GeoJSON, Shapefile, GeoPackage or KML file",
                do="check that it is the right file",
            ) from error
    shapes, codes = _polygons(shapes, values[0], name)
    own = own_crs(meta["crs"], name, error=MapError)
    notes = [f"{name}: field '{column}' of layer '{layer}' was used."]
    if not same_crs(own, crs):
        notes.append(f"{name} is in {short_name(own)}; moved to {short_name(crs)}.")
        shapes = _moved(shapes, own, crs, name)
    broken = ~shapely.is_valid(shapes)
    if broken.any():
        shapes[broken] = shapely.make_valid(shapes[broken])
        notes.append(f"{int(broken.sum())} polygons of {name} crossed themselves and were mended.")
    return Patches(shapes, codes, name, column, tuple(notes))


def _choose(
    source: str,
    name: str,
    fields: Sequence[str],
    field: str | None,
    layer: str | None,
    *,
    name_field: str,
    name_layer: str,
) -> tuple[str, str]:
    """Layer and field to read: the one layer with polygons that has the field."""
    listed = [str(n) for n, kind in pyogrio.list_layers(source) if kind is not None]
    if layer is not None and layer not in listed:
        raise MapError(f"{name} has no layer '{layer}'", expected=f"one of {', '.join(listed)}")
    found: list[tuple[int, str, str]] = []
    seen: list[str] = []
    for each in listed if layer is None else [layer]:
        info = pyogrio.read_info(source, layer=each)
        kind = str(info["geometry_type"])
        if "Polygon" not in kind and kind != "Unknown" and layer is None:
            continue
        own = {str(f).casefold(): str(f) for f in info["fields"]}
        seen += [f for f in own.values() if f not in seen]
        wanted = [field] if field is not None else fields
        for rank, candidate in enumerate(wanted):
            if candidate.casefold() in own:
                found.append((rank, each, own[candidate.casefold()]))
                break
    if not found:
        has = f"it has {', '.join(seen)}" if seen else "it has no polygons with fields"
        what = f"no field '{field}'" if field is not None else "no field with the code"
        raise MapError(
            f"{name} has {what}: {has}",
            expected=field if field is not None else f"one named {' or '.join(fields[:3])}",
            do=name_field,
        )
    best = min(rank for rank, _, _ in found)
    likely = [(each, column) for rank, each, column in found if rank == best]
    if len(likely) > 1:
        raise MapError(
            f"{name} has several layers that would do ({', '.join(each for each, _ in likely)})",
            expected="one",
            do=name_layer,
        )
    return likely[0]


def _polygons(
    shapes: NDArray[Any], values: NDArray[Any], name: str
) -> tuple[NDArray[Any], NDArray[Any]]:
    kept = np.array(
        [
            s is not None and not s.is_empty and s.geom_type in ("Polygon", "MultiPolygon")
            for s in shapes
        ],
        dtype=np.bool_,
    )
    if not kept.any():
        kinds = sorted({s.geom_type for s in shapes if s is not None})
        raise MapError(
            f"{name} holds {', '.join(kinds) if kinds else 'no shape'}", expected="polygons"
        )
    return shapely.force_2d(shapes[kept]), values[kept]


def _moved(shapes: NDArray[Any], own: CRS, crs: CRS, name: str) -> NDArray[Any]:
    there = moved(shapes, own, crs)
    if not np.isfinite(shapely.get_coordinates(there)).all():
        raise MapError(
            f"{name} lies far outside the area of {crs.name}, the DEM's coordinate system",
            expected="a map that covers the DEM",
            do="check the coordinate system of both",
        )
    return there
