"""Writing a plan as one GeoPackage, whole or not at all.

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
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from cli.file_errors import OutputError
from cli.plan.field_guide import guide_columns
from cli.plan.fields import LAYERS, Units, check_units, convert_columns, schema
from cli.plan.geopackage_extras import write_extras
from cli.plan.geopackage_reading import is_geopackage
from cli.plan.layers import Layer, check_names
from cli.plan.relief_layer import ReliefPicture, check_relief, start_with_relief
from cli.plan.safe_files import (
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


def write_geopackage(
    path: str | os.PathLike[str],
    layers: Sequence[Layer],
    *,
    tables: Sequence[Layer] = (),
    relief: ReliefPicture | None = None,
    overwrite: bool = False,
    units: Units = "si",
) -> Path:
    """Write a whole plan: ground, layers, tables, field guide, descriptions and default symbols.

    Parameters
    ----------
    path
        The GeoPackage to write.
    layers
        Layers with geometries, all in one CRS, in the order a GIS lists them.
    tables
        Tables without geometries.
    relief
        Shaded ground; None leaves it out.
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
        if relief is not None:
            start_with_relief(part, relief, fixed_date=FIXED_DATE)
        with _fixed_settings():
            for layer in everything:
                _write_layer(part, layer, units)
        with contextlib.closing(_connect(part, "rw")) as db:
            write_extras(db, everything, units, fixed_date=FIXED_DATE)
            _check_written(db, everything)
            if relief is not None:
                check_relief(db, relief)
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
    kinds = schema(layer.name, units)
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
