"""Least-effort ways between stops over the net, by Dijkstra's method."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from siting.walking.net import WalkNet
from siting.walking.speed import walking_speed_mps
from terrain.values.arrays import FloatArray
from terrain.values.progress import Progress, silent

#: Ways between more points than these are not kept but found again when they are asked for.
_KEPT = 200


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Times between points and the ways that take them.

    Parameters
    ----------
    xy
        The points, m, shape ``(n, 2)``.
    time_s
        From row to column, s, shape ``(n, n)``; infinite where there is no way.
    """

    net: WalkNet
    xy: FloatArray
    time_s: FloatArray
    _place: NDArray[np.int64]
    _trails: dict[int, NDArray[np.int32]]
    _columns: dict[int, int]

    def line(self, start: int, end: int) -> FloatArray:
        """Way from one point to another as x and y, m, shape ``(k, 2)``."""
        a, b = int(self._place[start]), int(self._place[end])
        ends = self.xy[[start, end]]
        if a < 0 or b < 0 or a == b:
            return ends
        if a in self._trails:
            trail = self._trails[a][:, self._columns[b]]
        else:
            _, before = dijkstra(self.net.time_s, indices=a, return_predecessors=True)
            trail = _trails(before, np.array([b]), a)[:, 0]
        places = trail[: int(np.flatnonzero(trail == a)[0]) + 1][::-1].astype(np.int64)
        x, y = self.net.grid.xy_of(places)
        # The first and the last place only stand for the points beside them.
        return np.vstack([ends[:1], np.column_stack([x, y])[1:-1], ends[1:]])


def ways_between(net: WalkNet, xy: FloatArray, *, progress: Progress = silent) -> Ways:
    """Find the quickest way from every point to every other.

    Parameters
    ----------
    net
        Places and times between them.
    xy
        Points in the net's coordinate system, m, shape ``(n, 2)``. One that lies where nobody can
        walk has no way to anywhere.
    progress
        Told how far the work is.
    """
    place, apart = _places_near(net, xy)
    targets = np.unique(place[place >= 0])
    column = {int(p): i for i, p in enumerate(targets.tolist())}
    between = np.full((targets.size, targets.size), np.inf)
    trails: dict[int, NDArray[np.int32]] = {}
    for i, start in enumerate(targets.tolist()):
        progress("finding ways between sites", i / targets.size)
        times, before = dijkstra(net.time_s, indices=start, return_predecessors=True)
        between[i] = times[targets]
        if targets.size <= _KEPT:
            trails[start] = _trails(before, targets, start)
    progress("finding ways between sites", 1.0)
    n = len(xy)
    time = np.full((n, n), np.inf)
    level_mps = float(walking_speed_mps(0.0))
    for i in range(n):
        for j in range(n):
            if place[i] < 0 or place[j] < 0:
                continue
            if place[i] == place[j]:
                time[i, j] = float(np.hypot(*(xy[i] - xy[j]))) / level_mps
            else:
                way = between[column[int(place[i])], column[int(place[j])]]
                time[i, j] = way + (apart[i] + apart[j]) / level_mps
    np.fill_diagonal(time, 0.0)
    return Ways(net, np.asarray(xy, dtype=np.float64), time, place, trails, column)


def _places_near(net: WalkNet, xy: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
    """Place of the net nearest to each point that has a way, and how far off it is; -1 for none."""
    linked = np.zeros(net.grid.size, dtype=np.bool_)
    linked[np.unique(net.time_s.indices)] = True
    row, col = net.grid.rowcol(xy[:, 0], xy[:, 1])
    place = np.full(len(xy), -1, dtype=np.int64)
    apart = np.zeros(len(xy))
    for i in range(len(xy)):
        near = [
            (r, c)
            for r in range(row[i] - 1, row[i] + 2)
            for c in range(col[i] - 1, col[i] + 2)
            if bool(net.grid.contains(r, c)) and linked[r * net.grid.cols + c]
        ]
        if not near or not _known(net, xy[i]):
            continue
        x, y = net.grid.xy(*np.array(near).T)
        off = np.hypot(x - xy[i, 0], y - xy[i, 1])
        best = int(off.argmin())
        place[i] = near[best][0] * net.grid.cols + near[best][1]
        apart[i] = off[best]
    return place, apart


def _known(net: WalkNet, xy: FloatArray) -> bool:
    """Whether the ground at a point is known."""
    row, col = net.land.grid.rowcol(*xy)
    inside = bool(net.land.grid.contains(row, col))
    return inside and bool(np.isfinite(net.land.elevation_m[row, col]))


def _trails(before: NDArray[np.int32], targets: NDArray[np.int64], start: int) -> NDArray[np.int32]:
    """Ways back from all targets at once, one a column; below the start and without a way -1."""
    at = targets.astype(np.int32)
    rows = [at]
    while True:
        step = before[at]
        at = np.where((at < 0) | (step < 0), -1, step).astype(np.int32)
        if not (at >= 0).any():
            return np.array(rows)
        rows.append(at)
