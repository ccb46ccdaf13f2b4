"""The ground at every site as points: the bed up and down the channel, and a section across it.

With them a plan can be drawn, explained and computed again without its elevation raster.
"""

from __future__ import annotations

import numpy as np

from siting.channels.bed_slopes import bed_around, past_foot_m, slope_reach_m
from siting.channels.ground import Ground
from siting.hydraulics.cross_section import CrossSection
from siting.sites import Sites
from siting.values.columns import Columns, texts_of
from terrain.channels.profiles import profile_step_m
from terrain.channels.sections import section_heights
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.heights import heights_at
from terrain.values.parallel import over_items

#: A profile reaches so far to either side of a site at least, and at most, m.
LEAST_REACH_M, MOST_REACH_M = 20.0, 60.0
#: It holds the scour below a drop and the structures that work with it: so many heights downstream.
HEIGHTS_BELOW = 8.0
#: What lies behind a structure is shown with some of the bed above it, as a share of its length.
BEYOND = 1.25

_Points = tuple[FloatArray, FloatArray, FloatArray, IntArray]


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
        below, above = _reach_m(ground, sites, i, float(behind[i]))
        bed = bed_around(ground, int(sites.cell[i]))
        told = (bed.distance_m >= -above - 1e-9) & (bed.distance_m <= below + 1e-9)
        bed = bed.take(told)
        return -bed.distance_m[::-1], bed.bed_m[::-1], bed.error_m[::-1], bed.piece[::-1]

    lines = over_items(line, list(range(sites.count)))
    station = sites.numbers(lambda s: s.where.station_m)
    number = [line[0].size for line in lines]
    distance = _joined([line[0] for line in lines])
    piece = [line[3] for line in lines]
    return {
        "site_id": np.repeat(np.arange(1, sites.count + 1), number),
        "station_m": np.repeat(station, number) + distance,
        # adding zero turns -0.0 into 0.0
        "distance_m": distance + 0.0,
        "bed_m": _joined([line[1] for line in lines]),
        "error_m": _joined([line[2] for line in lines]),
        "piece": np.concatenate([np.empty(0, dtype=np.int64), *piece]),
    }


def _reach_m(ground: Ground, sites: Sites, i: int, behind_m: float) -> tuple[float, float]:
    """How far down and up the bed is told, m."""
    site, size, reach = sites[i], sites[i].size, slope_reach_m(ground)
    start = 0.0
    if site.proposal.at_head:
        # the bed below a drop begins past its scour
        face = float(ground.headcuts.face_length_m[site.head.index])
        start = 1.5 * face + past_foot_m(ground, site.spot.drop.height_m)
    least = max(LEAST_REACH_M, start + 1.5 * reach)
    most = max(MOST_REACH_M, least)
    spacing = next((row.low_m for row in site.spacing if row.chosen), np.nan)
    length = np.nan if size is None else size.length_m
    below = np.nanmax([least, HEIGHTS_BELOW * site.spot.drop.height_m, 2 * length])
    above = np.nanmax([least, BEYOND * behind_m, BEYOND * spacing, 2 * length])
    return min(float(below), most), min(float(above), most)


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
    piece = np.zeros(int(known.sum()), dtype=np.int64)
    return distance[known], height[known], error[known], piece


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
