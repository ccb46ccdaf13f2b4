"""Soil of beds and banks from a soil map whose field names its class or texture."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.hydraulics.resistance import soil_of
from siting.values.siting_remedies import SitingRemedy
from siting.values.wording import counted, listed
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid
from terrain.values.reading_remedies import ReadingRemedy
from terrain.vectors.patches import MapError, read_patches

#: So many names that are not known are written out.
_NAMED = 5


@dataclass(frozen=True, slots=True)
class EarthFile:
    """A soil map, and the field that names the class or texture of each patch."""

    soils: str | os.PathLike[str]
    field: str
    layer: str | None = None

    def read(self, grid: Grid) -> EarthMap:
        """Read it into the coordinate system of a grid.

        Raises
        ------
        MapError
            It cannot be used, or none of its patches names a soil that is known.
        """
        if grid.crs is None:
            raise MapError(
                "a soil map for a DEM whose place is not known",
                expected="a DEM with a coordinate system",
                do=ReadingRemedy.GIVE_CRS_OF_DEM,
            )
        patches = read_patches(
            self.soils,
            grid.crs,
            fields=(self.field,),
            field=self.field,
            layer=self.layer,
            name_layer=SitingRemedy.NAME_SOILS_LAYER,
        )
        names = ["" if value is None else str(value) for value in patches.values]
        soils = tuple(_symbol(name) for name in names)
        odd = sorted({n for n, s in zip(names, soils, strict=True) if not s} - {""})
        if not any(soils):
            raise MapError(
                f"{patches.name}: field '{patches.field}' names no soil that is known "
                f"({listed(odd[:_NAMED]) or 'it is empty'})",
                expected="symbols such as SM, or textures such as sandy loam",
                do="name another field, or give one soil for all of the land",
            )
        return EarthMap(shapely.STRtree(list(patches.shapes)), soils, _notes(patches.name, odd))


@dataclass(frozen=True, slots=True, eq=False)
class EarthMap:
    """Patches of soil.

    Parameters
    ----------
    tree
        Their outlines, in the coordinates of a raster.
    soils
        Symbol of the class of each; empty where its name is not known.
    notes
        Plain sentences: names that are not known.
    """

    tree: shapely.STRtree
    soils: tuple[str, ...]
    notes: tuple[str, ...]

    def soil_at(self, x_m: float, y_m: float) -> str:
        """Symbol of the soil at a place, the first patch of several; empty where none is known."""
        found: NDArray[Any] = self.tree.query(shapely.Point(x_m, y_m), predicate="intersects")
        return next((self.soils[i] for i in np.sort(found) if self.soils[i]), "")


def _symbol(name: str) -> str:
    """Class of a soil by its name, without what stands before it: ``gravelly sandy loam``."""
    parts = name.replace("_", " ").split()
    for first in range(len(parts)):
        try:
            return soil_of(" ".join(parts[first:])).symbol
        except ParameterError:
            continue
    return ""


def _notes(file: str, odd: Iterable[str]) -> tuple[str, ...]:
    names = list(odd)
    if not names:
        return ()
    shown = names if len(names) <= _NAMED else [*names[:_NAMED], "others"]
    return (
        f"{file}: {counted(len(names), 'name is', 'names are')} of no soil that is known "
        f"({listed(shown)}): what beds and banks stand there is not known either.",
    )
