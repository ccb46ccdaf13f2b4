"""Trials: places are measured and the structure types asked, before anything is proposed there."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from siting.channels.ground import Ground
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.cross_section import CrossSection
from siting.layout.clearance import Clearance, check_clearance, told_from
from siting.layout.keep_clear import OTHER, KeepClear
from siting.layout.keep_files import KeepFiles
from siting.layout.proposals import Proposal
from siting.places.earth_map import EarthFile, EarthMap
from siting.places.measured_places import Measured, Meter
from siting.places.site_floods import FloodGauge
from siting.places.spot import Earth, LandAbove, Spot, SpotFloods, Stock
from siting.structures.catalogue import structure_types
from siting.structures.decisions import Decision, decide
from siting.structures.dip_spacing import EROSIVE, SOILS
from siting.structures.structure_type import Check, StructureType
from siting.values.wording import metres
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

#: A road is taken for a shallow trough: sides, horizontal per vertical, and depth, m.
ROAD_SIDE, ROAD_DEPTH_M = 10.0, 0.3

#: What is asked of every place.
ASKS_CLEAR = "clear of roads, buildings, ponds and culverts, with the error of the maps"


@dataclass(frozen=True, slots=True)
class BuildSettings:
    """What structures are chosen and sized with.

    Parameters
    ----------
    stock
        What the ranch has to build with.
    design_period_yr
        Return period of the flow that sizes are made for.
    keep_files
        Files of roads and of what else structures keep away from; None for none.
    keep
        What they hold, in the coordinates of a raster: what `on` reads.
    types
        Structure types to choose from; all that are installed by default.
    road_dips
        Whether dips are laid on the roads; without, roads are only kept clear of.
    road_soil
        Soil of the roads, one of `siting.structures.dip_spacing.SOILS`; what is not known is taken
        for erosive, which asks for the closer dips.
    earth
        What bed and banks are made of, as somebody told.
    earth_file
        Soil map that names the soil of each patch, where nobody told one for all; None for none.
    earth_map
        What it holds, in the coordinates of a raster: what `on` reads.

    Raises
    ------
    ParameterError
        A return period that floods are not estimated for, or another soil.
    """

    stock: Stock = field(default_factory=Stock)
    design_period_yr: float = 10.0
    keep_files: KeepFiles | None = None
    keep: KeepClear | None = None
    types: tuple[StructureType, ...] = field(default_factory=lambda: tuple(structure_types()))
    road_dips: bool = True
    road_soil: str = EROSIVE
    earth: Earth = field(default_factory=Earth)
    earth_file: EarthFile | None = None
    earth_map: EarthMap | None = None

    def __post_init__(self) -> None:
        if self.road_soil not in SOILS:
            raise ParameterError(f"road soil '{self.road_soil}'", expected=" or ".join(SOILS))
        if self.design_period_yr not in RETURN_PERIODS_YR:
            raise ParameterError(
                f"a design return period of {self.design_period_yr:g} years",
                expected=f"one of {', '.join(f'{t:g}' for t in RETURN_PERIODS_YR)}",
            )

    def on(self, raster: Raster) -> BuildSettings:
        """Read what is kept clear of, and soils, into a raster's coordinates; the rest stays.

        Raises
        ------
        FeatureFileError, MapError
            A file cannot be used.
        """
        files, earth = self.keep_files, self.earth_file
        return replace(
            self,
            keep=self.keep if files is None else files.read(raster.grid),
            earth_map=self.earth_map if earth is None else earth.read(raster.grid),
        )


@dataclass(frozen=True, eq=False)
class Trials:
    """What the placing functions look for places with.

    What is tried here is measured and decided as the sites are; a place that was found comes back
    as a proposal, which is then measured and decided like any other.

    Parameters
    ----------
    ground, gauge
        Terrain, and the floods on it.
    settings
        What to build with and for which flow.
    """

    ground: Ground
    gauge: FloodGauge
    settings: BuildSettings

    @cached_property
    def meter(self) -> Meter:
        """Measures places."""
        build = self.settings
        return Meter(
            self.ground,
            self.gauge,
            build.stock,
            build.design_period_yr,
            earth=build.earth,
            earth_map=build.earth_map,
        )

    def measure(self, cells: IntArray, section_cells: IntArray | None = None) -> Measured:
        """Measure places; see `siting.places.measured_places.Meter.measure`."""
        return self.meter.measure(cells, section_cells)

    def keep_off(
        self, cells: IntArray, told_at: tuple[FloatArray, FloatArray] | None = None
    ) -> list[tuple[Check, ...]]:
        """Distances of cells to roads and what else is kept clear, held against their limits.

        Parameters
        ----------
        cells
            Flat numbers, shape ``(n,)``: limits are held at their middles.
        told_at
            East and north of what stands in them, each shape ``(n,)``: what is clear is told with
            its distance from there, which is the one that the sites show.
        """
        keep = self.settings.keep
        if keep is None or not keep.size:
            return [()] * cells.size
        found = check_clearance(keep, self.ground, cells)
        if told_at is not None:
            found = told_from(found, keep, *told_at)
        return [clearance_checks(found, i) for i in range(cells.size)]

    def decide(self, spot: Spot, kept_clear: tuple[Check, ...] = ()) -> Decision:
        """Let the types choose at a spot."""
        return decide(spot, self.settings.types, kept_clear=kept_clear)


def spot_of(meter: Meter, m: Measured, i: int, proposal: Proposal) -> Spot:
    """Describe what is proposed at a measured place as a spot that asks for a structure."""
    if proposal.road is not None:
        return road_spot(meter, proposal, area_complete=bool(m.area_complete[i]))
    return meter.spot(
        m,
        i,
        proposal.task,
        drop_m=proposal.head.drop_m,
        floor_m=proposal.floor_m,
    )


def road_spot(meter: Meter, proposal: Proposal, *, area_complete: bool) -> Spot:
    """Describe a place on a road: no channel, and no flood, is measured there."""
    road, rules = proposal.road, meter.ground.rules
    assert road is not None  # asked for only then
    return Spot(
        task=proposal.task,
        slope=proposal.slope,
        slope_error=road.grade_error,
        land=LandAbove(road.land_ha, area_complete),
        section=CrossSection.trapezoid(
            rules.value("road_dip.road_width"), side=ROAD_SIDE, depth_m=ROAD_DEPTH_M
        ),
        rules=rules,
        floods=SpotFloods(design_period_yr=meter.design_period_yr),
        stock=meter.stock,
        road=road.run,
    )


def clearance_checks(found: Clearance, i: int) -> tuple[Check, ...]:
    """What a place is too near to, one check each; a single one that holds where it is clear."""
    source, basis = "no published source", "common practice"
    reasons = found.reasons[i]
    if reasons:
        return tuple(
            Check("keep_clear", ASKS_CLEAR, reason, False, reason, source, basis)
            for reason in reasons
        )
    return (is_clear(str(found.nearest_kind[i] or ""), float(found.nearest_m[i])),)


def is_clear(kind: str, away_m: float) -> Check:
    """The check of a place that is clear of everything.

    Parameters
    ----------
    kind, away_m
        What lies nearest, and how far away; infinite where nothing is given.
    """
    what = "feature to keep clear of" if kind in ("", OTHER) else kind
    text = f"the nearest {what} is {metres(away_m)} away" if away_m < float("inf") else "none given"
    source, basis = "no published source", "common practice"
    return Check("keep_clear", ASKS_CLEAR, text, True, "", source, basis)
