"""How near places come to roads, buildings and ponds, and what that forbids.

Distances run from a place's middle to the nearest point of a feature as mapped. Limits are held
against the unfavourable end: distance less the error of the maps. A feature may also lie in the
reach of a structure: on the way of the water below it, where stones and water go when it fails, or
above it, where it may hold water back.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.channels.ground import Ground
from siting.layout.flow_ways import WANDERING, way_lines, ways_up
from siting.layout.keep_clear import BUILDING, CULVERT, KINDS, OTHER, POND, ROAD, KeepClear
from siting.values.rules import Rules
from siting.values.wording import metres
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only

#: Distance that structures keep from each kind.
LIMITS: Final = {
    ROAD: "keep_clear.road",
    BUILDING: "keep_clear.building",
    POND: "keep_clear.pond",
    CULVERT: "keep_clear.culvert",
    OTHER: "keep_clear.other",
}
_CALLED: Final = {
    ROAD: ("the road", "a road"),
    BUILDING: ("the building", "a building"),
    POND: ("the pond", "a pond"),
    CULVERT: ("the culvert", "a culvert"),
    OTHER: ("the feature to keep clear of", "such a feature"),
}
#: A drawn way may still be so much longer than the channel: taken, as the unfavourable end.
_STILL_TOO_LONG: Final = 1.1
#: Crossings of one road and one reach closer than this are one, m.
_SAME_CROSSING_M: Final = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Near:
    """Nearest feature of each kind for n places.

    Parameters
    ----------
    distance_m
        To the nearest one of each of `KINDS`, infinite where there is none, shape ``(n, kinds)``.
    which
        Its number in the `KeepClear`, -1 for none, same shape.
    """

    distance_m: FloatArray
    which: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Clearance:
    """What n places are too near to.

    Parameters
    ----------
    nearest_m, nearest_kind, nearest_name
        Nearest feature of all, as mapped; infinite and empty without any.
    road_m
        Nearest road, infinite without any.
    limit_m
        Distance that has to be kept from the nearest feature, error of the maps included; NaN
        without any.
    within
        Whether a feature of any kind is nearer than its limit.
    below_m, below_kind
        Way of the water to where it first comes within the error of the maps of a feature, and the
        feature's kind; infinite and empty where there is none in reach.
    above_m, above_kind
        The same up the channel.
    reasons
        A tuple of plain sentences each: everything that asks for an engineer.
    """

    nearest_m: FloatArray
    nearest_kind: NDArray[np.object_]
    nearest_name: NDArray[np.object_]
    road_m: FloatArray
    limit_m: FloatArray
    within: BoolArray
    below_m: FloatArray
    below_kind: NDArray[np.object_]
    above_m: FloatArray
    above_kind: NDArray[np.object_]
    reasons: NDArray[np.object_]

    def __post_init__(self) -> None:
        for f in fields(self):
            read_only(getattr(self, f.name))

    @property
    def refer(self) -> BoolArray:
        """Whether an engineer must look first."""
        return np.array([bool(r) for r in self.reasons], dtype=np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Places where roads cross channels.

    Parameters
    ----------
    cell
        Flat number of the channel's cell.
    x_m, y_m
        Where the lines cross, m.
    reach
        Reach of the channel network.
    road
        Number of the road in the `KeepClear`.
    """

    cell: IntArray
    x_m: FloatArray
    y_m: FloatArray
    reach: IntArray
    road: IntArray


def position_error_m(rules: Rules, cell_m: float) -> float:
    """Error of a distance between a place on the raster and a mapped feature, m."""
    return max(rules.value("keep_clear.position_error"), cell_m)


def near(keep: KeepClear, x_m: FloatArray, y_m: FloatArray) -> Near:
    """Find the nearest feature of each kind."""
    points = shapely.points(np.atleast_1d(x_m), np.atleast_1d(y_m))
    distance = np.full((points.size, len(KINDS)), np.inf)
    which = np.full(distance.shape, -1, dtype=np.int64)
    for k, kind in enumerate(KINDS):
        own = np.flatnonzero(keep.kind == kind)
        if not own.size or not points.size:
            continue
        tree = shapely.STRtree(keep.shapes[own])
        (place, hit), away = tree.query_nearest(points, return_distance=True, all_matches=False)
        distance[place, k], which[place, k] = away, own[hit]
    return Near(read_only(distance), read_only(which))


def check_clearance(keep: KeepClear, ground: Ground, cells: IntArray) -> Clearance:
    """Hold places against every distance that structures keep.

    Parameters
    ----------
    keep
        Roads and other features.
    ground
        Gives the flow and, as ``ground.rules``, the limits.
    cells
        Flat numbers of the places' cells, shape ``(n,)``.
    """
    n = cells.size
    found = near(keep, *ground.raster.grid.xy_of(cells))
    error = position_error_m(ground.rules, ground.raster.grid.cell_m)
    limits = np.array([ground.rules.value(LIMITS[k]) for k in KINDS])
    broken = found.distance_m - error < limits
    first = found.distance_m.argmin(axis=1)
    row = np.arange(n)
    at = found.which[row, first]
    below = _in_reach(keep, ground, cells, down=True)
    above = _in_reach(keep, ground, cells, down=False)
    reasons = np.empty(n, dtype=object)
    for i in range(n):
        near_ones = {
            int(found.which[i, k]): _too_near(
                keep, int(found.which[i, k]), found.distance_m[i, k], limits[k], error
            )
            for k in np.flatnonzero(broken[i])
        }
        # what is too near anyway needs no second sentence
        further = [r.words(keep, i) for r in (below, above) if r.which[i] not in near_ones]
        reasons[i] = (*near_ones.values(), *(s for said in further for s in said))
    none = at < 0
    return Clearance(
        nearest_m=found.distance_m[row, first],
        nearest_kind=_words(keep.kind, at),
        nearest_name=_words(keep.name, at),
        road_m=found.distance_m[:, KINDS.index(ROAD)].copy(),
        limit_m=np.where(none, np.nan, limits[first] + error),
        within=np.asarray(broken.any(axis=1)),
        below_m=below.way_m,
        below_kind=_words(keep.kind, below.which),
        above_m=above.way_m,
        above_kind=_words(keep.kind, above.which),
        reasons=reasons,
    )


