"""Stops of a walk: sites, those of a work together, and the times between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Place:
    """A site to visit.

    Parameters
    ----------
    site_id
        Its number.
    x_m, y_m
        Where it is, m.
    group_id
        Sites with one number, those of a work, are visited together; 0 for none.
    build_order
        Order in which they are built and visited; 0 comes last.
    """

    site_id: int
    x_m: float
    y_m: float
    group_id: int = 0
    build_order: int = 0


@dataclass(frozen=True, slots=True)
class Stop:
    """Places that are visited together, by their row in the list of places."""

    members: tuple[int, ...]


def stops_of(places: Sequence[Place]) -> list[Stop]:
    """Put places of a group together, in the order in which they are built."""
    groups: dict[tuple[str, int], list[int]] = {}
    for i, place in enumerate(places):
        key = ("group", place.group_id) if place.group_id > 0 else ("alone", i)
        groups.setdefault(key, []).append(i)
    return [
        Stop(tuple(sorted(group, key=lambda i: (places[i].build_order or np.inf, i))))
        for group in groups.values()
    ]


@dataclass(frozen=True, slots=True, eq=False)
class Walkers:
    """Times between stops; row 0 of the matrix is the start, place ``i`` row ``i + 1``.

    Parameters
    ----------
    time_s
        From row to column, s, shape ``(n + 1, n + 1)``; infinite where there is no way.
    stay_s
        Time at each site, s.
    """

    time_s: FloatArray
    stay_s: float

    def within_s(self, stop: Stop) -> float:
        """Walking from the first to the last place of a stop, s."""
        rows = [i + 1 for i in stop.members]
        return float(sum(self.time_s[a, b] for a, b in pairwise(rows)))

    def alone_s(self, stop: Stop) -> float:
        """A loop with nothing but this stop, s."""
        way = self.time_s[0, stop.members[0] + 1] + self.time_s[stop.members[-1] + 1, 0]
        return float(way) + self.within_s(stop) + self.stay_s * len(stop.members)

    def reachable(self, stops: Sequence[Stop]) -> tuple[list[Stop], list[Stop]]:
        """Stops with a way there and back, and those without."""
        can = [s for s in stops if np.isfinite(self.alone_s(s))]
        return can, [s for s in stops if s not in can]

    def cost(self, stops: Sequence[Stop]) -> FloatArray:
        """Times from the last place of a stop to the first of another, the start in row 0."""
        leave = [0, *(s.members[-1] + 1 for s in stops)]
        arrive = [0, *(s.members[0] + 1 for s in stops)]
        cost = self.time_s[np.ix_(leave, arrive)].copy()
        np.fill_diagonal(cost, 0.0)
        return cost

    def stays(self, stops: Sequence[Stop]) -> list[float]:
        """Time spent at each stop, the walk within it included, s."""
        return [self.stay_s * len(s.members) + self.within_s(s) for s in stops]
