"""The whole main job as one function: from an elevation raster to ranked sites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from siting.channels.ground import Ground
from siting.channels.gullies import gullies_of
from siting.channels.headcuts import find_headcuts
from siting.channels.reaches import reach_stations
from siting.channels.study_area import CutAreas, StudyArea, reaches_of
from siting.places.flood_at_points import land_notes
from siting.places.site_floods import FloodGauge
from siting.places.terrain_settings import TerrainSettings
from siting.record.feature_tables import (
    channel_table,
    drainage_table,
    headcut_table,
    look_first_table,
    road_table,
    section_table,
    sections_at,
    sections_below,
    site_table,
)
from siting.record.flood_tables import flood_columns, input_columns, rain_columns
from siting.record.gully_rows import form_columns, gully_note, gully_table
from siting.record.head_answers import answer_columns, answer_sentence
from siting.record.screening_notes import cautions_of, facts_of, flood_facts, notes_of, summary_of
from siting.record.structure_tables import Built, built_of
from siting.record.work_tables import referred_table, work_table
from siting.screen_settings import ScreenSettings, SettingsOnRaster
from siting.sites import Sites, find_sites
from siting.values.columns import Columns, FeatureTable
from siting.values.wording import exactly
from terrain.channels.channel_area import pick_channel_area
from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import ChannelNetwork, channel_network, default_channel_area_ha
from terrain.flow.conditioning import Conditioned
from terrain.flow.engines import get_engine
from terrain.incision.gully_shapes import Gullies
from terrain.values.arrays import BoolArray, IntArray
from terrain.values.errors import BoundaryError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster
from terrain.vectors.boundary import mask_of

__all__ = ["FeatureTable", "ScreenSettings", "Screening", "channel_table", "screen"]


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """What a screening found.

    Parameters
    ----------
    raster, conditioned, counts, network
        Terrain.
    ranch
        Polygon of the ranch; None for the whole raster.
    channels, gullies, headcuts, sites, works, referred, drainage_areas
    structures, structure_lines, pools, roads, look_first, cross_sections
        Features with SI columns named as in the field table.
    tables
        Tables without geometries by name.
    work
        What it takes and costs, and what a budget buys.
    notes, cautions
        Plain sentences: what was done and met; what to be careful with.
    summary
        One line.
    facts
        Settings and counts for the record of the run.
    """

    raster: Raster
    conditioned: Conditioned
    counts: NDArray[Any]
    network: ChannelNetwork
    ranch: BaseGeometry | None
    channels: FeatureTable
    gullies: FeatureTable
    headcuts: FeatureTable
    sites: FeatureTable
    works: FeatureTable
    referred: FeatureTable
    drainage_areas: FeatureTable
    structures: FeatureTable
    structure_lines: FeatureTable
    pools: FeatureTable
    roads: FeatureTable
    look_first: FeatureTable
    cross_sections: FeatureTable
    tables: Mapping[str, Columns]
    work: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    summary: str
    facts: dict[str, str]


def screen(
    raster: Raster,
    *,
    boundary_polygon: BaseGeometry | None = None,
    settings: ScreenSettings | None = None,
    progress: Progress = silent,
) -> Screening:
    """Find channels, headcuts and ranked sites on a raster.

    Parameters
    ----------
    raster
        Elevations.
    boundary_polygon
        The ranch, in the raster's coordinate system; without it the whole raster counts. Headcuts
        and sites are those inside it; channels also those that carry water into it.
    settings
        See `ScreenSettings`.
    progress
        Told what is being done and how far it is.

    Raises
    ------
    BoundaryError
        No cell of the raster lies inside the boundary.
    ParameterError
        The channel area is not above zero.
    MapError, FloodInputError
        Maps of soil or cover, or what the floods are made from, cannot be used.
    """
    told = (settings or ScreenSettings()).on(raster)
    terrain = _find_channels(raster, told.terrain, progress)
    ground = _measure_ground(terrain, told, boundary_polygon, progress)
    chosen = _choose_sites(ground, told, progress)
    progress("sizing structures", 0.0)
    built = built_of(
        ground,
        chosen.sites,
        judging=told.judging,
        means=told.means,
        rainfall=told.floods.rainfall,
        keep=told.build.keep,
        design_period_yr=told.build.design_period_yr,
    )
    progress("sizing structures", 1.0)
    progress("drawing features", 0.0)
    gullies = gullies_of(ground)
    features = _draw_features(ground, gullies, chosen, built)
    progress("drawing features", 1.0)
    record = _write_record(terrain, ground, told, chosen, built)
    notes = (*record.notes, *gully_note(gullies))
    return Screening(
        raster=raster,
        conditioned=terrain.conditioned,
        counts=terrain.counts,
        network=terrain.network,
        ranch=boundary_polygon,
        channels=features.channels,
        gullies=features.gullies,
        headcuts=features.headcuts,
        sites=features.sites,
        works=features.works,
        referred=features.referred,
        drainage_areas=features.drainage_areas,
        structures=built.structures,
        structure_lines=built.structure_lines,
        pools=built.pools,
        roads=road_table(told.build.keep),
        look_first=look_first_table(chosen.sites.look_first, crs=raster.grid.crs),
        cross_sections=features.cross_sections,
        tables=_tables(told, chosen, built),
        work=record.work,
        notes=notes,
        cautions=record.cautions,
        summary=record.summary,
        facts=record.facts,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Terrain:
    """Where water goes, and the channels it makes; counts of cells, shape ``(rows, cols)``."""

    raster: Raster
    conditioned: Conditioned
    counts: NDArray[Any]
    network: ChannelNetwork
    area_words: str


def _find_channels(raster: Raster, settings: TerrainSettings, progress: Progress) -> _Terrain:
    conditioned = get_engine(settings.engine).condition(
        raster, limits=settings.carve, progress=progress
    )
    counts = conditioned.flow.accumulate()
    area_ha, how_area = _channel_area_ha(settings, conditioned, counts)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area_ha)
    progress("drawing channels", 1.0)
    return _Terrain(raster, conditioned, counts, network, f"{exactly(area_ha, 'ha')} ({how_area})")


def _channel_area_ha(
    settings: TerrainSettings, conditioned: Conditioned, counts: NDArray[Any]
) -> tuple[float, str]:
    """Channel area and how it was settled."""
    usual = default_channel_area_ha(conditioned.raster.grid.cell_m)
    given = settings.channel_area_ha
    if given is None:
        return usual, "default for the cell size"
    if isinstance(given, str):
        picked = pick_channel_area(conditioned.flow, counts, conditioned.raster)
        if not picked.settled:
            return usual, "default: the ground does not tell"
        return picked.channel_area_ha, "picked from the ground by the constant-drop test"
    return float(given), "given"


def _measure_ground(
    terrain: _Terrain,
    told: SettingsOnRaster,
    boundary_polygon: BaseGeometry | None,
    progress: Progress,
) -> Ground:
    """Walk the channels for headcuts and stations; say what is whole and what is the ranch."""
    raster, conditioned, counts = terrain.raster, terrain.conditioned, terrain.counts
    network = terrain.network
    heads = find_headcuts(raster, conditioned, counts, network, progress=progress)
    stations = reach_stations(raster, network, counts, headcuts=heads, progress=progress)
    catchments = Catchments.of(conditioned.flow, counts)
    ranch = None if boundary_polygon is None else _ranch_mask(raster, boundary_polygon)
    return Ground(
        raster=raster,
        conditioned=conditioned,
        counts=counts,
        network=network,
        catchments=catchments,
        cut=CutAreas.of(catchments, edge_is_divide=told.terrain.edge_is_divide),
        headcuts=heads,
        stations=stations,
        rules=told.rules,
        ranch=ranch,
    )


def _ranch_mask(raster: Raster, polygon: BaseGeometry) -> BoolArray:
    mask = mask_of(polygon, raster.grid)
    if not (mask & raster.valid).any():
        raise BoundaryError(
            "no ground of the raster lies inside the boundary",
            expected="a boundary that covers some of its cells",
            do="check that boundary and DEM belong together",
        )
    return mask


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """Sites in their order, and what was left out."""

    sites: Sites
    left_out: tuple[str, ...]


def _choose_sites(ground: Ground, told: SettingsOnRaster, progress: Progress) -> _Chosen:
    progress("choosing sites", 0.0)
    build = told.build
    gauge = FloodGauge(ground, told.floods)
    sites, left_out = find_sites(ground, gauge, build)
    del gauge  # holds up to 20 bytes a cell
    progress("choosing sites", 1.0)
    return _Chosen(sites, left_out)


@dataclass(frozen=True, slots=True, eq=False)
class _Features:
    """Features of the ground and of the sites; those of the structures come with `Built`."""

    channels: FeatureTable
    gullies: FeatureTable
    headcuts: FeatureTable
    sites: FeatureTable
    works: FeatureTable
    referred: FeatureTable
    drainage_areas: FeatureTable
    cross_sections: FeatureTable


def _draw_features(
    ground: Ground, gullies: Gullies | None, chosen: _Chosen, built: Built
) -> _Features:
    network, ranch, sites = ground.network, ground.ranch, chosen.sites
    shown = np.ones(network.size, dtype=np.bool_) if ranch is None else reaches_of(network, ranch)
    inside = _headcuts_inside(ground)
    below = sections_below(ground, inside)
    no_head = sites.are(lambda s: not s.proposal.at_head)
    crs = ground.raster.grid.crs
    return _Features(
        channels=channel_table(
            ground.raster,
            network,
            ground.cut.is_cut,
            shown=shown,
            more=form_columns(ground, gullies, shown),
        ),
        gullies=gully_table(ground, gullies, inside),
        headcuts=headcut_table(ground, inside, below, more=answer_columns(ground, sites, inside)),
        sites=site_table(sites, crs=crs, more=built.columns),
        works=work_table(sites, built.takes, crs),
        referred=referred_table(sites, built.effects, built.takes.works, crs),
        drainage_areas=drainage_table(ground, sites),
        cross_sections=section_table(below, sections_at(ground, sites.section_cell[no_head])),
    )


def _headcuts_inside(ground: Ground) -> IntArray:
    return np.flatnonzero(ground.inside(ground.headcuts.cell))


def _tables(told: SettingsOnRaster, chosen: _Chosen, built: Built) -> Mapping[str, Columns]:
    """Tables without geometries by name, in the order of a plan."""
    sites = chosen.sites
    inputs = input_columns(
        sites.floods,
        told.floods,
        drainage_area_ha=sites.drainage_area_ha,
        area_complete=sites.area_complete,
    )
    return {
        "floods": _off_roads(flood_columns(sites.floods), sites),
        "flood_inputs": _off_roads(inputs, sites),
        "rainfall": rain_columns(told.floods.rainfall),
        **built.tables,
        "settings_used": told.columns(),
    }


def _off_roads(columns: Columns, sites: Sites) -> Columns:
    """Rows about sites that do not stand on a road: no flood is worked out for those."""
    keep = np.isin(columns["site_id"], 1 + np.flatnonzero(~sites.on_road))
    return {name: values[keep] for name, values in columns.items()}


@dataclass(frozen=True, slots=True)
class _Record:
    """What is said of the run; see `Screening`."""

    work: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    summary: str
    facts: dict[str, str]


def _write_record(
    terrain: _Terrain, ground: Ground, told: SettingsOnRaster, chosen: _Chosen, built: Built
) -> _Record:
    sites, ranch = chosen.sites, ground.ranch
    study = None if ranch is None else StudyArea.of(ground.catchments, ranch)
    notes, cautions = land_notes(told.floods.land)
    inside = _headcuts_inside(ground)
    answers = answer_sentence(answer_columns(ground, sites, inside))
    return _Record(
        work=built.work(told.build.design_period_yr),
        notes=(
            *notes_of(ground, study, chosen.left_out),
            *built.takes.notes(),
            *notes,
            *(() if told.build.earth_map is None else told.build.earth_map.notes),
        ),
        cautions=(
            *cautions_of(ground, sites, told.floods),
            *cautions,
            *((answers,) if answers else ()),
        ),
        summary=summary_of(ground, sites, inside.size, built.takes.works, built.why_first),
        facts=facts_of(ground, sites, study, _settings_told(terrain, told, sites, built)),
    )


def _settings_told(
    terrain: _Terrain, told: SettingsOnRaster, sites: Sites, built: Built
) -> dict[str, str]:
    """The settings in words, for the record of the run."""
    carve, rules = told.terrain.carve, told.rules
    deep, long = (exactly(v, "m") for v in (carve.depth_m, carve.length_m))
    changed = f", changed: {', '.join(rules.changed)}" if rules.changed else ""
    return {
        "flow engine": told.terrain.engine,
        "channel area": terrain.area_words,
        "carving limits": f"{deep} deep, {long} long",
        "design return period": f"{told.build.design_period_yr:g} years",
        **built.takes.facts(),
        "bankfull curve": told.floods.division,
        "limits": rules.origin + changed,
        **built.takes.works.facts(),
        **flood_facts(told.floods, sites.floods),
        "edge taken for a divide": "yes" if told.terrain.edge_is_divide else "no",
    }
