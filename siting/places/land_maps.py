"""Soil and cover maps, crossed into curve numbers on the cells of the DEM.

Each cell keeps one small number, the pair of its cover and its soil group; what a pair means is
looked up. The mean over a drainage area comes from one accumulation down the flow for all cells
together, never from an overlay for each site.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from siting.floods.curve_numbers import (
    SOIL_GROUPS,
    CoverTable,
    built_in_covers,
    code_text,
    curve_numbers,
    soil_group_index,
)
from siting.floods.flood_errors import CurveNumberError
from siting.floods.rational import RURAL_COEFFICIENTS
from siting.values.siting_remedies import SitingRemedy
from siting.values.wording import hectares, listed
from terrain.channels.network import HECTARE_M2
from terrain.values.arrays import FloatArray, floats, frozen, read_only
from terrain.values.grid import Grid
from terrain.values.memory import ANALYSIS_BYTES_PER_CELL, READING_BYTES_PER_CELL, require_memory
from terrain.values.parallel import band_edges
from terrain.values.raster import Raster
from terrain.values.reading_remedies import ReadingRemedy
from terrain.vectors.burning import CodeMap, burn_patches, read_codes
from terrain.vectors.patches import MapError, read_patches

#: Names that the field with the soil group usually has (soil surveys, from memory).
SOIL_FIELDS: Final = ("hydgrpdcd", "hydgrp", "hydrologic_group", "hydrolgrp_d", "hsg", "soil_group")
#: Names that the field with the code of the cover usually has.
COVER_FIELDS: Final = ("code", "gridcode", "cover_code", "nlcd", "land_cover", "cover", "value")
#: What maps add to a run: pairs (2), mean curve numbers (4), and the sums that they are made from.
MAPS_BYTES_PER_CELL: Final = 10
#: Codes by which a raster of cover says that it has none.
_NOTHING: Final = frozenset({"0", "127", "128", "250", "255"})
_VECTORS: Final = (".gpkg", ".geojson", ".json", ".shp", ".kml", ".zip", ".gml", ".fgb", ".sqlite")
#: Slopes between flat, rolling and hilly ground (NRCS module 206D, table 2).
SLOPE_CLASSES: Final = (0.05, 0.10)
#: Groups and one column for none.
_COLUMNS: Final = len(SOIL_GROUPS) + 1


@dataclass(frozen=True, slots=True)
class LandSettings:
    """Which maps of soil and cover to read, and how.

    Parameters
    ----------
    soils, cover
        Files: polygons for soils, polygons or a raster for cover.
    soils_field, soils_layer, cover_field, cover_layer
        Field and layer, where they cannot be told from the names.
    condition
        poor, fair or good.
    table
        Cover table; None for that of the package.
    drained
        Take dual soil groups such as A/D as drained: the first letter counts.
    """

    soils: str | os.PathLike[str]
    cover: str | os.PathLike[str]
    soils_field: str | None = None
    soils_layer: str | None = None
    cover_field: str | None = None
    cover_layer: str | None = None
    condition: str = "fair"
    table: CoverTable | None = None
    drained: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LandMap:
    """Curve numbers on the cells of a grid.

    Parameters
    ----------
    pair
        uint16, shape ``(rows, cols)``: pair of cover and soil group of each cell.
    numbers
        Curve number of each pair, NaN for none.
    rational
        Coefficient C of the rational method of each pair on flat, rolling and hilly ground, shape
        ``(pairs, 3)``.
    notes, cautions
        Plain sentences: what was done; holes and codes that are not known, with their areas.
    source
        Where the numbers come from, in words.
    has_holes
        Whether any ground that counts has no curve number.
    """

    pair: NDArray[np.uint16]
    numbers: FloatArray
    rational: FloatArray
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    has_holes: bool = True

    def looked_up(self, values: NDArray[Any], dtype: type[Any]) -> NDArray[Any]:
        """Value of each cell from the value of each pair, band by band."""
        out = np.empty(self.pair.shape, dtype=dtype)
        table = values.astype(dtype)
        for a, b in band_edges(self.pair.shape[0]):
            np.take(table, self.pair[a:b], out=out[a:b], mode="clip")
        return out


def read_land(settings: LandSettings, raster: Raster) -> LandMap:
    """Read both maps onto a raster's cells and cross them.

    Raises
    ------
    MapError
        A map that cannot be used.
    CurveNumberError
        A soil group that is none, or no cell with a curve number.
    MemoryNeedError
        The maps, and the analysis after them, would not fit.
    """
    grid = raster.grid
    require_memory(
        grid.size,
        do=SitingRemedy.ONE_CURVE_NUMBER,
        bytes_per_cell=ANALYSIS_BYTES_PER_CELL - READING_BYTES_PER_CELL + MAPS_BYTES_PER_CELL,
    )
    if grid.crs is None:
        raise MapError(
            "soil and cover maps for a DEM whose place is not known",
            expected="a DEM with a coordinate system",
            do=ReadingRemedy.GIVE_CRS_OF_DEM,
        )
    soils = burn_patches(
        read_patches(
            settings.soils,
            grid.crs,
            fields=SOIL_FIELDS,
            field=settings.soils_field,
            layer=settings.soils_layer,
            name_field=SitingRemedy.NAME_SOILS_FIELD,
            name_layer=SitingRemedy.NAME_SOILS_LAYER,
        ),
        grid,
    )
    cover = _read_cover(settings, grid)
    return cross(
        soils,
        cover,
        raster.valid,
        cell_area_m2=grid.cell_area_m2,
        condition=settings.condition,
        table=settings.table,
        drained=settings.drained,
    )


def _read_cover(settings: LandSettings, grid: Grid) -> CodeMap:
    named = settings.cover_field is not None or settings.cover_layer is not None
    if not named and not os.fspath(settings.cover).lower().endswith(_VECTORS):
        return read_codes(settings.cover, grid)
    assert grid.crs is not None  # checked by the caller
    patches = read_patches(
        settings.cover,
        grid.crs,
        fields=COVER_FIELDS,
        field=settings.cover_field,
        layer=settings.cover_layer,
        name_field=SitingRemedy.NAME_COVER_FIELD,
        name_layer=SitingRemedy.NAME_COVER_LAYER,
    )
    return burn_patches(patches, grid)


def cross(
    soils: CodeMap,
    cover: CodeMap,
    valid: NDArray[np.bool_],
    *,
    cell_area_m2: float,
    condition: str = "fair",
    table: CoverTable | None = None,
    drained: bool = False,
) -> LandMap:
    """Cross a soil map and a cover map of one grid into curve numbers.

    Parameters
    ----------
    soils, cover
        Maps of hydrologic groups and of cover codes.
    valid
        Cells that count, shape ``(rows, cols)``.
    cell_area_m2
        Area of a cell.
    condition, table, drained
        See `LandSettings`.

    Raises
    ------
    CurveNumberError
        A soil group that is none, an unknown condition, or no cell with a curve number.
    """
    table = table or built_in_covers()
    group_of = _soil_groups(soils, drained=drained)
    pair = np.empty(soils.index.shape, dtype=np.uint16)
    counts = np.zeros((len(cover.codes) + 1) * _COLUMNS, dtype=np.int64)
    per_soil = np.zeros(len(soils.codes) + 1, dtype=np.int64)
    for a, b in band_edges(len(pair)):
        column = (group_of + 1).astype(np.uint16)[soils.index[a:b]]
        pair[a:b] = cover.index[a:b].astype(np.uint16) * np.uint16(_COLUMNS) + column
        known = valid[a:b]
        counts += np.bincount(pair[a:b][known], minlength=counts.size)
        per_soil += np.bincount(soils.index[a:b][known], minlength=per_soil.size)
    codes = np.array(["", *(_code(c, table) for c in cover.codes)], dtype=object)
    group = np.tile(np.arange(-1, len(SOIL_GROUPS)), codes.size)
    found = curve_numbers(
        np.repeat(codes, _COLUMNS).astype(str), group, condition=condition, table=table
    )
    values = found.values.copy()
    area = floats(counts * (cell_area_m2 / HECTARE_M2))
    if not area[np.isfinite(values)].sum() > 0:
        raise CurveNumberError(
            f"no ground of the DEM has a curve number: {cover.name} holds the codes "
            f"{listed([repr(c) for c in codes[1:6]])}, {soils.name} the groups "
            f"{listed([str(c) for c in soils.codes[:5]])}",
            expected=f"cover codes of {table.name} ({', '.join(table.codes)}) over soil groups "
            "A to D",
            do=SitingRemedy.OWN_COVERS,
        )
    from_b = float(area[found.from_group_b & np.isfinite(values)].sum())
    return LandMap(
        pair=read_only(pair),
        numbers=frozen(values),
        notes=(
            *soils.notes,
            *cover.notes,
            *_dual_notes(soils, floats(per_soil * (cell_area_m2 / HECTARE_M2)), drained=drained),
            *(
                [
                    f"{hectares(from_b)} of soil group A took the curve number of group B: the "
                    "table has none for A there."
                ]
                if from_b
                else []
            ),
        ),
        cautions=_holes(area, codes, group, values),
        rational=_rational(codes, group, table),
        source=f"{soils.name} crossed with {cover.name} through {table.name}, {condition} "
        "condition",
        has_holes=bool((np.isnan(values) & (counts > 0)).any()),
    )


def _code(code: object, table: CoverTable) -> str:
    """Code as text; what usually stands for no data is none unless the table holds it."""
    text = code_text(code)
    return "" if text in _NOTHING and text not in table.codes else text


def _soil_groups(soils: CodeMap, *, drained: bool) -> NDArray[np.int64]:
    """Group index of each soil code, the first for no soil."""
    try:
        groups = [soil_group_index(str(code), drained=drained) for code in soils.codes]
    except CurveNumberError as error:
        raise CurveNumberError(
            f"{soils.name} holds the {error.found}", expected=error.expected, do=error.do
        ) from error
    return np.array([-1, *groups])


def _dual_notes(soils: CodeMap, area_ha: FloatArray, *, drained: bool) -> list[str]:
    dual = {str(c): float(area_ha[i]) for i, c in enumerate(soils.codes, 1) if "/" in str(c)}
    dual = {code: area for code, area in dual.items() if area > 0}
    if not dual:
        return []
    names = listed([f"{code} {hectares(area)}" for code, area in dual.items()])
    taken = "drained: the first letter counts" if drained else "not drained: they count as D"
    return [f"Dual soil groups ({names}) are taken as {taken}."]


def _holes(
    area_ha: FloatArray,
    codes: NDArray[Any],
    group: NDArray[np.int64],
    values: FloatArray,
) -> tuple[str, ...]:
    """Say what ground has no curve number, and why."""
    missing = np.isnan(values) & (area_ha > 0)
    if not missing.any():
        return ()
    code = np.repeat(codes, _COLUMNS)
    reasons: dict[str, float] = {}
    for i in np.flatnonzero(missing):
        if code[i] == "":
            why = "no cover"
        elif np.isnan(values.reshape(-1, _COLUMNS)[i // _COLUMNS, 1:]).all():
            why = f"cover code {code[i]} is not in the table"
        elif group[i] < 0:
            why = "no soil group"
        else:
            why = f"cover {code[i]} has no number for group {SOIL_GROUPS[group[i]]}"
        reasons[why] = reasons.get(why, 0.0) + float(area_ha[i])
    total = float(area_ha.sum())
    gone = sum(reasons.values())
    parts = listed([f"{why} ({hectares(area)})" for why, area in reasons.items()])
    return (
        f"{hectares(gone)} of {hectares(total)} have no curve number and are left out of the mean: "
        f"{parts}.",
    )


def _rational(codes: NDArray[Any], group: NDArray[np.int64], table: CoverTable) -> FloatArray:
    """C of each pair of cover and soil for flat, rolling and hilly ground, shape ``(pairs, 3)``."""
    kind = {"woods": "woodland", "row_crops": "cultivated"}
    out = np.empty((group.size, len(SLOPE_CLASSES) + 1))
    for i, which in enumerate(group):
        code = str(codes[i // _COLUMNS])
        cover = RURAL_COEFFICIENTS[kind.get(table.codes.get(code, code), "pasture")]
        soil = {0: 0, 3: 2}.get(int(which), 1)
        out[i] = [row[soil] for row in cover.values()]
    return frozen(out)
