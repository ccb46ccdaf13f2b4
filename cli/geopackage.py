"""Writing a plan as one GeoPackage, whole or not at all, and reading it back.

The file is built beside the target under a name of its own, checked, synced and moved into
place. Writing into an existing file would lose its layers on a failure, and would replace a
file that another program holds; moving over a file with a leftover write-ahead log would
spoil the new one. Both are therefore refused, at the start of a run and again at its end.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from cli.errors import OutputError
from cli.field_guide import guide_columns
from cli.fields import (
    FIELDS,
    LAYERS,
    Field,
    Units,
    check_units,
    convert_columns,
    fields_of,
)
from cli.geopackage_extras import write_extras
from cli.layers import Layer, check_names
from cli.row_units import si_factors, si_words
from cli.safe_files import (
    check_file_target,
    discard,
    move_into_place,
    no_room,
    part_path,
    sweep,
    write_error,
)

#: A fixed date in the file, so that the same input gives the same bytes.
FIXED_DATE = "2000-01-01T00:00:00.000Z"
_APPLICATION_IDS = (b"GPKG", b"GP10", b"GP11")
_OGR_DTYPES = {"float": np.float64, "int": np.int64, "bool": np.bool_, "text": object}


def check_target(path: str | os.PathLike[str], overwrite: bool = False) -> Path:
    """Refuse early a plan that could not be written at the end of a long run.

    Parameters
    ----------
    path
        The GeoPackage to write later.
    overwrite
        Whether an existing GeoPackage may be replaced.

    Returns
    -------
    Path
        The real path of the target.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full; the name does not end in .gpkg; the file exists
        and may not be replaced, is no GeoPackage, or is open in another program.
    """
    target = Path(os.path.realpath(path))
    if target.suffix.lower() != ".gpkg":
        raise OutputError(f"an output named {target.name}", expected="a name that ends in .gpkg")
    check_file_target(target, overwrite=overwrite)
    _check_not_held(target)
    return target


def _check_not_held(target: Path) -> None:
    """Refuse a target with a log beside it, of another kind, or locked by another program."""
    for ending in ("-wal", "-journal"):
        if os.path.lexists(f"{target}{ending}"):
            raise OutputError(
                f"{target.name}{ending} lies beside {target}: another program has the plan open, "
                "or closed it badly",
                do="close it there; if nothing has it open, open and close it once in a GIS",
            )
    if not target.exists():
        return
    if not is_geopackage(target):
        raise OutputError(f"{target} is not a GeoPackage and is left alone", do="give another name")
    try:
        with contextlib.closing(_connect(target, "rw")) as db:
            db.execute("BEGIN EXCLUSIVE")
            db.execute("ROLLBACK")
    except sqlite3.Error as error:
        if "locked" in str(error) or "busy" in str(error):
            raise OutputError(
                f"{target} is open in another program", do="close it there and run again"
            ) from error
        raise OutputError(
            f"{target} cannot be opened for replacing ({error})", do="give another name"
        ) from error


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(uri, uri=True, timeout=1.0, isolation_level=None)


def is_geopackage(path: Path) -> bool:
    """Tell from the first bytes of a file whether it is a GeoPackage."""
    try:
        with open(path, "rb") as file:
            head = file.read(72)
    except OSError:
        return False
    return head.startswith(b"SQLite format 3\0") and head[68:72] in _APPLICATION_IDS


def write_geopackage(
    path: str | os.PathLike[str],
    layers: Sequence[Layer],
    *,
    tables: Sequence[Layer] = (),
    overwrite: bool = False,
    units: Units = "si",
) -> Path:
    """Write a whole plan: layers, tables, field guide, descriptions and default symbols.

    Parameters
    ----------
    path
        The GeoPackage to write.
    layers
        Layers with geometries, all in one CRS, in the order a GIS lists them.
    tables
        Tables without geometries.
    overwrite
        Whether an existing GeoPackage may be replaced.
    units
        ``si`` or ``us``: names and units of the fields.

    Returns
    -------
    Path
        The real path of the file written.

    Raises
    ------
    OutputError
        The file cannot be written; an old file is then as it was.
    LayerError
        Two layers with one name or different coordinate reference systems.
    """
    check_units(units)
    check_names([*layers, *tables])
    target = check_target(path, overwrite)
    sweep(target.parent)
    part = part_path(target)
    guide = Layer("field_guide", None, guide_columns(units))
    everything = [*layers, *tables, guide]
    try:
        with _fixed_settings():
            for layer in everything:
                _write_layer(part, layer, units)
        with contextlib.closing(_connect(part, "rw")) as db:
            write_extras(db, everything, units, fixed_date=FIXED_DATE)
            _check_written(db, everything)
        _check_not_held(target)
        move_into_place(part, target, overwrite=overwrite)
    except OutputError:
        raise
    except (
        OSError,
        sqlite3.Error,
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.GeometryError,
        pyogrio.errors.FeatureError,
        pyogrio.errors.FieldError,
    ) as error:
        raise write_error(target, no_room(part) or error) from error
    finally:
        discard(part)
    return target


@contextlib.contextmanager
def _fixed_settings() -> Iterator[None]:
    """Set what the file's bytes depend on, and put it back afterwards."""
    wanted = {
        "OGR_CURRENT_DATE": FIXED_DATE,
        # The file is synced once, when it is whole.
        "OGR_SQLITE_SYNCHRONOUS": "OFF",
        "OGR_SQLITE_JOURNAL": "DELETE",
        "CREATE_METADATA_TABLES": "NO",
    }
    before = {key: pyogrio.get_gdal_config_option(key) for key in wanted}
    pyogrio.set_gdal_config_options(wanted)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _write_layer(part: Path, layer: Layer, units: Units) -> None:
    """Write one layer or table into the unfinished file."""
    spec = LAYERS[layer.name]
    columns = convert_columns(layer.name, layer.columns, units)
    kinds = {field.name_in(units): field.kind for field in fields_of(layer.name)}
    data: list[NDArray[Any]] = [
        values.astype(_OGR_DTYPES[kinds[name]]) for name, values in columns.items()
    ]
    # Texts that are missing are masked; numbers that are missing are NaN, written as NULL.
    mask = [
        np.array([v is None for v in values], dtype=np.bool_) if kinds[name] == "text" else None
        for name, values in columns.items()
    ]
    options: dict[str, Any] = {"layer_options": {"DESCRIPTION": spec.meaning}}
    geometry = None
    if layer.geometry is not None:
        geometry = np.asarray(shapely.to_wkb(layer.geometry), dtype=object)
        options["layer_options"] |= {"SPATIAL_INDEX": "YES", "GEOMETRY_NAME": "geom"}
        options |= {"geometry_type": spec.geometry, "crs": CRS(layer.crs).to_wkt()}
    if not part.exists():
        options["dataset_options"] = {"VERSION": "1.3"}
    pyogrio.raw.write(
        str(part),
        geometry,
        data,
        list(columns),
        field_mask=mask,
        layer=layer.name,
        driver="GPKG",
        append=part.exists(),
        nan_as_null=True,
        **options,
    )


