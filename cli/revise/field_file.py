"""Rows from the field: a CSV table, or the layer ``field_notes`` of a GeoPackage."""

from __future__ import annotations

import csv
import io
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from pyproj import CRS, Transformer

from cli.file_errors import OutputError
from cli.plan.geopackage_reading import is_geopackage
from siting.revising.field_rows import FieldRow, FieldTable, columns_of

LAYER = "field_notes"
#: Longest text of one cell; a spreadsheet holds 32,767 characters.
MOST_CHARACTERS = 1_000_000
_EXPECTED = "a GeoPackage with the layer field_notes, or a CSV table with the column site_id"
#: Name that cells beyond the last heading are kept under.
_BEYOND = "beyond the last column"


def read_field_file(path: str, crs: CRS | None) -> FieldTable:
    """Read what came back from the field, whatever of the two it is.

    Parameters
    ----------
    path
        The file.
    crs
        Coordinate system of the plan, that points are turned to.

    Raises
    ------
    OutputError
        No such file, or one that cannot be read as either.
    FieldRowsError
        Columns that contradict each other, or no site_id.
    """
    source = Path(path)
    if not source.is_file():
        raise OutputError(f"no file {source}", expected=_EXPECTED)
    table = _geopackage(source, crs) if is_geopackage(source) else _csv(source)
    columns_of(table)
    return table


def to_plan(crs: CRS | None) -> Callable[[float, float], tuple[float, float]]:
    """Return what turns longitude and latitude into a plan's coordinates; NaN where it cannot."""
    if crs is None:
        return lambda lon, lat: (np.nan, np.nan)
    transformer = Transformer.from_crs("EPSG:4326", crs, always_xy=True)

    def project(lon: float, lat: float) -> tuple[float, float]:
        if not (-180 <= lon <= 180 and -90 <= lat <= 90):
            return np.nan, np.nan
        x, y = transformer.transform(lon, lat)
        return (x, y) if np.isfinite([x, y]).all() else (np.nan, np.nan)

    return project


def _csv(source: Path) -> FieldTable:
    raw = source.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise OutputError(
            f"{source.name} is neither a GeoPackage nor a table in UTF-8",
            expected=_EXPECTED,
            do="save the table as CSV UTF-8",
        ) from error
    if "\0" in text or not text.strip():
        raise OutputError(
            f"{source.name} is {'empty' if not text.strip() else 'not a text'}", expected=_EXPECTED
        )
    first = text.lstrip().splitlines()[0]
    delimiter = max(",;\t", key=first.count)
    csv.field_size_limit(MOST_CHARACTERS)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for cells in reader:
            if any(c.strip() for c in cells):
                rows.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise OutputError(
            f"{source.name} cannot be read at line {reader.line_num} ({error})",
            expected="a CSV table",
        ) from error
    names = tuple(name.strip() for name in rows[0][1])
    twice = next((n for n in names if n and names.count(n) > 1), None)
    if twice is not None:
        raise OutputError(f"{source.name} has two columns named {twice}", expected="one of each")
    return FieldTable(
        source.name,
        tuple(n for n in names if n),
        tuple(FieldRow(number, _cells(names, cells)) for number, cells in rows[1:]),
    )


def _cells(names: tuple[str, ...], cells: list[str]) -> dict[str, str]:
    """Text by column, the empty ones left out; nothing that a row holds is lost."""
    out = {}
    for k, cell in enumerate(cells):
        if cell.strip():
            name = names[k] if k < len(names) else f"{_BEYOND} ({k - len(names) + 1})"
            out[name or f"column {k + 1}"] = cell
    return out


def _geopackage(source: Path, crs: CRS | None) -> FieldTable:
    try:
        layers = [str(row[0]) for row in pyogrio.list_layers(source)]
        if LAYER not in layers:
            raise OutputError(
                f"{source.name} has no layer {LAYER}",
                expected="a plan, or a copy of one, with that layer filled in",
            )
        meta, ids, shapes, values = pyogrio.raw.read(source, layer=LAYER, return_fids=True)
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        sqlite3.Error,
    ) as error:
        raise OutputError(
            f"{source.name} cannot be read ({' '.join(str(error).split())})", expected=_EXPECTED
        ) from error
    names = tuple(str(n) for n in meta["fields"])
    points = _points(shapes, meta["crs"], crs, len(ids))
    rows = []
    for i, number in enumerate(ids):
        texts = {n: _text(column[i]) for n, column in zip(names, values, strict=True)}
        rows.append(FieldRow(int(number), {n: t for n, t in texts.items() if t.strip()}, points[i]))
    return FieldTable(source.name, names, tuple(rows))


def _points(
    shapes: Any, given: str | None, crs: CRS | None, count: int
) -> list[tuple[float, float] | None]:
    """Points of the features in the plan's coordinates; None where there is none."""
    if shapes is None:
        return [None] * count
    points = shapely.from_wkb(shapes)
    x, y = (np.array([f(p) if _is_point(p) else np.nan for p in points]) for f in (_x, _y))
    if given is not None and crs is not None and CRS.from_user_input(given) != crs and count:
        turn = Transformer.from_crs(CRS.from_user_input(given), crs, always_xy=True)
        x, y = np.array(turn.transform(x.tolist(), y.tolist()))
    return [
        (float(a), float(b)) if np.isfinite([a, b]).all() else None
        for a, b in zip(x, y, strict=True)
    ]


def _is_point(shape: Any) -> bool:
    return shape is not None and shape.geom_type == "Point" and not shape.is_empty


def _x(point: shapely.Point) -> float:
    return float(point.x)


def _y(point: shapely.Point) -> float:
    return float(point.y)


def _text(value: Any) -> str:
    """A cell as text; numbers with all their digits, nothing for what is empty."""
    if value is None:
        return ""
    if isinstance(value, float | np.floating):
        number = float(value)
        if np.isnan(number):
            return ""
        return str(int(number)) if number == int(number) and abs(number) < 1e15 else repr(number)
    return str(value)
