"""From measured ground to candidate sites: placed, sized, with flows, reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.channel_reading import ChannelReading, read_stations
from siting.channels.ground import Ground
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState, normal_flow
from siting.layout.at_headcuts import place_at_headcuts
from siting.layout.fans import place_spreaders
from siting.layout.headcuts_below import with_bases
from siting.layout.measuring import BuildSettings, Measured, SpotMaker, taken
from siting.layout.on_roads import place_on_roads
from siting.layout.proposals import Place, Placed
from siting.layout.series import place_series, within_limits
from siting.layout.swales import place_in_swales
from siting.places.site_floods import FloodGauge, FloodSettings, SiteFloods
from siting.places.spot import Spot
from siting.structures.structure_type import Size
from siting.values.wording import sentences
from terrain.channels.sections import SectionMeasures
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: Two heads that share one grade control: places of a pair closer than this are one, m.
SAME_PLACE_M = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """Candidate sites in the order of their ids (by reach and station); arrays of shape ``(n,)``.

    Parameters
    ----------
    places
        What the rules gave.
    spots, sizes
        Each site as the structure types see it, and the size of what stands there; None for the
        size where nothing is built.
    flows
        Normal flow at each site for each return period; None where the peak flow is not known.
    cell, section_cell
        Cell of the site, and the one at which the channel was measured.
    azimuth_deg
        Direction of the flow, or of the road.
    drainage_area_ha, area_complete
        Land that drains to the site, and whether the raster holds all of it.
    measured, section
        Floods and channel at each site, and the measured section.
    caution
        Sentences, all together.
    x_m, y_m, elevation_m
        Place of each; at a headcut the lip as measured, finer than its cell. Elevation of the bed.
    """

    places: tuple[Place, ...]
    spots: tuple[Spot, ...]
    sizes: tuple[Size | None, ...]
    flows: tuple[tuple[FlowState | None, ...], ...]
    caution: tuple[str, ...]
    cell: IntArray
    section_cell: IntArray
    azimuth_deg: FloatArray
    drainage_area_ha: FloatArray
    area_complete: BoolArray
    measured: Measured
    section: SectionMeasures
    x_m: FloatArray
    y_m: FloatArray
    elevation_m: FloatArray

    @property
    def count(self) -> int:
        """Number of sites."""
        return len(self.places)

    def take(self, keep: IntArray) -> Sites:
        """Return some of them."""
        values: dict[str, Any] = {
            f.name: tuple(value[i] for i in keep)
            if isinstance(value := getattr(self, f.name), tuple)
            else taken(value, keep)
            for f in fields(self)
        }
        return Sites(**values)

    def of(self, name: str) -> NDArray[Any]:
        """One attribute of all places as an array."""
        values = [getattr(p, name) for p in self.places]
        if values and isinstance(values[0], str):
            return np.array([*values, None], dtype=object)[:-1]
        return np.array(values)

    def sized(self, name: str) -> FloatArray:
        """One attribute of all sizes; NaN where nothing is built."""
        return np.array([np.nan if s is None else getattr(s, name) for s in self.sizes])

    @property
    def floods(self) -> SiteFloods:
        """Peak flows."""
        return self.measured.floods

    @property
    def reading(self) -> ChannelReading:
        """The channel as read."""
        return self.measured.reading

    @property
    def floor_shown(self) -> BoolArray:
        """Where a swale's floor is measured, though no banks are seen."""
        wide = np.array([s.bank_width_m for s in self.spots], dtype=np.float64)
        shown: BoolArray = np.isfinite(wide) & ~np.isfinite(self.reading.bank_width_m)
        return shown

    @property
    def width_m(self) -> FloatArray:
        """Bank-top width, or that of a swale's floor; bankfull width where neither is seen."""
        floor = np.array([s.bank_width_m for s in self.spots], dtype=np.float64)
        return np.where(self.floor_shown, floor, self.measured.width_m)

    @property
    def on_road(self) -> BoolArray:
        """Which sites stand on a road: no channel, and no flood, is measured there."""
        return np.array([s.purpose == "road" for s in self.spots], dtype=np.bool_)

    @property
    def one_stone(self) -> BoolArray:
        """Where only one stone is allowed until bankfull is measured on site."""
        return np.array([w is not None for w in self.reading.height_why], dtype=np.bool_)

    def design_flow(self, i: int) -> FlowState | None:
        """Normal flow at a site for the design return period."""
        return self.flows[i][RETURN_PERIODS_YR.index(self.spots[i].design_period_yr)]


