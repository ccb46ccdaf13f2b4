"""The bed below the foot of a drop, where the grade control of its pair may stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.layout.pair_reach import LEVEL_M
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: A second structure keeps this far from the end of the one at the drop, m (common practice).
CLEAR_M = 1.0
#: Rows of a bed that its slope is told from, at least.
SLOPE_ROWS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Where the grade control of one headcut may stand; arrays of shape ``(n,)``, going down.

    Parameters
    ----------
    cell, distance_m, needed_m
        Places, metres below the foot of the drop, and height of a crest there that is level with
        the foot.
    usual
        Whether a place lies within 4 to 6 drop heights; the others are closer.
    next_drop_m
        Metres from the foot to the next drop below, where that ends the stretch; else NaN.
    """

    cell: IntArray
    distance_m: FloatArray
    needed_m: FloatArray
    usual: BoolArray
    next_drop_m: float

    @property
    def size(self) -> int:
        """Number of places."""
        return int(self.cell.size)


def stretch_below(ground: Ground, foot: int, height_m: float) -> Stretch:
    """Lay out the bed below the foot of a drop.

    Parameters
    ----------
    ground
        Terrain.
    foot
        Cell of the foot.
    height_m
        Height of the drop.
    """
    rules, cell_m = ground.rules, ground.raster.grid.cell_m
    near = rules.low("pair.distance") * height_m
    # cells are coarse against short distances: one past the least distance always counts
    far = max(rules.high("pair.distance") * height_m, near + 1.5 * cell_m)
    bed = bed_below(ground, foot, length_m=far + 2 * cell_m)
    next_drop = float(bed.distance_m[-1]) if bed.ends_at == "headcut" else np.nan
    least = rules.value("rock_bowl.run") * height_m + CLEAR_M
    # the foot may lie in a plunge pool: the bed's own fall then counts
    slope = max(bed.slope()[0], 0.0) if bed.distance_m.size >= SLOPE_ROWS else 0.0
    clear = far if np.isnan(next_drop) else min(far, next_drop - cell_m)
    inside = np.flatnonzero((bed.distance_m >= min(least, near)) & (bed.distance_m <= clear))
    usual = bed.distance_m[inside] >= near - 1e-9
    # steps may share a cell: its middle lies midway between those in each part of the stretch
    keys = np.column_stack([bed.cell[inside], usual])
    _, first, own, rows = np.unique(
        keys, axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    own = own.reshape(-1)  # numpy 2.0 gives it the shape of the keys
    down = np.argsort(first)
    fall = (np.bincount(own, bed.bed_m[0] - bed.bed_m[inside]) / rows)[down]
    distance = (np.bincount(own, bed.distance_m[inside]) / rows)[down]
    return Stretch(
        cell=bed.cell[inside][first[down]],
        distance_m=distance,
        needed_m=np.maximum(np.maximum(fall, slope * distance) - LEVEL_M, 0.0),
        usual=usual[first[down]],
        next_drop_m=next_drop,
    )
