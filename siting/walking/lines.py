"""Lines over the ground: the time they take, their heights, and ways pulled straight."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from siting.walking.footing import footing, step_time_s
from siting.walking.net import WalkNet
from siting.walking.walk_land import WalkRules
from terrain.values.arrays import FloatArray

#: Climb and descent are counted once the height has changed by so much, m: noise is not climbed.
COUNTED_M = 0.5


def line_time_s(net: WalkNet, rules: WalkRules, line: FloatArray) -> float:
    """Time of a walk along a line as it is drawn, s; infinite where nobody can walk.

    Parameters
    ----------
    net, rules
        The ground, and what slows a walker.
    line
        x and y, m, shape ``(n, 2)``.
    """
    return float(_piece_times(net, rules, line).sum())


def _piece_times(net: WalkNet, rules: WalkRules, line: FloatArray) -> FloatArray:
    """Time of each piece of a line, s; infinite where nobody can walk."""
    return np.array([_straight_time_s(net, rules, a, b) for a, b in pairwise(line)])


def _straight_time_s(net: WalkNet, rules: WalkRules, a: FloatArray, b: FloatArray) -> float:
    grid = net.land.grid
    length = float(np.hypot(*(b - a)))
    if length == 0:
        return 0.0
    steps = max(round(length / grid.cell_m), 1)
    xy = a + (b - a) * np.linspace(0.0, 1.0, steps + 1)[:, None]
    t = grid.transform
    feet = footing(net.land, (xy[:, 1] - t.f) / t.e - 0.5, (xy[:, 0] - t.c) / t.a - 0.5)
    times = step_time_s(feet.part(slice(0, -1)), feet.part(slice(1, None)), length / steps, rules)
    total = float(times.sum())
    return total if np.isfinite(total) else float("inf")


def pulled_straight(net: WalkNet, rules: WalkRules, line: FloatArray) -> FloatArray:
    """Leave out corners of a way that the net made and the ground does not ask for.

    Parameters
    ----------
    net, rules
        The ground, and what slows a walker.
    line
        A way from place to place of the net, x and y, m, shape ``(n, 2)``.

    Returns
    -------
    ndarray
        Some of the line's points, both ends among them; no slower than the line.
    """
    since = np.append(0.0, np.cumsum(_piece_times(net, rules, line)))
    if not np.isfinite(since[-1]):
        return line
    kept, at, last = [0], 0, len(line) - 1
    while at < last:
        to = last
        while to > at + 1:
            straight = _straight_time_s(net, rules, line[at], line[to])
            if straight <= since[to] - since[at] + 1e-6:
                break
            to = at + 1 + (to - at - 1) // 2
        kept.append(to)
        at = to
    return line[kept]


def heights_along(net: WalkNet, line: FloatArray) -> FloatArray:
    """Heights of the ground along a line, about a ground cell apart, m; unknown ones left out.

    The line is ``(k, 2)``, the heights ``(n,)``.
    """
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    count = max(int(np.ceil(along[-1] / net.land.grid.cell_m)), 1) + 1
    every = np.linspace(0.0, along[-1], count)
    z = heights_at(net, np.column_stack([np.interp(every, along, line[:, k]) for k in (0, 1)]))
    known: FloatArray = z[np.isfinite(z)]
    return known


def heights_at(net: WalkNet, xy: FloatArray) -> FloatArray:
    """Heights of the ground at points, m, shape ``(n,)``; NaN where unknown."""
    row, col = net.land.grid.rowcol(xy[:, 0], xy[:, 1])
    inside = net.land.grid.contains(row, col)
    z = np.full(len(xy), np.nan)
    z[inside] = net.land.elevation_m[row[inside], col[inside]]
    return z


def climb_and_descent(heights_m: FloatArray) -> tuple[float, float]:
    """Sum the rises and the falls along a way ``(n,)``, m, changes below ``COUNTED_M`` left out."""
    up = down = 0.0
    if not heights_m.size:
        return up, down
    held = float(heights_m[0])
    for height in heights_m.tolist():
        if height - held >= COUNTED_M:
            up, held = up + height - held, height
        elif held - height >= COUNTED_M:
            down, held = down + held - height, height
    return up, down
