"""The ground at every site as points: the bed up and down the channel, and a section across it.

With them a plan can be drawn, explained and computed again without its elevation raster.
"""

from __future__ import annotations

import numpy as np

from siting.channels.bed_profile import bed_line
from siting.channels.ground import Ground
from siting.hydraulics.cross_section import CrossSection
from siting.sites import Sites
from siting.values.columns import Columns, texts_of
from terrain.channels.profiles import profile_step_m
from terrain.channels.sections import section_heights
from terrain.values.arrays import FloatArray
from terrain.values.heights import heights_at
from terrain.values.parallel import over_items

#: A profile reaches so far to either side of a site at least, and at most, m.
LEAST_REACH_M, MOST_REACH_M = 20.0, 60.0
#: It holds the scour below a drop and the structures that work with it: so many heights downstream.
HEIGHTS_BELOW = 8.0
#: What lies behind a structure is shown with some of the bed above it, as a share of its length.
BEYOND = 1.25

_Points = tuple[FloatArray, FloatArray, FloatArray]


def profile_columns(ground: Ground, sites: Sites, behind_m: FloatArray | None = None) -> Columns:
    """Rows of the table ``profile_points``: the bed at each site, from its lower end up.

    Parameters
    ----------
    ground, sites
        Terrain, and what was found.
    behind_m
        Length of the pool or the sediment behind each structure, NaN for none, shape ``(n,)``.
    """
    behind = np.full(sites.count, np.nan) if behind_m is None else behind_m

    def line(i: int) -> _Points:
        if sites[i].on_road:
            return _along_road(ground, sites, i)
        below, above = _reach_m(sites, i, float(behind[i]))
        bed = bed_line(
            ground, int(sites.cell[i]), above_m=above, below_m=below, stop_at_heads=False
        )
        return -bed.distance_m[::-1], bed.bed_m[::-1], bed.error_m[::-1]

    lines = over_items(line, list(range(sites.count)))
    station = sites.numbers(lambda s: s.where.station_m)
    number = [distance.size for distance, _, _ in lines]
    distance = _joined([d for d, _, _ in lines])
    return {
        "site_id": np.repeat(np.arange(1, sites.count + 1), number),
        "station_m": np.repeat(station, number) + distance,
        # adding zero turns -0.0 into 0.0
        "distance_m": distance + 0.0,
        "bed_m": _joined([bed for _, bed, _ in lines]),
        "error_m": _joined([error for _, _, error in lines]),
    }


def _reach_m(sites: Sites, i: int, behind_m: float) -> tuple[float, float]:
    """How far down and up the bed is told, m."""
    site, size = sites[i], sites[i].size
    spacing = next((row.low_m for row in site.spacing if row.chosen), np.nan)
    length = np.nan if size is None else size.length_m
    below = np.nanmax([LEAST_REACH_M, HEIGHTS_BELOW * site.spot.drop.height_m, 2 * length])
    above = np.nanmax([LEAST_REACH_M, BEYOND * behind_m, BEYOND * spacing, 2 * length])
    return min(float(below), MOST_REACH_M), min(float(above), MOST_REACH_M)


def _along_road(ground: Ground, sites: Sites, i: int) -> _Points:
    """The road's surface straight along it, uphill positive."""
    step = profile_step_m(ground.raster)
    number = int(np.ceil(LEAST_REACH_M / step))
    distance = np.arange(-number, number + 1) * step
    x, y = (float(v) for v in ground.raster.grid.xy_of(int(sites.cell[i])))
    angle = np.radians(float(sites.azimuth_deg[i]))
    # the direction of a road is that in which its water runs
    height = heights_at(ground.raster, x - distance * np.sin(angle), y - distance * np.cos(angle))
    known = np.isfinite(height)
    error = np.full(distance.shape, ground.rules.value("measuring.height_error_least"))
    return distance[known], height[known], error[known]


def section_columns(ground: Ground, sites: Sites) -> Columns:
    """Rows of the table ``section_points``: the section that the flow was worked out for.

    On a road, where no flow is worked out, it is the ground across the road.
    """
    bed = ground.raster.elevation_m.reshape(-1)

    def points(i: int) -> tuple[FloatArray, FloatArray, str]:
        spot, cell = sites[i].spot, int(sites.section_cell[i])
        if spot.task.purpose == "road":
            x, y = (float(v) for v in ground.raster.grid.xy_of(cell))
            offset, height = section_heights(ground.raster, x, y, float(sites.azimuth_deg[i]))
            known = np.isfinite(height)
            return offset[known], height[known], "dem"
        section = sites[i].drawn[0].section if sites[i].ends else spot.section
        if not is_made_up(section):
            return section.offset_m, section.height_m, "dem"
        return section.offset_m, section.height_m + float(bed[cell]), "curve"

    found = over_items(points, list(range(sites.count)))
    number = [offset.size for offset, _, _ in found]
    return {
        "site_id": np.repeat(np.arange(1, sites.count + 1), number),
        "offset_m": _joined([offset for offset, _, _ in found]),
        "ground_m": _joined([height for _, height, _ in found]),
        "source": texts_of(
            [source for (_, _, source), n in zip(found, number, strict=True) for _ in range(n)]
        ),
    }


def is_made_up(section: CrossSection) -> bool:
    """Whether it is a trapezoid, which has four points and its bed at 0."""
    return section.offset_m.size == 4 and section.bed_m == 0.0


def _joined(parts: list[FloatArray]) -> FloatArray:
    return np.concatenate(parts) if parts else np.empty(0)
