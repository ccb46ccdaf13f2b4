"""The ground across a channel, and what water of a given depth wets of it.

Ground between two measured points is a straight line, so everything here is exact for the points
given. Water counts only where it hangs together with the deepest point: a ditch beyond a bank stays
dry until the bank goes under, and then fills at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

#: Least rise that parts two channels, m: above the noise of good elevation rasters, below the banks
#: of channels worth building in. Common practice, no published source.
BANK_RISE_M = 0.25


class Wetted(NamedTuple):
    """What water of one depth wets: m, m2, m and m."""

    depth_m: float
    area_m2: float
    perimeter_m: float
    top_width_m: float


class _Rows(NamedTuple):
    """Wetted sizes at every depth where they change their course, twice: before and after."""

    depth: FloatArray
    area: FloatArray
    perimeter: FloatArray
    width: FloatArray


class _Side(NamedTuple):
    """One side of a section, from the deepest point outward."""

    height: FloatArray
    reach: FloatArray  # highest ground so far
    run: FloatArray  # distance from the deepest point
    below: FloatArray  # integral of the ground's height over that distance
    length: FloatArray  # length of the ground's line


@dataclass(frozen=True, slots=True, eq=False)
class CrossSection:
    """Ground across a channel, left to right looking downstream.

    Parameters
    ----------
    offset_m
        Distance from the left, m, shape (n,), n at least 2; never decreasing, the same twice for an
        upright wall.
    height_m
        Ground, m, shape (n,), finite.

    Raises
    ------
    ParameterError
        Fewer than two points, shapes that differ, offsets that decrease or are all the same, or
        values that are not finite.
    """

    offset_m: FloatArray
    height_m: FloatArray
    _sides: tuple[_Side, _Side] = field(init=False, repr=False)
    _rows: _Rows = field(init=False, repr=False)

    def __post_init__(self) -> None:
        offset, height = (np.array(v, dtype=np.float64) for v in (self.offset_m, self.height_m))
        if offset.ndim != 1 or offset.shape != height.shape or offset.size < 2:
            raise ParameterError(
                f"a cross-section with shapes {offset.shape} and {height.shape}",
                expected="offsets and heights of the same length, two or more",
            )
        if not (np.isfinite(offset).all() and np.isfinite(height).all()):
            raise ParameterError("a cross-section with missing values", expected="finite numbers")
        if (np.diff(offset) < 0).any() or offset[0] == offset[-1]:
            raise ParameterError(
                "a cross-section whose offsets do not increase", expected="left to right"
            )
        offset.setflags(write=False)
        height.setflags(write=False)
        object.__setattr__(self, "offset_m", offset)
        object.__setattr__(self, "height_m", height)
        low = int(height.argmin())
        sides = (
            _side(offset[low] - offset[low::-1], height[low::-1] - height[low]),
            _side(offset[low:] - offset[low], height[low:] - height[low]),
        )
        object.__setattr__(self, "_sides", sides)
        object.__setattr__(self, "_rows", _rows(sides))

    @classmethod
    def trapezoid(
        cls, bottom_width_m: float, *, side: float, depth_m: float, floodplain_m: float = 0.0
    ) -> Self:
        """Make a trapezoid, rectangle or triangle.

        Parameters
        ----------
        bottom_width_m
            Width of the bed, m; 0 for a triangle.
        side
            Horizontal per vertical of both banks; 0 for upright ones.
        depth_m
            Height of the banks, m.
        floodplain_m
            Width of level ground beyond each bank, m.

        Raises
        ------
        ParameterError
            A size below zero, a depth of zero, or neither bed nor sloping banks.
        """
        sizes = (bottom_width_m, side, depth_m, floodplain_m)
        if not (np.isfinite(sizes).all() and min(sizes) >= 0 and depth_m > 0):
            raise ParameterError(f"a trapezoid of {sizes}", expected="sizes of zero or more")
        half, top = bottom_width_m / 2, bottom_width_m / 2 + side * depth_m
        if top == 0:
            raise ParameterError("a trapezoid without width", expected="a bed or sloping banks")
        right = [(half, 0.0), (top, depth_m)]
        if floodplain_m:
            right.append((top + floodplain_m, depth_m))
        points = [(-x, z) for x, z in reversed(right)] + right
        if half == 0:
            points.remove((0.0, 0.0))
        x, z = np.array(points).T
        return cls(x, z)

    @classmethod
    def from_ground(
        cls, offset_m: ArrayLike, height_m: ArrayLike, *, bank_rise_m: float = BANK_RISE_M
    ) -> Self:
        """Make a section from measured ground: the part round the middle that has no gaps.

        It ends at the first gap (NaN) on either side of the middle, and on the bank in between
        where a lower channel lies beside this one: else that one would be taken for the bed.

        Parameters
        ----------
        offset_m, height_m
            Shape (n,), its middle in the channel; heights may be NaN.
        bank_rise_m
            Least rise that parts two channels, m.

        Raises
        ------
        ParameterError
            No ground in the middle, or as for `CrossSection`.
        """
        offset = np.asarray(offset_m, dtype=np.float64)
        height = np.asarray(height_m, dtype=np.float64)
        if offset.ndim != 1 or offset.shape != height.shape or offset.size < 2:
            raise ParameterError(
                f"a cross-section with shapes {offset.shape} and {height.shape}",
                expected="offsets and heights of the same length, two or more",
            )
        middle = offset.size // 2
        gaps = np.flatnonzero(~(np.isfinite(height) & np.isfinite(offset)))
        if (gaps == middle).any():
            raise ParameterError(
                "a cross-section without ground in its middle", expected="elevations on the channel"
            )
        first = int(gaps[gaps < middle].max(initial=-1)) + 1
        end = int(gaps[gaps > middle].min(initial=offset.size))
        left, right = height[first : middle + 1][::-1], height[middle:end]
        low = min(_bed(left, bank_rise_m), _bed(right, bank_rise_m))
        first = middle - _last(left, low, bank_rise_m)
        end = middle + _last(right, low, bank_rise_m) + 1
        return cls(offset[first:end], height[first:end])

    @property
    def bed_m(self) -> float:
        """Height of the lowest point, m."""
        return float(self.height_m[self.deepest])

    @property
    def deepest(self) -> int:
        """Index of the lowest point, the left one of several."""
        return int(self.height_m.argmin())

    @property
    def rim_m(self) -> float:
        """Depth at which water leaves the section at its lower end, m."""
        return float(min(side.reach[-1] for side in self._sides))

    def wetted(self, depth_m: float) -> Wetted:
        """What water of a depth above the lowest point wets.

        Above the rim the section goes on with upright walls.

        Raises
        ------
        ParameterError
            A depth below zero or not a number.
        """
        if not 0 <= depth_m < np.inf:
            raise ParameterError(f"a water depth of {depth_m:g} m", expected="zero or more")
        area, perimeter, width = _wetted(self._sides, np.array([depth_m], dtype=float), "right")
        return Wetted(float(depth_m), float(area[0]), float(perimeter[0]), float(width[0]))

    def top_width_m(self, depth_m: float) -> float:
        """Width of the water's surface, m."""
        return self.wetted(depth_m).top_width_m

    def lowest_wetted(
        self, target: float, *, area: float, perimeter: float = 0.0, width: float = 0.0
    ) -> Wetted:
        """Lowest water at which A^area P^perimeter T^width reaches a target.

        Where a bank goes under and the ditch beyond it fills, depth stands still while area,
        perimeter and width grow in step: the ditch fills as far as the target asks.

        Parameters
        ----------
        target
            Zero or more.
        area, perimeter, width
            Exponents, such that the product grows without end as water rises. 5/3, -2/3 and 0 give
            Manning's conveyance times its roughness; 3/2, 0 and -1/2 critical flow.
        """
        powers = (area, perimeter, width)
        rows = self._rows
        value = _product(rows.area, rows.perimeter, rows.width, powers)
        # The first row that reaches the target: overbank ground that just goes under can lower the
        # product, so rows need not increase. Between two rows it falls at most first and then
        # rises, which leaves one crossing.
        k = int(np.argmax(value >= target))
        if value[k] < target:
            return _beyond(rows, target, powers)
        if k == 0:
            return _row(rows, 0)
        return _between(_row(rows, k - 1), _row(rows, k), target, powers)