def find_sites(
    ground: Ground,
    gauge: FloodGauge,
    settings: FloodSettings,
    build: BuildSettings | None = None,
) -> tuple[Sites, tuple[str, ...]]:
    """Place, size and word all candidate sites.

    Parameters
    ----------
    ground, gauge
        Terrain, and the floods on it.
    settings
        What the floods are made from.
    build
        What to build with, for which flow, and what to keep away from.

    Returns
    -------
    tuple
        Sites, and plain notes about what was left out.
    """
    maker = SpotMaker(ground, gauge, build or BuildSettings(), division=settings.division)
    placed = Placed()
    place_at_headcuts(maker, placed)
    placed.places = _share_grade_controls(ground, placed.places)
    reading = _read(ground, gauge, settings)
    place_series(maker, reading, placed)
    place_in_swales(maker, reading, placed)
    place_spreaders(maker, placed)
    place_on_roads(maker, placed)
    places = with_bases(ground, _numbered(placed.places))
    return _measured(maker, places), tuple(placed.notes)


def _read(ground: Ground, gauge: FloodGauge, settings: FloodSettings) -> ChannelReading:
    """Channels at all stations; floods only where a low structure may stand."""
    q2 = np.full(ground.stations.size, np.nan)
    at = np.flatnonzero(within_limits(ground))
    if at.size:
        q2[at] = gauge.peak(ground.stations.cell[at], 2.0)
    return read_stations(ground, q2_m3s=q2, division=settings.division)


def _measured(maker: SpotMaker, places: tuple[Place, ...]) -> Sites:
    """Measure the sites once more, each at its own cell, and size what stands there."""
    ground = maker.ground
    cell = np.array([p.cell for p in places], dtype=np.int64)
    section_cell = np.array([p.section_cell for p in places], dtype=np.int64)
    m = maker.measure(cell, section_cell, notes=True)
    road = np.array([p.azimuth_deg for p in places], dtype=np.float64)
    azimuth = np.where(np.isfinite(road), road, m.azimuth_deg)
    spots = tuple(_spot(maker, m, i, p) for i, p in enumerate(places))
    x, y = _places_of(ground, cell, places)
    elevation = ground.raster.elevation_m.reshape(-1)[cell].astype(np.float64)
    return sized_sites(
        places,
        spots,
        m,
        azimuth_deg=azimuth,
        section=ground.sections(section_cell, azimuth),
        place_m=(x, y, elevation),
    )


def sized_sites(
    places: tuple[Place, ...],
    spots: tuple[Spot, ...],
    measured: Measured,
    *,
    azimuth_deg: FloatArray,
    section: SectionMeasures,
    place_m: tuple[FloatArray, FloatArray, FloatArray],
) -> Sites:
    """Size what stands at places that are measured; nothing is built where a site is referred.

    Parameters
    ----------
    places, spots
        What stands where, and each place as the structure types see it.
    measured, section, azimuth_deg
        Floods and channel; the measured section; direction of the flow, or of the road.
    place_m
        East, north and elevation.
    """
    sizes = tuple(
        None
        if p.decision is None or p.control == "refer" or p.left_out
        else p.decision.kind.size(spot)
        for p, spot in zip(places, spots, strict=True)
    )
    x, y, elevation = place_m
    return Sites(
        places=places,
        spots=spots,
        sizes=sizes,
        flows=tuple(_flows(spot, p) for spot, p in zip(spots, places, strict=True)),
        caution=tuple(
            _caution(p, spot, size) for p, spot, size in zip(places, spots, sizes, strict=True)
        ),
        cell=measured.cell,
        section_cell=measured.section_cell,
        azimuth_deg=azimuth_deg,
        drainage_area_ha=_land_ha(spots, measured),
        area_complete=measured.area_complete,
        measured=measured,
        section=section,
        x_m=x,
        y_m=y,
        elevation_m=elevation,
    )


