"""What a structure saves and gains: ground and soil at risk above a head, ground rewetted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.channels.bed_profile import BedProfile, bed_below, bed_line
from siting.channels.ground import Ground
from siting.effects.channel_above import ChannelAbove, channel_above, channel_along, fill, wetted
from siting.effects.pools import Pool
from siting.effects.retreat import FACTOR, heavy_rain_mm_per_yr, retreat_m_per_yr
from siting.effects.wedges import Wedge
from siting.floods.rainfall import Rainfall
from terrain.flow.ways import cells_up
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: A swale is followed no further than this above a head, m.
LONGEST_SWALE_M = 600.0
#: Ground that stands less than this above the channel of a swale is its floor, m (common practice,
#: no published source).
FLOOR_M = 0.3
#: A swale counts as cut where banks as high as the ``series.incision`` limit go on for this far, m.
CUT_FOR_M = 10.0
#: The upper half of such a bank takes no more than so many times its height, or so many cells: the
#: sides of a valley are no banks (common practice, no published source).
BANK_SPREAD = 2.0
BANK_CELLS = 2.0
#: The gully below a head is measured over this far below the foot, m (or so many cells).
GULLY_M = 12.0
GULLY_CELLS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Swale:
    """Uncut channel above a headcut: what it cuts away as it works up.

    Parameters
    ----------
    length_m, area_ha
        Along the channel, and of its floor: ground less than 0.3 m above the channel, no further
        than the sections reach.
    ends_at
        ``headcut`` (the next one up), ``cut`` (a stretch that is cut already), ``channel head``
        (less land drains than a channel needs), ``edge`` or ``length``.
    begins_m
        Channel above the lip that is cut already, before the uncut one begins.
    cell, up_m, floor_ha
        The way of the water from the lip up to where the uncut channel ends: flat cell numbers,
        metres along the channel, and uncut floor from the lip up to there; shape ``(n,)``.
    """

    length_m: float
    area_ha: float
    ends_at: str
    begins_m: float
    cell: IntArray
    up_m: FloatArray
    floor_ha: FloatArray


@dataclass(frozen=True, slots=True)
class Benefit:
    """What a structure saves and gains; NaN where it does not apply or was not measured.

    Parameters
    ----------
    swale_length_m, swale_area_ha, swale_ends_at
        Uncut swale above the head: see `Swale`.
    retreat_m_per_yr, retreat_low_m_per_yr, retreat_high_m_per_yr
        Rate at which the head may work up: an order of magnitude, see
        `siting.effects.retreat.retreat_m_per_yr`.
    retreat_rain
        Where the rain behind it is from.
    soil_at_risk_m3
        Length of the swale times the section of the gully below the head.
    gully_section_m2
        That section.
    rewetted_m2
        Ground along the pool that stands less than the structure's height above the channel.
    sediment_held_m3
        Volume of the wedge.
    """

    swale_length_m: float = np.nan
    swale_area_ha: float = np.nan
    swale_ends_at: str = ""
    retreat_m_per_yr: float = np.nan
    retreat_low_m_per_yr: float = np.nan
    retreat_high_m_per_yr: float = np.nan
    retreat_rain: str = ""
    soil_at_risk_m3: float = np.nan
    gully_section_m2: float = np.nan
    rewetted_m2: float = np.nan
    sediment_held_m3: float = np.nan


def head_benefit(
    ground: Ground, head: int, *, rainfall: Rainfall | None = None, swale: Swale | None = None
) -> Benefit:
    """What holding a headcut saves.

    Parameters
    ----------
    ground
        Terrain.
    head
        Which of the ground's headcuts.
    rainfall
        Rainfall table; without one a usual yearly rain is taken.
    swale
        Uncut channel above it, where it was walked already.
    """
    heads = ground.headcuts
    swale = swale or swale_above(ground, int(heads.cell[head]))
    section = gully_section_m2(ground, int(heads.foot_cell[head]))
    rain, source = heavy_rain_mm_per_yr(rainfall)
    rate = float(retreat_m_per_yr(float(heads.drainage_area_ha[head]), rain))
    return Benefit(
        swale_length_m=swale.length_m,
        swale_area_ha=swale.area_ha,
        swale_ends_at=swale.ends_at,
        retreat_m_per_yr=rate,
        retreat_low_m_per_yr=rate / FACTOR,
        retreat_high_m_per_yr=rate * FACTOR,
        retreat_rain=source,
        soil_at_risk_m3=swale.length_m * section,
        gully_section_m2=section,
    )


def control_benefit(
    above: ChannelAbove, *, crest_height_m: float, pool: Pool, wedge: Wedge | None = None
) -> Benefit:
    """What a grade control gains: ground rewetted along its pool, and sediment held."""
    return Benefit(
        rewetted_m2=rewetted_m2(above, crest_height_m=crest_height_m, length_m=pool.length_m),
        sediment_held_m3=np.nan if wedge is None else wedge.volume_m3,
    )


def swale_above(ground: Ground, lip_cell: int) -> Swale:
    """Walk up from the lip of a headcut while the channel is not cut.

    Where it is cut at the lip itself, the uncut channel begins further up, no further than the
    ``chance_lost.distance`` limit.

    Parameters
    ----------
    ground
        Terrain.
    lip_cell
        Flat cell number of the lip.
    """
    count = int(ground.counts.reshape(-1)[lip_cell])
    # a head may stand above where channels are drawn from: then half of its own land is the end
    least = max(1, min(ground.network.threshold_cells, count // 2))
    way = cells_up(
        ground.conditioned.flow,
        ground.counts,
        lip_cell,
        length_m=LONGEST_SWALE_M,
        least_count=least,
    )
    if way.size < 2:
        here = np.zeros(1)
        return Swale(0.0, 0.0, "channel head", 0.0, way, here, here)
    top, ends_at = int(way[-1]), "channel head"
    x, y = ground.raster.grid.xy_of(way)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    if walked[-1] >= LONGEST_SWALE_M:
        ends_at = "length"
    line = bed_line(ground, lip_cell, above_m=float(walked[-1]), below_m=0.0, stop_at_heads=True)
    above = channel_along(ground, line)
    if line.ends_at == "headcut":
        ends_at = "headcut"
    elif bool(ground.cut.is_cut(np.array([top]))[0]) and ends_at != "length":
        ends_at = "edge"
    deep = np.nan_to_num(above.bank_depth_m) >= ground.rules.value("series.incision")
    cut = deep & _has_walls(above, ground.raster.grid.cell_m)
    first, last = _uncut_rows(cut, above.up_m, ground.rules.high("chance_lost.distance"))
    ends_at = ends_at if last is None else "cut"
    begins, end = float(above.up_m[first]), float(above.up_m[-1 if last is None else last])
    up_m = _along(way, line)
    inside = up_m <= end
    floor_ha = _floor_ha(above, up_m[inside], begins_m=begins, end_m=end)
    area = float(_floor_ha(above, np.array([end]), begins_m=begins, end_m=end)[0])
    return Swale(end - begins, area, ends_at, begins, way[inside], up_m[inside], floor_ha)


def _uncut_rows(cut: BoolArray, up_m: FloatArray, reach_m: float) -> tuple[int, int | None]:
    """First row of the uncut channel, and the one where it is cut again; None where it is not."""
    last = _first_lasting(cut, up_m, CUT_FOR_M)
    if last != 0:
        return 0, last
    first = _first_lasting(~cut, up_m, CUT_FOR_M)
    if first is None or up_m[first] > reach_m:
        return 0, 0
    again = _first_lasting(cut[first:], up_m[first:], CUT_FOR_M)
    return first, None if again is None else first + again


def _along(way: IntArray, line: BedProfile) -> FloatArray:
    """Metres up the bed of each cell of a way, the first of which is the line's own cell."""
    place = {int(c): k for k, c in enumerate(way)}
    rows = [
        (place[int(c)], max(-float(d), 0.0))
        for c, d in zip(line.cell, line.distance_m, strict=True)
        if int(c) in place
    ]
    k, up = np.array(sorted(rows), dtype=np.float64).reshape(-1, 2).T
    beyond = np.arange(way.size) > k.max(initial=0.0)
    out = np.maximum.accumulate(np.interp(np.arange(way.size), k, up))
    return np.where(beyond, np.inf, out)


