"""Reading a plan's layers and tables back, in SI units whichever it was written in."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from cli.file_errors import OutputError
from cli.plan.fields import FIELDS, LAYERS, Field, Units, fields_of
from cli.plan.layers import Layer
from cli.plan.plan_format import ROW, Stored, newest, stored
from cli.plan.row_units import si_factors, si_words

_APPLICATION_IDS = (b"GPKG", b"GP10", b"GP11")


def is_geopackage(path: Path) -> bool:
    """Tell from the first bytes of a file whether it is a GeoPackage."""
    try:
        with open(path, "rb") as file:
            head = file.read(72)
    except OSError:
        return False
    return head.startswith(b"SQLite format 3\0") and head[68:72] in _APPLICATION_IDS


@dataclass(frozen=True, slots=True, eq=False)
class Content:
    """A layer as it stands in a file, not yet held against the field table.

    Parameters
    ----------
    name
        Name of the layer.
    geometry
        Shapely geometries, None where a feature has none; None for a table.
    columns
        SI columns by SI name, as far as the file has them.
    crs
        Coordinate reference system; None for a table.
    """

    name: str
    geometry: NDArray[Any] | None
    columns: dict[str, NDArray[Any]]
    crs: CRS | None


def read_layer(
    path: str | os.PathLike[str], name: str, *, format_number: int | None = None
) -> Layer:
    """Read one layer or table of a plan, in SI units whichever it was written in.

    Fields that are not in the field table are left out.

    Parameters
    ----------
    path
        A GeoPackage written by :func:`write_geopackage`, perhaps edited in a GIS since.
    name
        Name of the layer or table today.
    format_number
        Format of the plan (see `cli.plan.plan_format`); the newest for None.

    Raises
    ------
    OutputError
        The file cannot be read, or a plan of this format has no such layer.
    LayerError
        The layer does not keep to the field table.
    """
    content = read_content(path, name, format_number=format_number)
    return Layer(name, content.geometry, content.columns, content.crs)


def read_content(
    path: str | os.PathLike[str], name: str, *, format_number: int | None = None
) -> Content:
    """Read one layer or table as it stands in the file, in SI units and by the names of today.

    Parameters are those of `read_layer`.

    Raises
    ------
    OutputError
        The file cannot be read, or a plan of this format has no such layer.
    """
    there = stored(name, newest() if format_number is None else format_number)
    if there.table is None:
        raise OutputError(f"{path} has no {name}: it is of {ROW} {format_number}")
    try:
        return _read_content(Path(path), name, there)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise OutputError(f"{path} cannot be read ({error})", expected="a plan (.gpkg)") from error


def _read_content(source: Path, name: str, there: Stored) -> Content:
    meta, _, shapes, values = pyogrio.raw.read(source, layer=there.table)
    found = dict(zip([str(n) for n in meta["fields"]], values, strict=True))
    columns = {}
    for field in fields_of(name):
        then = replace(field, name=there.fields.get(field.name, field.name))
        if then.name in found:
            columns[field.name] = _from_file(field, found[then.name], 1.0)
        elif then.name_us in found:
            columns[field.name] = _from_file(field, found[then.name_us], field.factor)
    _rows_to_si(name, columns)
    if LAYERS[name].geometry is None:
        return Content(name, None, columns, None)
    return Content(name, shapely.from_wkb(shapes), columns, CRS.from_user_input(meta["crs"]))


def _rows_to_si(name: str, columns: dict[str, NDArray[Any]]) -> None:
    """Turn numbers whose unit stands in their row; the unit itself says whether it is US."""
    numbers = [f for f in fields_of(name) if f.unit_from and {f.name, f.unit_from} <= set(columns)]
    for field in numbers:
        columns[field.name] = columns[field.name] * si_factors(columns[field.unit_from])
    for unit in {field.unit_from for field in numbers}:
        columns[unit] = si_words(columns[unit])


def _from_file(field: Field, values: NDArray[Any], factor: float) -> NDArray[Any]:
    """Return a column as the field table declares it; empty whole numbers become 0."""
    if field.kind == "float":
        return values.astype(np.float64) / factor
    if field.kind == "int":
        if values.dtype.kind == "f":
            values = np.nan_to_num(values, nan=0.0)
        return values.astype(np.int64)
    if field.kind == "bool":
        if values.dtype.kind == "f":
            values = np.nan_to_num(values, nan=0.0)
        return values.astype(np.bool_)
    texts = np.empty(len(values), dtype=object)
    texts[:] = [None if v is None else str(v) for v in values]
    return texts


def plan_units(path: str | os.PathLike[str]) -> Units:
    """Tell in which units a plan was written, from the names of its fields.

    They are asked of the file as a database: the vector library opens it anew for each layer.

    Raises
    ------
    OutputError
        The file cannot be read.
    """
    us_names = {field.name_us for field in FIELDS if field.name_us != field.name}
    uri = f"{Path(path).absolute().as_uri()}?mode=ro"
    try:
        with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=1.0)) as db:
            tables = [str(row[0]) for row in db.execute("SELECT table_name FROM gpkg_contents")]
            for table in tables:
                rows = db.execute("SELECT name FROM pragma_table_info(?)", (table,))
                if table in LAYERS and us_names & {str(row[0]) for row in rows}:
                    return "us"
    except sqlite3.Error as error:
        raise OutputError(f"{path} cannot be read ({error})", expected="a plan (.gpkg)") from error
    return "si"