def _check_written(db: sqlite3.Connection, layers: Sequence[Layer]) -> None:
    """Check the unfinished file: sound, and every feature in it."""
    verdict = db.execute("PRAGMA quick_check").fetchone()[0]
    if verdict != "ok":
        raise sqlite3.DatabaseError(f"the file written is not sound: {verdict}")
    for layer in layers:
        (count,) = db.execute(f'SELECT count(*) FROM "{layer.name}"').fetchone()
        if count != layer.rows:
            raise sqlite3.DatabaseError(
                f"{count} of {layer.rows} features of {layer.name} were written"
            )


def read_layers(path: str | os.PathLike[str]) -> dict[str, Layer]:
    """Read a plan back, in SI units whichever it was written in.

    Parameters
    ----------
    path
        A GeoPackage written by :func:`write_geopackage`, perhaps edited in a GIS since.

    Returns
    -------
    dict
        Layers and tables by name. Layers and fields that are not in the field table are left out.

    Raises
    ------
    OutputError
        No such file, or not a GeoPackage.
    """
    source = Path(path)
    if not source.is_file():
        raise OutputError(f"no file {source}", expected="a plan (.gpkg)")
    if not is_geopackage(source):
        raise OutputError(f"{source} is not a GeoPackage", expected="a plan (.gpkg)")
    try:
        names = [str(row[0]) for row in pyogrio.list_layers(source)]
        return {name: read_layer(source, name) for name in names if name in LAYERS}
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise OutputError(
            f"{source} cannot be read ({error})", expected="a plan (.gpkg)"
        ) from error


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


def read_layer(path: str | os.PathLike[str], name: str) -> Layer:
    """Read one layer or table of a plan, in SI units whichever it was written in.

    Raises
    ------
    OutputError
        The file cannot be read.
    LayerError
        The layer does not keep to the field table.
    """
    content = read_content(path, name)
    return Layer(name, content.geometry, content.columns, content.crs)


def read_content(path: str | os.PathLike[str], name: str) -> Content:
    """Read one layer or table as it stands in the file, in SI units.

    Raises
    ------
    OutputError
        The file cannot be read.
    """
    try:
        return _read_content(Path(path), name)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise OutputError(f"{path} cannot be read ({error})", expected="a plan (.gpkg)") from error


def _read_content(source: Path, name: str) -> Content:
    meta, _, shapes, values = pyogrio.raw.read(source, layer=name)
    found = dict(zip([str(n) for n in meta["fields"]], values, strict=True))
    columns = {}
    for field in fields_of(name):
        if field.name in found:
            columns[field.name] = _from_file(field, found[field.name], 1.0)
        elif field.name_us in found:
            columns[field.name] = _from_file(field, found[field.name_us], field.factor)
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
    """Tell in which units a plan was written, from the names of its fields."""
    us_names = {field.name_us for field in FIELDS if field.name_us != field.name}
    for row in pyogrio.list_layers(path):
        if row[0] in LAYERS and us_names & set(pyogrio.read_info(path, layer=row[0])["fields"]):
            return "us"
    return "si"
