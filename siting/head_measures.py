"""What the rules read at each headcut, and at the place of the grade control below it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.ground import BoolArray, FloatArray, Ground, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class PairPlaces:
    """Where the grade control of each headcut would stand; arrays of shape ``(n,)``.

    Parameters
    ----------
    cell
        Flat number, -1 where there is no room.
    distance_m
        Metres below the foot of the drop.
    slope, bank_depth_m, bank_width_m, is_fan
        Measures there.
    next_drop_m
        Metres from the foot to the next drop below, where that lies before the place; else NaN.
    reach, station_m
        Place on the network.
    """

    cell: IntArray
    distance_m: FloatArray
    slope: FloatArray
    bank_depth_m: FloatArray
    bank_width_m: FloatArray
    is_fan: BoolArray
    next_drop_m: FloatArray
    reach: IntArray
    station_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class HeadMeasures:
    """Measures at headcuts; arrays of shape ``(n,)``.

    Parameters
    ----------
    index
        Which of the ground's headcuts.
    height_m, slope, area_ha
        Drop, bed slope of the reach, drainage area.
    cut_off
        Whether the drainage area is cut off.
    bank_depth_m, bank_width_m, section_cell
        Channel just below the foot, and the cell where it was measured.
    heads_below
        Headcuts further down the same way.
    pair
        Place of the grade control.
    """

    index: IntArray
    height_m: FloatArray
    slope: FloatArray
    area_ha: FloatArray
    cut_off: BoolArray
    bank_depth_m: FloatArray
    bank_width_m: FloatArray
    section_cell: IntArray
    heads_below: IntArray
    pair: PairPlaces


def measure_heads(ground: Ground, index: IntArray) -> HeadMeasures:
    """Measure the channel at headcuts, all at once."""
    heads, cell_m = ground.headcuts, ground.raster.grid.cell_m
    height = heads.headcut_height_m[index]
    far = ground.rules.high("pair.distance") * float(height.max()) + 3 * cell_m
    way, walked = ground.ways_down(heads.foot_cell[index], length_m=far)
    below = np.argmax(walked >= np.maximum(height, 2 * cell_m)[:, None], axis=1)
    section_cell = way[np.arange(index.size), below]
    section_cell = np.where(section_cell >= 0, section_cell, heads.foot_cell[index])
    section = ground.sections(section_cell, ground.azimuth_deg(section_cell))
    near = ground.station_near(heads.reach[index], heads.station_m[index])
    depth = np.where(section.resolved, section.bank_depth_m, np.nan)
    return HeadMeasures(
        index=index,
        height_m=height,
        slope=_at_station(ground.stations.slope, near, np.maximum(heads.slope_below[index], 0)),
        area_ha=heads.drainage_area_ha[index],
        cut_off=ground.cut.is_cut(heads.cell[index]),
        bank_depth_m=np.where(np.isfinite(depth), depth, heads.incision_below_m[index]),
        bank_width_m=np.where(section.resolved, section.bank_width_m, np.nan),
        section_cell=section_cell,
        heads_below=_heads_below(ground, index),
        pair=pair_places(ground, index, way, walked),
    )


def _at_station(values: FloatArray, near: IntArray, otherwise: FloatArray) -> FloatArray:
    """Values of stations, or something else where a reach has none."""
    if not values.size:
        return otherwise
    return np.where(near >= 0, values[np.maximum(near, 0)], otherwise)


def _heads_below(ground: Ground, index: IntArray) -> IntArray:
    """Count headcuts further down each one's way."""
    cells = ground.headcuts.cell[index]
    count = np.zeros(index.size, dtype=np.int64)
    for lip in cells:
        count += ground.catchments.contains(lip, cells)
    return count - 1


def pair_places(ground: Ground, index: IntArray, way: IntArray, walked: FloatArray) -> PairPlaces:
    """Find the first cell at least the least distance below each foot.

    The nearest allowed place needs the lowest structure. Cells are coarse against short distances:
    the first cell past the least distance counts even when it lies a cell too far.
    """
    rules, heads, grid = ground.rules, ground.headcuts, ground.raster.grid
    n = np.arange(index.size)
    height = heads.headcut_height_m[index]
    near_m = rules.low("pair.distance") * height
    far_m = np.maximum(rules.high("pair.distance") * height, near_m + 1.5 * grid.cell_m)
    fits = (walked >= near_m[:, None]) & (walked <= far_m[:, None])
    at = np.argmax(fits, axis=1)
    # the next drop below ends the stretch: its lip must not lie between foot and structure
    sure = heads.confidence >= rules.value("measuring.least_confidence")
    is_lip = np.isin(way, heads.cell[sure]) & (way >= 0) & (way != heads.cell[index][:, None])
    lip_at = np.argmax(is_lip, axis=1)
    next_drop = np.where(is_lip.any(axis=1), walked[n, lip_at], np.nan)
    blocked = next_drop <= np.where(fits.any(axis=1), walked[n, at], far_m) + grid.cell_m
    ok = fits.any(axis=1) & ~blocked
    cell = np.where(ok, way[n, at], -1)
    there = np.maximum(cell, 0)
    section = ground.sections(there, ground.azimuth_deg(there))
    reach, station = ground.on_network(there)
    station_index = ground.station_near(reach, station)
    return PairPlaces(
        cell=cell,
        distance_m=np.where(ok, walked[n, at], np.nan),
        slope=_at_station(
            ground.stations.slope, station_index, np.maximum(heads.slope_below[index], 0)
        ),
        bank_depth_m=np.where(section.resolved, section.bank_depth_m, np.nan),
        bank_width_m=np.where(section.resolved, section.bank_width_m, np.nan),
        is_fan=_at_station(
            ground.stations.is_fan.astype(np.float64), station_index, np.zeros(index.size)
        )
        > 0.5,
        next_drop_m=np.where(blocked, next_drop, np.nan),
        reach=reach,
        station_m=station,
    )