def _bed(outward: FloatArray, bank_rise: float) -> float:
    """Lowest ground from the middle outward before a bank parts it from what lies beyond."""
    low = peak = float(outward[0])
    for z in outward.tolist():
        peak = max(peak, z)
        if z < low:
            if peak - low >= bank_rise:
                break
            low = peak = z
    return low


def _last(outward: FloatArray, low: float, bank_rise: float) -> int:
    """Last point that belongs to the channel: the bank top before ground falls below its bed."""
    below = outward < low
    if not below.any():
        return outward.size - 1
    peak = int(outward[: int(below.argmax())].argmax())
    return peak if outward[peak] - low >= bank_rise else outward.size - 1


def _side(run: FloatArray, height: FloatArray) -> _Side:
    dx, dz = np.diff(run), np.diff(height)
    zero = np.zeros(1)
    below = np.concatenate([zero, np.cumsum((height[1:] + height[:-1]) / 2 * dx)])
    length = np.concatenate([zero, np.cumsum(np.hypot(dx, dz))])
    return _Side(height, np.maximum.accumulate(height), run, below, length)


def _rows(sides: tuple[_Side, _Side]) -> _Rows:
    depth = np.unique(np.concatenate([side.reach for side in sides]))
    twice = np.repeat(depth, 2)[1:]
    columns = [np.empty(twice.size) for _ in range(3)]
    # a row before and a row after each depth; the lowest depth has only one after
    for start, how in ((1, "left"), (0, "right")):
        for column, part in zip(columns, _wetted(sides, twice[start::2], how), strict=True):
            column[start::2] = part
    return _Rows(twice, *columns)