def told_from(found: Clearance, keep: KeepClear, x_m: FloatArray, y_m: FloatArray) -> Clearance:
    """Give the same with the distance to the nearest feature from exact places."""
    away = near(keep, x_m, y_m).distance_m
    kinds = [KINDS.index(kind) if kind in KINDS else -1 for kind in found.nearest_kind]
    exact = [away[i, k] if k >= 0 else found.nearest_m[i] for i, k in enumerate(kinds)]
    return replace(found, nearest_m=np.array(exact, dtype=np.float64))


def road_crossings(keep: KeepClear, ground: Ground) -> Crossings:
    """Find where roads cross channels, each crossing once."""
    network, grid = ground.network, ground.raster.grid
    lines = network.lines() if network.size else np.empty(0, dtype=object)
    own = np.flatnonzero(keep.kind == ROAD)
    road, reach = shapely.STRtree(lines).query(keep.shapes[own], predicate="intersects")
    shared = shapely.intersection(keep.shapes[own[road]], lines[reach])
    parts, owner = shapely.get_parts(shared, return_index=True)
    middle = shapely.centroid(parts)
    x, y = shapely.get_x(middle), shapely.get_y(middle)
    road, reach = own[road[owner]], reach[owner]
    cell = np.empty(x.size, dtype=np.int64)
    kept: list[int] = []
    for i in range(x.size):
        vertices = network.line_cells[network.line_start[reach[i]] : network.line_end[reach[i]]]
        vx, vy = grid.xy_of(vertices)
        cell[i] = vertices[np.argmin(np.hypot(vx - x[i], vy - y[i]))]
        if all(np.hypot(x[i] - x[j], y[i] - y[j]) > _SAME_CROSSING_M for j in kept):
            kept.append(i)
    arrays = (cell[kept], x[kept], y[kept], reach[kept].astype(np.int64), road[kept])
    return Crossings(*(read_only(a) for a in arrays))


@dataclass(frozen=True, slots=True, eq=False)
class _Reach:
    """First feature on each way of the water within a limit: way to it, m, and its number."""

    way_m: FloatArray
    which: IntArray
    limit_m: float
    error_m: float
    down: bool

    def words(self, keep: KeepClear, i: int) -> tuple[str, ...]:
        if self.which[i] < 0:
            return ()
        called = _named(keep, int(self.which[i]))
        way, limit, error = (metres(v) for v in (self.way_m[i], self.limit_m, self.error_m))
        if self.down:
            return (
                f"After {way} the water from here comes within {error} of {called}: where one lies "
                f"on the first {limit} of its way an engineer must look first.",
            )
        return (
            f"{way} up the channel from here {called} lies within {error} of it: water held back "
            f"here may reach it, so on the first {limit} an engineer must look first.",
        )


def _in_reach(keep: KeepClear, ground: Ground, cells: IntArray, *, down: bool) -> _Reach:
    """Follow the water from cells, and find the first feature that it touches."""
    error = position_error_m(ground.rules, ground.raster.grid.cell_m)
    rule = "keep_clear.reach_below" if down else "keep_clear.reach_above"
    limit = ground.rules.value(rule)
    way_m = np.full(cells.size, np.inf)
    which = np.full(cells.size, -1, dtype=np.int64)
    if keep.size and cells.size:
        walk = ground.ways_down if down else partial(ways_up, ground)
        length = _STILL_TOO_LONG * limit
        lines = way_lines(ground, *walk(cells, length_m=WANDERING * length), length)
        place, hit = shapely.STRtree(keep.shapes).query(lines, predicate="dwithin", distance=error)
        for i, k in zip(place, hit, strict=True):
            meets = shapely.intersection(lines[i], shapely.buffer(keep.shapes[k], error))
            corners = shapely.points(shapely.get_coordinates(meets))
            far = float(shapely.line_locate_point(lines[i], corners).min(initial=np.inf))
            if far < way_m[i]:
                way_m[i], which[i] = far, k
    return _Reach(read_only(way_m), read_only(which), limit, error, down)


def _too_near(keep: KeepClear, which: int, away_m: float, limit_m: float, error_m: float) -> str:
    called, any_one = _named(keep, which), _CALLED[keep.kind[which]][1]
    where = (
        f"The place lies in or on {called}"
        if away_m == 0
        else f"{called[0].upper()}{called[1:]} lies {metres(away_m)} away"
    )
    return (
        f"{where}: within {metres(limit_m + error_m)} of {any_one} an engineer must look first "
        f"({metres(limit_m)}, and {metres(error_m)} for the error of the maps)."
    )


def _named(keep: KeepClear, which: int) -> str:
    the, name = _CALLED[keep.kind[which]][0], str(keep.name[which])
    return f"{the} '{name}'" if name and name.casefold() != keep.kind[which] else the


def _words(values: NDArray[np.object_], which: IntArray) -> NDArray[np.object_]:
    out = np.full(which.size, "", dtype=object)
    out[which >= 0] = values[which[which >= 0]]
    return out
