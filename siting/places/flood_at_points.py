"""Floods at given points of a raster, without looking for sites."""

from __future__ import annotations

from dataclasses import dataclass

from siting.channels.ground import Land
from siting.places.land_maps import LandMap
from siting.places.site_floods import FloodGauge, FloodSettings, SiteFloods
from siting.places.terrain_settings import TerrainSettings
from siting.values.rules import Rules
from terrain.channels.drainage_areas import snap_points
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.engines import get_engine
from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.errors import ParameterError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True, eq=False)
class PointFloods:
    """Floods at n points.

    Parameters
    ----------
    x_m, y_m
        Where the floods hold: the points moved onto the strongest flow path nearby.
    moved_m
        How far each was moved.
    drainage_area_ha, area_complete
        Land that drains there, and whether the raster holds all of it.
    floods
        Flows and what they rest on.
    settings
        What they were made from.
    """

    x_m: FloatArray
    y_m: FloatArray
    moved_m: FloatArray
    drainage_area_ha: FloatArray
    area_complete: BoolArray
    floods: SiteFloods
    settings: FloodSettings


def floods_at(
    raster: Raster,
    x_m: FloatArray,
    y_m: FloatArray,
    settings: FloodSettings,
    *,
    rules: Rules,
    terrain: TerrainSettings | None = None,
    snap_m: float = 10.0,
    progress: Progress = silent,
) -> PointFloods:
    """Estimate floods at points by every method.

    Parameters
    ----------
    raster
        Elevations.
    x_m, y_m
        Points in the raster's coordinate system.
    settings
        Rain, curve number or maps, methods.
    rules
        Limits, and the roughness of channels.
    terrain
        How water and channels are found; None for the usual way.
    snap_m
        How far a point may be moved to the strongest flow path.
    progress
        Told how far the work is.

    Raises
    ------
    ParameterError
        A point off the raster, or a channel area of ``auto``.
    MapError, FloodInputError
        Maps or settings that cannot be used.
    """
    terrain = terrain or TerrainSettings()
    if isinstance(terrain.channel_area_ha, str):
        raise ParameterError("a channel area of auto", expected="an area such as 0.5ha here")
    settings = settings.on(raster)
    conditioned = get_engine(terrain.engine).condition(
        raster, limits=terrain.carve, progress=progress
    )
    flow = conditioned.flow
    counts = flow.accumulate()
    snapped = snap_points(flow, counts, x_m, y_m, radius_m=snap_m)
    area_ha = terrain.channel_area_ha or default_channel_area_ha(raster.grid.cell_m)
    network = channel_network(flow, counts, channel_area_ha=area_ha)
    land = Land.of(
        conditioned,
        network,
        raster=raster,
        counts=counts,
        rules=rules,
        edge_is_divide=terrain.edge_is_divide,
    )
    progress("estimating floods", 0.0)
    cells: IntArray = snapped.cell
    floods = FloodGauge(land, settings).at(cells)
    progress("estimating floods", 1.0)
    x, y = raster.grid.xy_of(cells)
    return PointFloods(
        x_m=x,
        y_m=y,
        moved_m=snapped.moved_m,
        drainage_area_ha=land.area_ha(cells),
        area_complete=~land.cut.is_cut(cells),
        floods=floods,
        settings=settings,
    )


def land_notes(land: LandMap | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes and cautions of the maps; none without maps."""
    return ((), ()) if land is None else (land.notes, land.cautions)