def _wetted(
    sides: tuple[_Side, _Side], depth: FloatArray, how: str
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Area, perimeter and top width at depths, before (left) or after (right) ground at just that.

    ``how`` is the side of a binary search: whether ground exactly as high as the water is dry.
    """
    total = [np.zeros(depth.size) for _ in range(3)]
    for side in sides:
        last = side.height.size - 1
        j = np.searchsorted(side.reach, depth, side="left" if how == "left" else "right") - 1
        j = np.maximum(j, 0)
        after = np.minimum(j + 1, last)
        above = depth - side.height[j]
        rise = side.height[after] - side.height[j]
        inside = j < last
        # how far up the next stretch of ground the water reaches; an end goes on as a wall
        share = np.where(inside, above / np.where(inside, rise, 1.0), 0.0)
        width = share * (side.run[after] - side.run[j])
        edge = np.where(inside, share * (side.length[after] - side.length[j]), above)
        total[0] += depth * side.run[j] - side.below[j] + above * width / 2
        total[1] += side.length[j] + edge
        total[2] += side.run[j] + width
    return total[0], total[1], total[2]


def _row(rows: _Rows, k: int) -> Wetted:
    return Wetted(*(float(column[k]) for column in rows))


def _product(
    area: FloatArray, perimeter: FloatArray, width: FloatArray, powers: tuple[float, float, float]
) -> FloatArray:
    value = np.zeros(area.size)
    wet = area > 0
    value[wet] = area[wet] ** powers[0]
    for part, power in ((perimeter, powers[1]), (width, powers[2])):
        if power:
            value[wet] *= part[wet] ** power
    return value


def _between(
    low: Wetted, high: Wetted, target: float, powers: tuple[float, float, float]
) -> Wetted:
    """Find the water between two rows at which the product is the target."""
    (d0, a0, p0, t0), (d1, a1, p1, t1) = low, high
    # between two depths area is a square in the depth; on one depth it grows in step
    first, second = ((d1 - d0) * t0, (d1 - d0) * (t1 - t0) / 2) if d1 > d0 else (a1 - a0, 0.0)
    dp, dt = p1 - p0, t1 - t0

    def at(s: float) -> tuple[float, float, float]:
        return a0 + s * (first + s * second), p0 + s * dp, t0 + s * dt

    below, above, s = 0.0, 1.0, 0.5
    for _ in range(100):
        a, p, t = at(s)
        value = a ** powers[0] * p ** powers[1] * t ** powers[2] if a > 0 else 0.0
        miss = value / target - 1
        if abs(miss) < 1e-13 or above - below < 1e-15:
            break
        below, above = (s, above) if miss < 0 else (below, s)
        # Newton on the logarithm, halving where that leaves the bracket
        slope = 0.0
        if a > 0:
            slope = powers[0] * (first + 2 * s * second) / a + powers[1] * dp / p
            slope += powers[2] * dt / t if powers[2] else 0.0
        step = s - math.log1p(miss) / slope if slope > 0 and miss > -1 else below
        s = step if below < step < above else (below + above) / 2
    return Wetted(d0 + s * (d1 - d0), *at(s))


def _beyond(rows: _Rows, target: float, powers: tuple[float, float, float]) -> Wetted:
    """Find the water above all ground, between two upright walls, that reaches the target."""
    last = _row(rows, -1)
    rise = max(last.depth_m, last.area_m2 / last.top_width_m, 1.0)
    while True:
        top = Wetted(
            last.depth_m + rise,
            last.area_m2 + rise * last.top_width_m,
            last.perimeter_m + 2 * rise,
            last.top_width_m,
        )
        area, perimeter, width = (np.array([v]) for v in top[1:])
        if _product(area, perimeter, width, powers)[0] >= target:
            return _between(last, top, target, powers)
        rise *= 2