def _floor_ha(
    above: ChannelAbove, up_m: FloatArray, *, begins_m: float, end_m: float
) -> FloatArray:
    """Floor of the uncut channel from where it begins up to each place, ha."""
    if end_m <= begins_m:
        return np.zeros(up_m.shape)
    floor = fill(above, above.bed_m + FLOOR_M, until_m=end_m)
    width, at = floor.wet.width_m, floor.up_m
    steps = 0.5 * (width[1:] + width[:-1]) * np.diff(at)
    so_far = np.concatenate([[0.0], np.cumsum(steps)])
    area = np.interp(up_m, at, so_far) - np.interp(begins_m, at, so_far)
    return np.asarray(np.maximum(area, 0.0) / 10_000.0)


def gully_section_m2(ground: Ground, foot_cell: int) -> float:
    """Section of the gully below a headcut up to its lower bank top, m2; NaN where none shows.

    The median over some metres below the foot, the first two cells left out: a raster smears the
    face over them.
    """
    cell_m = ground.raster.grid.cell_m
    below = bed_below(ground, foot_cell, length_m=max(GULLY_M, GULLY_CELLS * cell_m))
    if below.distance_m[-1] < 3 * cell_m:
        return float("nan")
    above = channel_above(ground, int(below.cell[-1]), length_m=0.0, toe_cell=foot_cell)
    clear = above.up_m[-1] - above.up_m >= 2 * cell_m
    row = np.flatnonzero(clear & above.banked)
    if 2 * row.size < np.count_nonzero(clear):
        return float("nan")
    wet = wetted(above, row, above.bed_m[row] + above.bank_depth_m[row])
    return float(np.median(wet.area_m2))


