"""From the findings of a run to the layers of a plan, and the record of the run itself."""

from __future__ import annotations

import hashlib
import importlib.metadata
import os
import platform
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyogrio
import pyproj
import rasterio
from numpy.typing import NDArray

from cli.fields import Units
from cli.layers import Layer, empty_layer, table
from cli.words import in_units
from siting.screening import Screening
from terrain.reading import Source

#: Layers with geometries in the order a GIS lists them, the lowest first.
DRAWING_ORDER = (
    "ranch",
    "drainage_areas",
    "channels",
    "cross_sections",
    "structure_lines",
    "headcuts",
    "sites",
)
#: Columns that hold sentences with figures in them.
_SENTENCES = {
    "sites": ("reason", "caution", "flood_note"),
    "headcuts": ("evidence",),
    "floods": ("note",),
    "flood_inputs": ("tc_method",),
}
_VERSIONED = ("gullywalk", "numpy", "numba", "shapely", "rasterio", "pyogrio", "pyproj")


class Features(Protocol):
    """Geometries and their SI columns."""

    @property
    def geometry(self) -> NDArray[Any]:
        """Shapely geometries, shape ``(n,)``."""

    @property
    def columns(self) -> Mapping[str, NDArray[Any]]:
        """Columns named as the field table says, each of shape ``(n,)``."""


def layer_of(name: str, features: Features, crs: pyproj.CRS | None) -> Layer:
    """Make a layer of the plan from geometries and columns."""
    if not len(features.geometry):
        return empty_layer(name, crs)
    return Layer(name, features.geometry, features.columns, crs)


def plan_layers(found: Screening, *, name: str, units: Units = "si") -> dict[str, Layer]:
    """Layers of a plan by name, in the order a GIS lists them.

    Parameters
    ----------
    found
        What the screening found.
    name
        Name of the ranch.
    units
        Units of the figures in sentences; columns are SI in any case and turned on writing.
    """
    crs = found.raster.grid.crs
    layers = {}
    for layer in DRAWING_ORDER:
        if layer != "ranch":
            layers[layer] = _worded(layer_of(layer, getattr(found, layer), crs), units)
        elif found.ranch is None:
            layers[layer] = empty_layer(layer, crs)
        else:
            columns = {
                "name": np.array([name], dtype=object),
                "area_ha": np.array([found.ranch.area / 1e4]),
            }
            layers[layer] = Layer(layer, np.array([found.ranch], dtype=object), columns, crs)
    return layers


def plan_tables(found: Screening, *, units: Units = "si") -> list[Layer]:
    """Tables of a plan beside the record of the run: floods, what they were given, and the rain."""
    return [
        _worded(Layer(name, None, columns) if _rows(columns) else empty_layer(name), units)
        for name, columns in found.tables.items()
    ]


def _rows(columns: Mapping[str, NDArray[Any]]) -> int:
    return len(next(iter(columns.values())))


def _worded(layer: Layer, units: Units) -> Layer:
    """Turn the figures in a layer's sentences into the units asked for."""
    names = _SENTENCES.get(layer.name, ())
    if units == "si" or not names or not layer.rows:
        return layer
    columns = dict(layer.columns)
    for name in names:
        texts = np.empty(layer.rows, dtype=object)
        texts[:] = [None if t is None else in_units(t, units) for t in columns[name]]
        columns[name] = texts
    return Layer(layer.name, layer.geometry, columns, layer.crs)


def file_source(path: str) -> Source:
    """Name, size and hash of a file that is not a raster; a folder keeps an empty hash."""
    if not os.path.isfile(path):
        return Source(path, 0, "")
    with open(path, "rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return Source(path, os.path.getsize(path), digest)


def versions() -> dict[str, str]:
    """Versions of everything that a result may depend on."""
    found = {}
    for name in _VERSIONED:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return {
        **found,
        "GDAL for rasters": str(rasterio.__gdal_version__),
        "GDAL for vectors": str(pyogrio.__gdal_version_string__),
        "PROJ": str(pyproj.proj_version_str),
        "Python": platform.python_version(),
    }


def run_info(
    found: Screening,
    *,
    inputs: Sequence[tuple[str, Source]],
    parameters: Mapping[str, object],
    notes: Iterable[str],
    problems: Iterable[str],
) -> Layer:
    """Record of a run: what it was given, how it was set, what it met.

    There is no date in it and no folder, so that the same input gives the same bytes anywhere.

    Parameters
    ----------
    found
        What the screening found.
    inputs
        What each file is for, and the file.
    parameters
        Settings as given; those left to the tool are in the screening's own facts.
    notes, problems
        Plain sentences about the reading of the land.
    """
    rows: list[tuple[str, str]] = [("summary", found.summary)]
    for purpose, source in inputs:
        name = Path(source.path).name
        rows.append((purpose, f"{name}, {source.size_bytes} bytes, sha256 {source.sha256}"))
    rows += [
        (f"setting: {name}", str(value)) for name, value in parameters.items() if value is not None
    ]
    rows += [(str(name), str(value)) for name, value in found.facts.items()]
    for kind, texts in (
        ("problem", problems),
        ("note", (*notes, *found.notes)),
        ("caution", found.cautions),
    ):
        rows += [(f"{kind} {i}", text) for i, text in enumerate(texts, start=1)]
    rows += [(f"version: {name}", version) for name, version in versions().items()]
    return table("run_info", _unique(rows))


def _unique(rows: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Give repeated names a number: the name is the table's key."""
    seen: dict[str, int] = {}
    out = []
    for name, value in rows:
        seen[name] = seen.get(name, 0) + 1
        out.append((name if seen[name] == 1 else f"{name} ({seen[name]})", value))
    return out
