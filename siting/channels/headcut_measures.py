"""What the rules read at each headcut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.channels.bed_slopes import past_foot_m
from siting.channels.ground import Ground
from terrain.values.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class HeadMeasures:
    """Measures at headcuts; arrays of shape ``(n,)``.

    Parameters
    ----------
    index
        Which of the ground's headcuts.
    height_m, area_ha
        Drop, drainage area.
    cut_off
        Whether the drainage area is cut off.
    bank_depth_m, bank_width_m, section_cell
        Channel just below the foot, and the cell where it was measured.
    heads_below
        Headcuts further down the same way.
    """

    index: IntArray
    height_m: FloatArray
    area_ha: FloatArray
    cut_off: BoolArray
    bank_depth_m: FloatArray
    bank_width_m: FloatArray
    section_cell: IntArray
    heads_below: IntArray


def measure_heads(ground: Ground, index: IntArray) -> HeadMeasures:
    """Measure the channel at headcuts, all at once; ``index`` is ``(n,)``."""
    heads, cell_m = ground.headcuts, ground.raster.grid.cell_m
    height = heads.headcut_height_m[index]
    way, walked = ground.ways_down(
        heads.foot_cell[index], length_m=float(height.max(initial=0.0)) + 3 * cell_m
    )
    past = np.array([past_foot_m(ground, h) for h in height.tolist()])
    below = np.argmax(walked >= past[:, None], axis=1)
    section_cell = way[np.arange(index.size), below]
    section_cell = np.where(section_cell >= 0, section_cell, heads.foot_cell[index])
    section = ground.sections(section_cell, ground.azimuth_deg(section_cell))
    depth = np.where(section.resolved, section.bank_depth_m, np.nan)
    return HeadMeasures(
        index=index,
        height_m=height,
        area_ha=heads.drainage_area_ha[index],
        cut_off=ground.cut.is_cut(heads.cell[index]),
        bank_depth_m=np.where(np.isfinite(depth), depth, heads.incision_below_m[index]),
        bank_width_m=np.where(section.resolved, section.bank_width_m, np.nan),
        section_cell=section_cell,
        heads_below=_heads_below(ground, index),
    )


def _heads_below(ground: Ground, index: IntArray) -> IntArray:
    """Count headcuts further down each one's way."""
    cells = ground.headcuts.cell[index]
    count = np.zeros(index.size, dtype=np.int64)
    for lip in cells:
        count += ground.catchments.contains(lip, cells)
    return count - 1
