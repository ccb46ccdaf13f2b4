"""What the order of visits would cost that straight lines on a map suggest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from siting.walking.lines import line_time_s
from siting.walking.loops import split_round
from siting.walking.net import WalkNet
from siting.walking.order import best_round, round_time
from siting.walking.stops import Stop, Walkers
from siting.walking.walk_land import WalkRules


@dataclass(frozen=True, slots=True)
class Straight:
    """The shortest order by straight lines, in loops of the same length, on the same ground.

    Parameters
    ----------
    loops
        How many loops it takes.
    ways_s
        Time on foot in that order along the quickest ways, s.
    lines_s
        Time on foot in that order along the straight lines themselves, s; infinite where these
        lead over ground that nobody can walk.
    """

    loops: int
    ways_s: float
    lines_s: float


def flat_order(stops: Sequence[Stop], xy: NDArray[np.float64]) -> list[int]:
    """Order stops (1 the first) for a short round by straight lines.

    Parameters
    ----------
    stops
        What is visited.
    xy
        Start and places, m, shape ``(n + 1, 2)``.
    """
    leave = xy[[0, *(s.members[-1] + 1 for s in stops)]]
    arrive = xy[[0, *(s.members[0] + 1 for s in stops)]]
    apart = np.hypot(*(leave[:, None, :] - arrive[None, :, :]).transpose(2, 0, 1))
    np.fill_diagonal(apart, 0.0)
    return best_round(apart, list(range(1, len(stops) + 1)))


def straight_order(
    net: WalkNet,
    rules: WalkRules,
    walkers: Walkers,
    stops: Sequence[Stop],
    xy: NDArray[np.float64],
    order: list[int],
    budget_s: float,
) -> Straight:
    """Walk stops in the order that straight lines suggest.

    Parameters
    ----------
    net, rules
        The ground, and what slows a walker.
    walkers, stops
        Times on the ground and what is visited.
    xy
        Start and places, m, shape ``(n + 1, 2)``.
    order
        That order, by number of stop.
    budget_s
        Longest loop, s.
    """
    cost = walkers.cost(stops)
    stay = np.append(0.0, walkers.stays(stops))
    loops = [order]
    if round_time(cost, order) + stay.sum() > budget_s:
        loops = split_round(cost, stay, order, budget_s)
    within = sum(walkers.within_s(stop) for stop in stops)
    ways = sum(round_time(cost, loop) for loop in loops) + within
    lines = 0.0
    for loop in loops:
        rows = [0, *(i + 1 for stop in loop for i in stops[stop - 1].members), 0]
        lines += line_time_s(net, rules, xy[rows])
    return Straight(len(loops), ways, lines)
