"""The whole main job as one function: from an elevation raster to ranked sites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from siting.channels.ground import Ground
from siting.channels.headcuts import find_headcuts
from siting.channels.reaches import reach_stations
from siting.channels.study_area import CutAreas, StudyArea, reaches_of
from siting.floods.bankfull_curves import bankfull_curve
from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.floods.graphical import storm_types
from siting.floods.rainfall import Rainfall
from siting.floods.regional_equations import EquationBook
from siting.floods.runoff import check_curve_number
from siting.layout.keep_files import KeepFiles
from siting.layout.measuring import BuildSettings
from siting.places.flood_at_points import land_notes
from siting.places.land_maps import LandSettings, read_land
from siting.places.site_floods import FloodGauge, FloodSettings
from siting.places.spot import Stock
from siting.record.feature_tables import (
    channel_table,
    drainage_table,
    headcut_table,
    road_table,
    section_table,
    sections_at,
    sections_below,
    site_table,
)
from siting.record.flood_tables import flood_columns, input_columns, rain_columns
from siting.record.screening_notes import cautions_of, facts_of, flood_facts, notes_of, summary_of
from siting.record.settings_used import SettingsUsed
from siting.record.structure_tables import built_of
from siting.sites import Sites, find_sites
from siting.values.columns import Columns, FeatureTable
from siting.values.rules import Rules, load_rules
from siting.works.ranking import Ranking, Weights, load_weights, rank_sites, why_first
from siting.works.takes import Means
from siting.works.weights_effect import rank_effect
from terrain.channels.channel_area import pick_channel_area
from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import ChannelNetwork, channel_network, default_channel_area_ha
from terrain.flow.conditioning import CarveLimits, Conditioned
from terrain.flow.engines import DEFAULT_ENGINE, get_engine
from terrain.values.arrays import BoolArray
from terrain.values.errors import BoundaryError, ParameterError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster
from terrain.vectors.boundary import mask_of

__all__ = ["FeatureTable", "ScreenSettings", "Screening", "channel_table", "screen"]


@dataclass(frozen=True, slots=True)
class ScreenSettings:
    """What a screening is told.

    Parameters
    ----------
    channel_area_ha
        Least drainage area of a channel, ha; ``auto`` picks it from the ground; None takes the
        default for the cell size.
    engine
        Name of the flow engine.
    carve
        How deep and long barriers are cut through.
    rainfall, curve_number, storm_type
        What peak flows are made from; without the first two they stay empty.
    land
        Soil and cover maps that give the curve number of every cell, instead of one for all.
    flood_methods, regions, equations, basin, runoff_coefficient, pond_fraction
        See `siting.places.site_floods.FloodSettings`.
    design_return_period_yr
        Return period of the flow that sizes are made for, one of 2, 5, 10, 25, 50, 100 years.
    stock
        What the ranch has to build with.
    keep
        Files of roads and of what else structures keep away from; None for none.
    means
        Prices, spare, budget, crew days.
    edge_is_divide
        Take the raster's edge for a divide: no drainage area is then cut off.
    rules, weights
        Limits and weights; None takes those of the package.
    division
        Physiographic division of the regional bankfull curve.
    max_sites
        Keep at most so many sites, the best ranked; None keeps all.

    Raises
    ------
    ParameterError, CurveNumberError, FloodInputError, BankfullError
        A value outside its range, or a name that is not known.
    """

    channel_area_ha: float | Literal["auto"] | str | None = None
    engine: str = DEFAULT_ENGINE
    carve: CarveLimits = field(default_factory=CarveLimits)
    rainfall: Rainfall | None = None
    curve_number: float | None = None
    storm_type: str = "II"
    land: LandSettings | None = None
    flood_methods: tuple[str, ...] = ()
    regions: Mapping[str, float] = field(default_factory=dict)
    equations: EquationBook | None = None
    basin: Mapping[str, float] = field(default_factory=dict)
    runoff_coefficient: float | None = None
    pond_fraction: float = 0.0
    design_return_period_yr: int = 10
    stock: Stock = field(default_factory=Stock)
    keep: KeepFiles | None = None
    means: Means | None = None
    edge_is_divide: bool = False
    rules: Rules | None = None
    weights: Weights | None = None
    division: str = "usa"
    max_sites: int | None = None

    def __post_init__(self) -> None:
        area = self.channel_area_ha
        if isinstance(area, str) and area != "auto":
            raise ParameterError(f"a channel area of {area!r}", expected="hectares, or auto")
        if self.curve_number is not None:
            check_curve_number(self.curve_number)
            if self.land is not None:
                raise FloodInputError(
                    "one curve number and maps of soil and cover", expected="one of the two"
                )
        if self.storm_type not in storm_types():
            raise FloodInputError(
                f"storm type '{self.storm_type}'", expected=f"one of {', '.join(storm_types())}"
            )
        if self.design_return_period_yr not in RETURN_PERIODS_YR:
            raise ParameterError(
                f"a design return period of {self.design_return_period_yr} years",
                expected=f"one of {', '.join(f'{t:g}' for t in RETURN_PERIODS_YR)}",
            )
        if self.max_sites is not None and self.max_sites < 1:
            raise ParameterError(f"at most {self.max_sites} sites", expected="1 or more")
        bankfull_curve(self.division)

    def build_settings(self, raster: Raster) -> BuildSettings:
        """Read roads and what is kept clear of onto a raster; the rest is as given."""
        return BuildSettings(
            stock=self.stock,
            design_period_yr=float(self.design_return_period_yr),
            keep=None if self.keep is None else self.keep.read(raster.grid),
        )

    def flood_record(self) -> dict[str, Any]:
        """What the floods are made with beside rain, maps and equations of one's own."""
        return {
            "curve_number": self.curve_number,
            "storm_type": self.storm_type,
            "methods": list(self.flood_methods),
            "regions": dict(self.regions),
            "basin": dict(self.basin),
            "runoff_coefficient": self.runoff_coefficient,
            "pond_fraction": self.pond_fraction,
            "maps": self.land is not None,
            "own_equations": self.equations is not None,
        }

    def flood_settings(self, raster: Raster) -> FloodSettings:
        """Read the maps onto a raster; the rest is as given."""
        return FloodSettings(
            rainfall=self.rainfall,
            curve_number=self.curve_number,
            storm_type=self.storm_type,
            division=self.division,
            land=None if self.land is None else read_land(self.land, raster),
            methods=self.flood_methods,
            regions=self.regions,
            equations=self.equations,
            basin=self.basin,
            runoff_coefficient=self.runoff_coefficient,
            pond_fraction=self.pond_fraction,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """What a screening found.

    Parameters
    ----------
    raster, conditioned, counts, network
        Terrain.
    ranch
        Polygon of the ranch; None for the whole raster.
    channels, headcuts, sites, drainage_areas
    structures, structure_lines, pools, roads, cross_sections
        Features with SI columns named as in the field table.
    tables
        Tables without geometries by name.
    work
        What it takes and costs, and what a budget buys; the effect of the user's weights.
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
    headcuts: FeatureTable
    sites: FeatureTable
    drainage_areas: FeatureTable
    structures: FeatureTable
    structure_lines: FeatureTable
    pools: FeatureTable
    roads: FeatureTable
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
    settings = settings or ScreenSettings()
    floods = settings.flood_settings(raster)
    build = settings.build_settings(raster)
    rules = settings.rules or load_rules()
    weights = settings.weights or load_weights()
    means = settings.means or Means()
    used = SettingsUsed(
        rules=rules,
        weights=weights,
        means=means,
        build=build,
        weights_given=settings.weights is not None,
        division=settings.division,
        floods=settings.flood_record(),
    )
    conditioned = get_engine(settings.engine).condition(
        raster, limits=settings.carve, progress=progress
    )
    flow = conditioned.flow
    counts = flow.accumulate()
    area_ha, how_area = _channel_area_ha(settings, conditioned, counts)
    network = channel_network(flow, counts, channel_area_ha=area_ha)
    progress("drawing channels", 1.0)
    heads = find_headcuts(raster, conditioned, counts, network, progress=progress)
    stations = reach_stations(raster, network, counts, headcuts=heads, progress=progress)
    catchments = Catchments.of(flow, counts)
    ranch = None if boundary_polygon is None else _ranch_mask(raster, boundary_polygon)
    ground = Ground(
        raster=raster,
        conditioned=conditioned,
        counts=counts,
        network=network,
        catchments=catchments,
        cut=CutAreas.of(catchments, edge_is_divide=settings.edge_is_divide),
        headcuts=heads,
        stations=stations,
        rules=rules,
        ranch=ranch,
    )
    progress("choosing sites", 0.0)
    gauge = FloodGauge(ground, floods)
    sites, left_out = find_sites(ground, gauge, build)
    del gauge  # holds up to 20 bytes a cell
    ranking = rank_sites(sites, rules=rules, weights=weights)
    sites, ranking, dropped = _best(sites, ranking, settings.max_sites)
    usual = (
        ranking
        if settings.weights is None
        else rank_sites(sites, rules=rules, weights=load_weights())
    )
    changed = rank_effect(usual, ranking)
    progress("choosing sites", 1.0)
    progress("sizing structures", 0.0)
    built = built_of(
        ground,
        sites,
        ranking,
        weights=weights,
        means=means,
        rainfall=settings.rainfall,
        keep=build.keep,
        design_period_yr=build.design_period_yr,
    )
    progress("sizing structures", 1.0)
    if dropped:
        left_out = (
            *left_out,
            f"Only the best {sites.count} sites are kept; {dropped} more rank lower.",
        )
    progress("drawing features", 0.0)
    shown = np.ones(network.size, dtype=np.bool_) if ranch is None else reaches_of(network, ranch)
    inside = np.flatnonzero(ground.inside(heads.cell))
    below = sections_below(ground, inside)
    no_head = sites.are(lambda s: not s.proposal.at_head)
    site_cells = sites.section_cell[no_head]
    more = {**built.columns, "rank_usual": changed.rank_default}
    table = site_table(sites, ranking, crs=raster.grid.crs, more=more)
    areas = drainage_table(ground, sites)
    progress("drawing features", 1.0)
    study = None if ranch is None else StudyArea.of(catchments, ranch)
    return Screening(
        raster=raster,
        conditioned=conditioned,
        counts=counts,
        network=network,
        ranch=boundary_polygon,
        channels=channel_table(raster, network, ground.cut.is_cut, shown=shown),
        headcuts=headcut_table(ground, inside, below),
        sites=table,
        drainage_areas=areas,
        structures=built.structures,
        structure_lines=built.structure_lines,
        pools=built.pools,
        roads=road_table(build.keep),
        cross_sections=section_table(below, sections_at(ground, site_cells)),
        tables={
            "floods": flood_columns(sites.floods),
            "flood_inputs": input_columns(
                sites.floods,
                floods,
                drainage_area_ha=sites.drainage_area_ha,
                area_complete=sites.area_complete,
            ),
            "rainfall": rain_columns(settings.rainfall),
            **built.tables,
            "settings_used": used.columns(),
        },
        work=(
            *built.work(build.design_period_yr),
            *(() if settings.weights is None else changed.sentences()),
        ),
        notes=(
            *notes_of(ground, study, left_out),
            *built.takes.notes(),
            *land_notes(floods.land)[0],
        ),
        cautions=(*cautions_of(ground, sites, floods), *land_notes(floods.land)[1]),
        summary=summary_of(ground, sites, inside.size, why_first(sites, ranking, weights)),
        facts=facts_of(
            ground,
            sites,
            study,
            {
                "flow engine": settings.engine,
                "channel area": f"{area_ha:.3g} ha ({how_area})",
                "carving limits": f"{settings.carve.depth_m:g} m deep, "
                f"{settings.carve.length_m:g} m long",
                "design return period": f"{settings.design_return_period_yr} years",
                **built.takes.facts(),
                "bankfull curve": settings.division,
                "limits": rules.origin
                + (f", changed: {', '.join(rules.changed)}" if rules.changed else ""),
                "weights": weights.origin,
                **flood_facts(floods, sites.floods),
                "edge taken for a divide": "yes" if settings.edge_is_divide else "no",
            },
        ),
    )


def _channel_area_ha(
    settings: ScreenSettings, conditioned: Conditioned, counts: NDArray[Any]
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


def _ranch_mask(raster: Raster, polygon: BaseGeometry) -> BoolArray:
    mask = mask_of(polygon, raster.grid)
    if not (mask & raster.valid).any():
        raise BoundaryError(
            "no ground of the raster lies inside the boundary",
            expected="a boundary that covers some of its cells",
            do="check that boundary and DEM belong together",
        )
    return mask


def _best(sites: Sites, ranking: Ranking, most: int | None) -> tuple[Sites, Ranking, int]:
    """Keep the best ranked sites; ids are then counted again in their old order."""
    if most is None or sites.count <= most:
        return sites, ranking, 0
    keep = np.sort(np.flatnonzero(ranking.rank <= most))
    return sites.take(keep), ranking.take(keep), sites.count - keep.size
