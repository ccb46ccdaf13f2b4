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

from cli.plan.fields import LAYERS, Units
from cli.plan.fields_revising import REVISED_TABLES
from cli.plan.layers import Layer, empty_layer, table
from cli.plan.plan_format import format_row
from cli.plan.unit_sentences import in_units, worded
from siting.screening import Screening
from terrain.reading.dem import Source
from terrain.values.reader_units import telling_in

#: Layers with geometries in the order a GIS lists them, the lowest first.
DRAWING_ORDER = (
    "ranch",
    "drainage_areas",
    "roads",
    "gullies",
    "pools",
    "channels",
    "look_first",
    "cross_sections",
    "structures",
    "structure_lines",
    "headcuts",
    "referred",
    "works",
    "sites",
    "field_notes",
)
#: Tables that are made on writing, and those that only a revised plan has.
_MADE_HERE = ("run_info", "field_guide", *(spec.name for spec in REVISED_TABLES))
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
        Units of the figures in sentences, those that they were told in
        (`terrain.values.reader_units.told_in`); columns are SI in any case and turned on writing.
    """
    crs = found.raster.grid.crs
    layers: dict[str, Layer] = {}
    for layer in DRAWING_ORDER:
        if layer == "field_notes":
            layers[layer] = blank_notes(layers["sites"])
        elif layer != "ranch" and not hasattr(found, layer):
            layers[layer] = empty_layer(layer, crs)
        elif layer != "ranch":
            layers[layer] = worded(layer_of(layer, getattr(found, layer), crs), units)
        elif found.ranch is None:
            layers[layer] = empty_layer(layer, crs)
        else:
            columns = {
                "name": np.array([name], dtype=object),
                "area_ha": np.array([found.ranch.area / 1e4]),
            }
            layers[layer] = Layer(layer, np.array([found.ranch], dtype=object), columns, crs)
    return layers


def blank_notes(sites: Layer) -> Layer:
    """Points at the sites that nothing is written beside yet: what is filled in on site."""
    assert sites.geometry is not None  # a layer of points
    columns = {"site_id": sites.columns["site_id"]}
    return Layer("field_notes", sites.geometry, columns, sites.crs)


def plan_tables(found: Screening, *, units: Units = "si") -> list[Layer]:
    """Tables of a plan beside the record of the run; those that the run did not fill are empty."""
    names = [n for n, spec in LAYERS.items() if spec.geometry is None and n not in _MADE_HERE]
    given = {name: columns for name, columns in found.tables.items() if _rows(columns)}
    return [
        worded(Layer(name, None, given[name]) if name in given else empty_layer(name), units)
        for name in names
    ]


def _rows(columns: Mapping[str, NDArray[Any]]) -> int:
    return len(next(iter(columns.values())))


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
    units = telling_in()
    rows += [(str(name), in_units(str(value), units)) for name, value in found.facts.items()]
    for kind, texts in (
        ("problem", problems),
        ("work", found.work),
        ("note", (*notes, *found.notes)),
        ("caution", found.cautions),
    ):
        rows += [(f"{kind} {i}", in_units(text, units)) for i, text in enumerate(texts, start=1)]
    rows.append(format_row())
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