def _places_of(
    ground: Ground, cell: IntArray, places: tuple[Place, ...]
) -> tuple[FloatArray, FloatArray]:
    """Coordinates of sites; at a headcut the lip as measured, finer than its cell."""
    x, y = ground.raster.grid.xy_of(cell)
    for i, p in enumerate(places):
        if p.headcut >= 0 and np.isfinite(p.headcut_height_m):
            x[i], y[i] = ground.headcuts.x_m[p.headcut], ground.headcuts.y_m[p.headcut]
    return x, y


def _land_ha(spots: tuple[Spot, ...], measured: Measured) -> FloatArray:
    """Land that drains to each site; on a road, that onto the road since the dip above."""
    road = np.array([s.purpose == "road" for s in spots], dtype=np.bool_)
    of_road = np.array([s.drainage_area_ha for s in spots], dtype=np.float64)
    return np.where(road, of_road, measured.drainage_area_ha)


def _spot(maker: SpotMaker, m: Measured, i: int, place: Place) -> Spot:
    """A site as the types see it, with the flow at its own cell."""
    if place.decision is None:
        return maker.spot(m, i, purpose="vertical", slope=place.slope)
    spot = place.decision.spot
    if spot.purpose == "road":
        return spot
    return replace(
        spot,
        q_m3s=tuple(float(m.floods.peak(t)[i]) for t in RETURN_PERIODS_YR),
        q_high_m3s=tuple(float(q) for q in m.floods.high_m3s[i]),
    )


def _flows(spot: Spot, place: Place) -> tuple[FlowState | None, ...]:
    """Normal flow for every return period; none on a road."""
    if spot.purpose == "road" or place.structure == "complete the DEM":
        return (None,) * len(RETURN_PERIODS_YR)
    return tuple(
        normal_flow(spot.section, q, slope=max(spot.slope, LOWEST_SLOPE), roughness=spot.roughness)
        if np.isfinite(q) and q > 0
        else None
        for q in spot.q_m3s
    )


def _caution(place: Place, spot: Spot, size: Size | None) -> str:
    kind = None if place.decision is None else place.decision.type
    of_type = () if kind is None or size is None else kind.cautions(spot, size)
    curve = (
        "The elevations do not show the channel; its size is from a regional curve: measure it."
        if place.control != "refer" and spot.purpose != "road" and np.isnan(spot.bank_width_m)
        else ""
    )
    return sentences([*place.cautions, *of_type, curve])


def _share_grade_controls(ground: Ground, places: list[Place]) -> list[Place]:
    """Merge grade controls of two heads that fall on one spot: the heads then share a group."""
    kept: list[Place] = []
    joined: dict[int, int] = {}
    spots: list[tuple[float, float, Place]] = []
    for place in places:
        if place.control in ("grade", "spread"):
            x, y = (float(v) for v in ground.raster.grid.xy_of(place.cell))
            # two in series below one head stay two
            others = [(a, b, p) for a, b, p in spots if p.group != place.group]
            same = next((p for a, b, p in others if np.hypot(a - x, b - y) <= SAME_PLACE_M), None)
            if same is not None:
                joined[place.group] = joined.get(same.group, same.group)
                continue
            spots.append((x, y, place))
        kept.append(place)
    return _ordered([replace(p, group=joined.get(p.group, p.group)) for p in kept])


def _ordered(places: list[Place]) -> list[Place]:
    """Within each group number the grade controls first, as they are, then the heads."""
    last: dict[int, int] = {}
    for p in places:
        if p.group and p.control != "vertical":
            last[p.group] = max(last.get(p.group, 0), p.build_order)
    out = []
    for p in places:
        if p.group and p.control == "vertical":
            last[p.group] = last.get(p.group, 0) + 1
            p = replace(p, build_order=last[p.group])
        out.append(p)
    return out


def _numbered(places: list[Place]) -> tuple[Place, ...]:
    """Sort by reach and station and give groups numbers in that order; lone ones get 0."""
    places = sorted(places, key=lambda p: (p.reach < 0, p.reach, p.station_m, p.cell, p.control))
    members: dict[int, int] = {}
    for p in places:
        members[p.group] = members.get(p.group, 0) + 1
    number: dict[int, int] = {}
    for p in places:
        if p.group and members[p.group] > 1 and p.group not in number:
            number[p.group] = len(number) + 1
    return tuple(
        replace(p, group=number[p.group])
        if p.group in number
        else replace(p, group=0, build_order=0)
        for p in places
    )
