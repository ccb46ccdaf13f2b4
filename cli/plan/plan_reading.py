"""A plan read back for whatever is made from it: one reader, one set of clear errors."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import NDArray
from pyproj import CRS

from cli.file_errors import OutputError
from cli.plan.explanation import records
from cli.plan.fields import LAYERS, Units
from cli.plan.geopackage_reading import (
    Content,
    is_geopackage,
    plan_units,
    read_content,
    read_layer,
)
from cli.plan.layers import Layer, empty_layer
from cli.plan.plan_format import ROW, check_command, made_since, newest, number_of, stored

#: A file of format 1 without these was made before they existed.
NEEDED = (
    "reasons",
    "profile_points",
    "section_points",
    "settings_used",
    "field_notes",
    "site_records",
    "structure_types",
    "structure_outlines",
)
_AGAIN = "make it again with gullywalk screen"
_A_PLAN = "a plan made by gullywalk screen"


class _Layers(Mapping[str, Layer]):
    """Layers of a plan by name, each read when it is first asked for."""

    def __init__(self, source: Path, names: tuple[str, ...], number: int) -> None:
        self._source, self._names, self._number = source, names, number
        self._read: dict[str, Layer] = {}

    def __getitem__(self, name: str) -> Layer:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._read:
            self._read[name] = self._layer(name)
        return self._read[name]

    def _layer(self, name: str) -> Layer:
        if stored(name, self._number).table is None:
            return empty_layer(name, None if LAYERS[name].geometry is None else self["sites"].crs)
        layer = read_layer(self._source, name, format_number=self._number)
        made = {
            field: make(layer.columns) for field, make in made_since(name, self._number).items()
        }
        if not made:
            return layer
        return Layer(name, layer.geometry, {**layer.columns, **made}, layer.crs)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


@dataclass(frozen=True, slots=True, eq=False)
class PlanFile:
    """A plan on disk; numbers are SI whichever units it was written in.

    Parameters
    ----------
    path
        The file.
    units
        Units that it was written in: what its reader is used to. Sentences are in these.
    layers
        Layers and tables by name, read when they are first asked for. A layer's ``geometry`` is an
        array of shapely geometries, its ``columns`` are SI arrays by SI name.
    run_info
        Record of the run, name to value.
    format_number
        Format of the file (see `cli.plan.plan_format`); what is read is in the form of today.
    """

    path: Path
    units: Units
    layers: Mapping[str, Layer]
    run_info: Mapping[str, str]
    format_number: int

    @property
    def name(self) -> str:
        """Name of the file without its folder."""
        return self.path.name

    @property
    def sites(self) -> Mapping[str, NDArray[Any]]:
        """SI columns of the sites, in the order of their numbers; may be empty."""
        return self.layers["sites"].columns

    @property
    def crs(self) -> CRS | None:
        """Coordinate reference system of every layer."""
        return self.layers["sites"].crs

    @property
    def version(self) -> str:
        """Version of the program that made it; empty where the file does not say."""
        return self.run_info.get("version: gullywalk", "")

    def rows(self, name: str, site_id: int | None = None) -> list[dict[str, Any]]:
        """Rows of a layer or table, or those about one site, in the file's order.

        Unknown numbers are NaN, unknown texts None.
        """
        layer = self.layers[name]
        return records(layer, None if site_id is None else layer.columns["site_id"] == site_id)

    def unchecked(self, name: str) -> Content:
        """Read a layer as it stands in the file, SI, whatever a person has typed into it.

        Codes that are not on the list, missing geometries and ids that stand twice are kept, to
        be listed one by one; ``layers`` refuses such a layer as a whole.
        """
        if stored(name, self.format_number).table is None:
            layer = self.layers[name]
            return Content(name, layer.geometry, dict(layer.columns), layer.crs)
        return read_content(self.path, name, format_number=self.format_number)


def read_plan(path: str | os.PathLike[str], *, command: str | None = None) -> PlanFile:
    """Open a plan.

    Parameters
    ----------
    path
        A file made by ``gullywalk screen``, perhaps edited in a GIS since.
    command
        Command that reads it, one of `cli.plan.plan_format.READ_FROM`; None for what
        needs no more than every format has.

    Returns
    -------
    PlanFile
        A plan without sites is a plan.

    Raises
    ------
    OutputError
        No such file, no GeoPackage, a damaged one, one without sites' layer, one of a format that
        the command or this version does not read, or one that another program holds locked.
    """
    source = Path(path)
    names, number = _contents(source)
    if "sites" not in names:
        raise OutputError(f"{source.name} is not a plan: it has no layer 'sites'", expected=_A_PLAN)
    lacking = [name for name in NEEDED if name not in names]
    if lacking:
        raise OutputError(
            f"{source.name} was made by an older version: it has no table '{lacking[0]}'",
            do=_AGAIN,
        )
    if command is not None:
        check_command(source.name, number, command)
    layers = _Layers(source, names, number)
    run = records(layers["run_info"]) if "run_info" in names else []
    return PlanFile(
        path=source,
        units=plan_units(source),
        layers=layers,
        run_info={str(row["name"]): str(row["value"] or "") for row in run},
        format_number=number,
    )


def _contents(source: Path) -> tuple[tuple[str, ...], int]:
    """Names of the layers and tables that belong to a plan, in its own order, and its format."""
    if not source.is_file():
        raise OutputError(f"no file {source}", expected=_A_PLAN)
    if not is_geopackage(source):
        raise OutputError(f"{source} is not a GeoPackage", expected=_A_PLAN)
    uri = f"{source.absolute().as_uri()}?mode=ro"
    try:
        with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=1.0)) as db:
            found = {str(row[0]) for row in db.execute("SELECT table_name FROM gpkg_contents")}
            said = _said_format(db) if "run_info" in found else None
    except sqlite3.Error as error:
        text = str(error)
        if "locked" in text or "busy" in text:
            raise OutputError(
                f"{source} is open in another program", do="close it there and run again"
            ) from error
        raise OutputError(f"{source} cannot be read ({text})", expected=_A_PLAN) from error
    number = number_of(source.name, said) if "sites" in found else newest()
    there = {name: stored(name, number).table for name in LAYERS}
    return tuple(n for n, table in there.items() if table is None or table in found), number


def _said_format(db: sqlite3.Connection) -> str | None:
    row = db.execute("SELECT value FROM run_info WHERE name = ?", (ROW,)).fetchone()
    return None if row is None else str(row[0] or "").strip()
