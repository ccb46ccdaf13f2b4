"""Water above a low structure while a flood runs over it: the tailwater of the drop above.

At the structure the water stands as high as the flow over the crest asks for, or at normal depth
where that is higher; from there the surface is carried up the measured sections by the standard
step (gradually varied flow, V. T. Chow 1959, from memory) with Manning's equation. Loss by
widening and narrowing is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.effects.channel_above import ChannelAbove, wetted
from siting.hydraulics.open_channel import GRAVITY_MPS2, LOWEST_SLOPE, STONE_WEIR, conjugate_depth_m
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.errors import ParameterError

#: Sections that a surface is carried through, at most; depths at which each is measured.
MOST_STEPS = 24
DEPTHS = 40
#: Water is taken to be at least this wide: a section that the elevations do not show would carry
#: nothing at any depth, m.
LEAST_WIDTH_M = 0.1
#: The backwater ends where it stands no more than this above normal depth, m.
MEETS_M = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Tailwater:
    """Water surface above a structure at one flow.

    Parameters
    ----------
    discharge_m3s, level_m, depth_m
        Flow; level and depth just above the structure.
    rule
        What sets that level: ``weir`` (head over the crest) or ``normal`` (normal depth).
    head_m, normal_depth_m
        Head above the crest that the flow asks for, and normal depth at the structure.
    toe_depth_m, toe_error_m
        Depth at the foot that ends the channel, and the standard error of the beds; NaN without a
        foot.
    length_m
        How far up the water stands above normal depth.
    steep
        Whether the bed is so steep that normal flow shoots: above the backwater it ends in a jump,
        and normal depth stands there.
    overtops
        Whether the water stands above a bank top, or the highest ground beside it: it spreads
        further than is counted, so depths are upper bounds.
    up_m, surface_m
        Sections and their water levels.
    """

    discharge_m3s: float
    level_m: float
    depth_m: float
    rule: str
    head_m: float
    normal_depth_m: float
    toe_depth_m: float
    toe_error_m: float
    length_m: float
    steep: bool
    overtops: bool
    up_m: FloatArray
    surface_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Sizes:
    """Wetted sizes of sections at one set of depths above their lowest ground, ``(n, DEPTHS)``."""

    depth: FloatArray
    area: FloatArray
    perimeter: FloatArray
    width: FloatArray

    def reach(self, value: FloatArray, target: float, *, power: float) -> FloatArray:
        """Lowest depth of each section at which a value reaches a target; infinite for none.

        ``power`` makes the value close to straight in the depth.
        """
        v, t = value**power, target**power
        k = np.argmax(v >= t, axis=1)
        i = np.arange(len(v))
        low = np.where(k > 0, v[i, k - 1], 0.0)
        before = np.where(k > 0, self.depth[i, k - 1], 0.0)
        rise = np.maximum(v[i, k] - low, 1e-300)
        depth = before + (t - low) / rise * (self.depth[i, k] - before)
        return np.where(v[i, k] >= t, depth, np.inf)


def _sizes(above: ChannelAbove, row: IntArray, deepest_m: float) -> _Sizes:
    share = (np.arange(1, DEPTHS + 1) / DEPTHS) ** 1.5
    depth = np.tile(deepest_m * share, (row.size, 1))
    level = (_lowest_m(above, row)[:, None] + depth).reshape(-1)
    wet = wetted(above, np.repeat(row, DEPTHS), level)
    shape = depth.shape
    return _Sizes(
        depth,
        np.maximum(wet.area_m2.reshape(shape), LEAST_WIDTH_M * depth),
        np.maximum(wet.perimeter_m.reshape(shape), LEAST_WIDTH_M),
        np.maximum(wet.width_m.reshape(shape), LEAST_WIDTH_M),
    )


def _lowest_m(above: ChannelAbove, row: IntArray) -> FloatArray:
    """Lowest ground of sections, m: on coarse cells well below the bed smoothed along the way."""
    return np.fmin(above.height_m[row, above.middle[row]], above.bed_m[row])


def tailwater_in(
    above: ChannelAbove,
    *,
    crest_height_m: float,
    discharge_m3s: float,
    roughness: float,
    slope: float,
) -> Tailwater:
    """Water surface above a crest at the lower end of a channel while a flow runs over it.

    Parameters
    ----------
    above
        Channel above the structure.
    crest_height_m
        Height of the crest above the bed there.
    discharge_m3s
        Flow, above 0.
    roughness
        Manning's n, above 0.
    slope
        Bed slope of the reach, for normal depth; not taken below 0.001.

    Raises
    ------
    ParameterError
        A crest, flow or roughness that is not above 0, or a slope that is not known.
    """
    for value, what in (
        (crest_height_m, "a crest of {:g} m"),
        (discharge_m3s, "a flow of {:g} m3/s"),
        (roughness, "a roughness of {:g}"),
    ):
        if not 0 < value < np.inf:
            raise ParameterError(what.format(value), expected="above 0")
    if not np.isfinite(slope):
        raise ParameterError("a bed slope that is not known", expected="a number")
    flow, fall = float(discharge_m3s), max(float(slope), LOWEST_SLOPE)
    row = np.unique(np.rint(np.linspace(0, above.size - 1, MOST_STEPS)).astype(np.int64))
    lowest, up = _lowest_m(above, row), above.up_m[row]
    below = float(lowest[0] - lowest.min())
    crest = crest_height_m + float(above.bed_m[0] - lowest[0])
    deepest = crest + below + 0.5
    while True:
        sizes = _sizes(above, row, deepest)
        carried = sizes.area ** (5 / 3) * sizes.perimeter ** (-2 / 3) * np.sqrt(fall) / roughness
        normal = sizes.reach(carried, flow, power=0.6)
        head = _head_m(sizes, crest, flow)
        at_crest = max(float(normal[0]), crest + head)
        if max(1.2 * (at_crest + below), 1.1 * float(normal.max())) <= deepest:
            break
        deepest *= 2
    squared = GRAVITY_MPS2 * sizes.area**3 / sizes.width
    critical = sizes.reach(np.sqrt(squared), flow, power=2 / 3)
    depth, shoots_from = _carry_up(
        sizes, lowest, up, flow, roughness, at_crest=at_crest, normal=normal, critical=critical
    )
    surface = lowest + depth
    above_bed = surface - above.bed_m[row]
    over = ~(above_bed <= above.rim_m[row])
    meets = np.flatnonzero(depth - normal <= MEETS_M)
    foot = above.ends_at == "foot"
    error = float(np.hypot(above.error_m[0], above.error_m[-1])) if foot else float("nan")
    return Tailwater(
        discharge_m3s=flow,
        level_m=float(surface[0]),
        depth_m=float(above_bed[0]),
        rule="weir" if crest + head >= normal[0] else "normal",
        head_m=head,
        normal_depth_m=float(normal[0]),
        toe_depth_m=float(above_bed[-1]) if foot else float("nan"),
        toe_error_m=error,
        length_m=float(up[meets[0]] if meets.size else up[-1]),
        steep=bool(shoots_from < row.size or (normal < critical).any()),
        overtops=bool(over.any()),
        up_m=up,
        surface_m=surface,
    )


def _head_m(sizes: _Sizes, crest_m: float, flow: float) -> float:
    """Head over a level crest as wide as the water there, m; infinite beyond the depths held."""
    depth, width = sizes.depth[0], sizes.width[0]
    head = np.maximum(depth - crest_m, 0.0)
    # close to straight in the head, as the width changes little
    v = (STONE_WEIR * width) ** (2 / 3) * head
    target = float(flow ** (2 / 3))
    k = int(np.argmax(v >= target))
    if v[k] < target:
        return float("inf")
    before = float(head[k - 1]) if k else 0.0
    low = float(v[k - 1]) if k else 0.0
    return before + (target - low) / (float(v[k]) - low) * (float(head[k]) - before)


def _carry_up(
    sizes: _Sizes,
    lowest: FloatArray,
    up: FloatArray,
    flow: float,
    roughness: float,
    *,
    at_crest: float,
    normal: FloatArray,
    critical: FloatArray,
) -> tuple[FloatArray, int]:
    """Depths from the structure up by the standard step, and the first section that shoots."""
    n = lowest.size
    friction = flow**2 * roughness**2 * sizes.perimeter ** (4 / 3) / sizes.area ** (10 / 3)
    energy = lowest[:, None] + sizes.depth + flow**2 / (2 * GRAVITY_MPS2 * sizes.area**2)
    jump = _after_jump_m(sizes, flow, normal, critical)
    depth = normal.copy()
    depth[0] = at_crest
    for r in range(1, n):
        here = sizes.depth[r - 1]
        loss = float(np.interp(depth[r - 1], here, friction[r - 1]))
        had = float(np.interp(depth[r - 1], here, energy[r - 1]))
        step = up[r] - up[r - 1]
        slow = np.flatnonzero(sizes.depth[r] >= critical[r])
        # on the slow branch energy less half the loss rises with depth
        has = np.maximum.accumulate(energy[r, slow] - 0.5 * step * friction[r, slow])
        wants = had + 0.5 * step * loss
        if not slow.size or wants < has[0]:
            return depth, r  # no slow flow fits: it shoots at normal depth from here up
        found = float(np.interp(wants, has, sizes.depth[r, slow]))
        if found <= jump[r]:
            return depth, r
        depth[r] = found
    return depth, n


def _after_jump_m(
    sizes: _Sizes, flow: float, normal: FloatArray, critical: FloatArray
) -> FloatArray:
    """Depth of the water after a jump from normal flow; 0 where normal flow does not shoot.

    By the mean depth, as for a rectangle of the same width.
    """
    out = np.zeros(normal.size)
    for r in np.flatnonzero(normal < critical):
        area = float(np.interp(normal[r], sizes.depth[r], sizes.area[r]))
        mean = area / float(np.interp(normal[r], sizes.depth[r], sizes.width[r]))
        froude = max(flow / area / np.sqrt(GRAVITY_MPS2 * mean), 1.0)
        out[r] = normal[r] * conjugate_depth_m(mean, froude) / mean
    return out