def rewetted_m2(above: ChannelAbove, *, crest_height_m: float, length_m: float) -> float:
    """Ground along a pool that stands less than the structure's height above the channel, m2.

    The bed itself is part of it. Soil water rises with the channel's bed and its pool; how far it
    spreads beyond is not told by elevations.
    """
    if length_m <= 0:
        return 0.0
    return fill(above, above.bed_m + crest_height_m, until_m=length_m).area_m2


def _has_walls(above: ChannelAbove, cell_m: float) -> np.ndarray:
    """Whether the banks on both sides rise steeply, for each section."""
    row, column = np.arange(above.size), np.arange(above.offset_m.size)
    walls = np.ones(above.size, dtype=np.bool_)
    for bank, toward in ((above.left, -1), (above.right, 1)):
        height = above.height_m[row, bank] - above.bed_m
        outward = (column - above.middle[:, None]) * toward
        high = (above.height_m - above.bed_m[:, None] >= 0.5 * height[:, None]) & (outward > 0)
        first = np.where(high, outward, column.size).min(axis=1)
        half_way = np.clip(above.middle + toward * first, 0, column.size - 1)
        run = np.abs(above.offset_m[bank] - above.offset_m[half_way])
        walls &= run <= np.maximum(BANK_SPREAD * height, BANK_CELLS * cell_m)
    return walls


def _first_lasting(yes: np.ndarray, up_m: np.ndarray, length_m: float) -> int | None:
    """First row from which something goes on for a length; None where it never does."""
    start: int | None = None
    for i, here in enumerate(yes.tolist()):
        if not here:
            start = None
            continue
        start = i if start is None else start
        if up_m[i] - up_m[start] >= length_m:
            return start
    return None
