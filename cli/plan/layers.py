"""A layer on its way to a file: geometries and SI columns that keep to the field table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS

from cli.file_errors import LayerError
from cli.plan.fields import LAYERS, Field, fields_of
from terrain.values.arrays import read_only

Columns = Mapping[str, NDArray[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Features of one layer of the plan, or rows of one of its tables.

    Parameters
    ----------
    name
        A layer of the field table.
    geometry
        Array of shapely geometries, shape ``(n,)``; None for a table.
    columns
        SI columns by SI name, each shape ``(n,)``. Optional ones may be left out: numbers become
        NaN (written as NULL), whole numbers 0, texts None, truths False.
    crs
        Projected CRS of the geometries, metres; None for a table.

    Raises
    ------
    LayerError
        Columns, ids or geometries that do not keep to the table.
    """

    name: str
    geometry: NDArray[Any] | None
    columns: Columns
    crs: CRS | None = None

    def __post_init__(self) -> None:
        spec_fields = fields_of(self.name)
        spec = LAYERS[self.name]
        if (self.geometry is None) != (spec.geometry is None):
            has = "no geometries" if self.geometry is None else "geometries"
            raise LayerError(f"{self.name} with {has}", expected=f"{spec.geometry or 'a table'}")
        geometry = self.geometry
        if geometry is not None:
            if self.crs is None:
                raise LayerError(f"{self.name} without a coordinate reference system")
            geometry = _checked_geometry(self.name, geometry, str(spec.geometry))
        rows = len(geometry) if geometry is not None else _table_rows(self.columns)
        columns = _checked_columns(self.name, self.columns, spec_fields, rows)
        if spec.id_field is not None:
            _check_unique(self.name, spec.id_field, columns[spec.id_field])
        object.__setattr__(self, "geometry", geometry)
        object.__setattr__(self, "columns", columns)

    @property
    def rows(self) -> int:
        """Number of features or rows."""
        return len(next(iter(self.columns.values())))


def empty_layer(name: str, crs: CRS | None = None) -> Layer:
    """Build a layer without features that still has all its fields."""
    spec_fields = fields_of(name)
    columns = {field.name: _nothing(field, 0) for field in spec_fields}
    shapes = None if LAYERS[name].geometry is None else np.array([], dtype=object)
    return Layer(name, shapes, columns, crs if shapes is not None else None)


def table(name: str, rows: Iterable[tuple[object, ...]]) -> Layer:
    """Build a table from its rows, one value a field in the field table's order.

    Fields at the end of that order that may be left out may be left out of all rows.
    """
    rows = list(rows)
    fields = fields_of(name)[: len(rows[0])] if rows else fields_of(name)
    columns = {
        field.name: np.array(
            [row[i] for row in rows], dtype=object if field.kind == "text" else None
        )
        for i, field in enumerate(fields)
    }
    return Layer(name, None, columns)


def _table_rows(columns: Columns) -> int:
    return len(next(iter(columns.values()), np.array([])))


def _nothing(field: Field, rows: int) -> NDArray[Any]:
    if field.kind == "float":
        return np.full(rows, np.nan)
    if field.kind == "int":
        return np.zeros(rows, dtype=np.int64)
    if field.kind == "bool":
        return np.zeros(rows, dtype=np.bool_)
    return np.full(rows, None, dtype=object)


def _checked_columns(
    name: str, columns: Columns, fields: tuple[Field, ...], rows: int
) -> dict[str, NDArray[Any]]:
    known = {field.name for field in fields}
    extra = sorted(set(columns) - known)
    if extra:
        raise LayerError(f"{name} has columns {', '.join(extra)}", expected="fields of the table")
    out: dict[str, NDArray[Any]] = {}
    for field in fields:
        if field.name not in columns:
            if field.required:
                raise LayerError(f"{name} without the column {field.name}")
            out[field.name] = read_only(_nothing(field, rows))
            continue
        values = _typed(name, field, columns[field.name])
        if values.shape != (rows,):
            raise LayerError(f"{name}.{field.name} has shape {values.shape}", expected=f"({rows},)")
        _check_codes(name, field, values)
        out[field.name] = read_only(values)
    return out


def _typed(name: str, field: Field, values: ArrayLike) -> NDArray[Any]:
    """Copy a column in its declared type; a value that would change is refused."""
    array = np.asarray(values)
    wrong = LayerError(f"{name}.{field.name} holds {array.dtype}", expected=field.kind)
    if array.size == 0:
        return _nothing(field, 0)
    if field.kind == "float":
        if array.dtype.kind not in "fiu":
            raise wrong
        numbers = array.astype(np.float64)
        if np.isinf(numbers).any():
            raise LayerError(f"{name}.{field.name} holds an infinite number")
        return numbers
    if field.kind == "int":
        if array.dtype.kind not in "iu":
            raise wrong
        return array.astype(np.int64)
    if field.kind == "bool":
        if array.dtype.kind != "b":
            raise wrong
        return array.astype(np.bool_)
    if array.dtype.kind not in "OU" or not all(v is None or isinstance(v, str) for v in array.flat):
        raise wrong
    texts = np.empty(array.shape, dtype=object)
    # Where values are listed, an empty text says no more than a missing one.
    nothing = (None, "") if field.codes else (None,)
    texts[...] = [None if v in nothing else str(v) for v in array.ravel()]
    return texts


def _check_codes(name: str, field: Field, values: NDArray[Any]) -> None:
    if not field.codes:
        return
    allowed = {code for code, _ in field.codes}
    odd = sorted({str(v) for v in values if v is not None} - allowed)
    if odd:
        raise LayerError(
            f"{name}.{field.name} holds {', '.join(odd)}", expected=", ".join(sorted(allowed))
        )


def _check_unique(name: str, id_field: str, ids: NDArray[Any]) -> None:
    seen, counts = np.unique(ids.astype(str), return_counts=True)
    twice = seen[counts > 1]
    if len(twice):
        raise LayerError(f"{name}.{id_field} has {twice[0]} more than once", expected="unique ids")


def _checked_geometry(name: str, geometry: NDArray[Any], kind: str) -> NDArray[Any]:
    shapes = np.array(geometry, dtype=object)
    if shapes.ndim != 1:
        raise LayerError(f"{name} has geometries of shape {shapes.shape}", expected="one dimension")
    if not np.all(shapely.is_geometry(shapes)):
        raise LayerError(f"{name} has a feature without a geometry")
    shapes = shapely.force_2d(shapes)
    if kind == "MultiPolygon":
        shapes = np.array(
            [shapely.multipolygons([s]) if s.geom_type == "Polygon" else s for s in shapes],
            dtype=object,
        )
    for i, shape in enumerate(shapes):
        if shape.geom_type != kind:
            raise LayerError(f"{name} has a {shape.geom_type} in row {i}", expected=kind)
    bad = np.flatnonzero(shapely.is_empty(shapes) | ~shapely.is_valid(shapes))
    if len(bad):
        why = shapely.is_valid_reason(shapes[bad[0]])
        raise LayerError(f"{name} has a bad geometry in row {bad[0]} ({why})", expected=kind)
    return read_only(shapes)


def check_names(layers: Iterable[Layer]) -> None:
    """Refuse two layers with one name, or two coordinate reference systems in one plan.

    Raises
    ------
    LayerError
        As above.
    """
    layers = list(layers)
    names = [layer.name.casefold() for layer in layers]
    for name in names:
        if names.count(name) > 1:
            raise LayerError(f"two layers named {name}", expected="one of each")
    systems = [layer.crs for layer in layers if layer.crs is not None]
    if any(crs != systems[0] for crs in systems):
        raise LayerError("layers in different coordinate reference systems", expected="one")
