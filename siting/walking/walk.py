"""The walk to the sites of a plan: which loops, in which order, along which ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from siting.values.siting_remedies import SitingRemedy
from siting.walking.least_effort import Ways, ways_between
from siting.walking.lines import (
    climb_and_descent,
    heights_along,
    heights_at,
    pulled_straight,
)
from siting.walking.loops import Tours, plan_loops
from siting.walking.net import WalkNet, walk_net
from siting.walking.start import Start, on_known_ground
from siting.walking.stops import Place, Stop, Walkers, stops_of
from siting.walking.straight import Straight, flat_order, straight_order
from siting.walking.walk_errors import WalkError
from siting.walking.walk_land import WalkRules, walk_land
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

#: Time to look at a site, measure and photograph it, minutes (common practice, no source).
MINUTES_PER_SITE = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A walk from one place to the next.

    Parameters
    ----------
    loop
        Number of its loop, 1 first.
    from_site, to_site
        Numbers of the sites; None is the start.
    distance_m, climb_m, descent_m, walk_s
        Along the way, over the ground plan.
    line
        The way as x and y, m, shape ``(k, 2)``.
    height_m
        Height of the ground at each of its points, m, shape ``(k,)``; NaN where unknown.
    """

    loop: int
    from_site: int | None
    to_site: int | None
    distance_m: float
    climb_m: float
    descent_m: float
    walk_s: float
    line: FloatArray
    height_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """The walk to all sites that can be reached.

    Parameters
    ----------
    start
        Where every loop starts and ends.
    legs
        In the order they are walked.
    minutes_per_site
        Time spent at each site.
    unreached
        Numbers of sites that no way leads to.
    too_far
        Numbers of sites that do not fit into a loop, and how many hours each would need.
    tours
        How good the order is.
    straight
        The order that straight lines suggest, walked on the same ground.
    cell_m
        Cells of the ground that was walked, m: of the steps, and from place to place of the net.
    """

    start: Start
    legs: tuple[Leg, ...]
    minutes_per_site: float
    unreached: tuple[int, ...]
    too_far: tuple[tuple[int, float], ...]
    tours: Tours
    straight: Straight
    cell_m: tuple[float, float]

    @property
    def loops(self) -> tuple[tuple[Leg, ...], ...]:
        """Legs by loop."""
        count = max((leg.loop for leg in self.legs), default=0)
        return tuple(tuple(x for x in self.legs if x.loop == i) for i in range(1, count + 1))

    @property
    def walk_s(self) -> float:
        """Time on foot of all loops, s."""
        return sum(leg.walk_s for leg in self.legs)


def walking_order(
    raster: Raster,
    places: Sequence[Place],
    *,
    start: Start,
    hours: float | None = None,
    minutes_per_site: float = MINUTES_PER_SITE,
    roads: Sequence[Any] = (),
    rules: WalkRules | None = None,
    progress: Progress = silent,
) -> Walk:
    """Plan the loops that visit all sites with the least walking.

    Parameters
    ----------
    raster
        Elevations, m.
    places
        The sites. Those of a work are visited one after the other.
    start
        Where loops start and end.
    hours
        Longest loop, with the time at the sites; None for one loop however long.
    minutes_per_site
        Time spent at each site.
    roads
        Shapely lines that are walked at full speed.
    rules
        What slows or stops a walker.
    progress
        Told how far the work is.

    Raises
    ------
    WalkError
        The start lies where nobody can walk, no site can be reached, or none in the time given.
    ParameterError
        Hours or minutes out of range.
    """
    rules = rules or WalkRules()
    if hours is not None and not 0 < hours < np.inf:
        raise ParameterError(f"loops of {hours:g} hours", expected="above 0")
    if not 0 <= minutes_per_site < np.inf:
        raise ParameterError(f"{minutes_per_site:g} minutes a site", expected="0 or more")
    if not places:
        raise WalkError("no sites to walk to", expected="one at least")
    xy = np.array([(start.x_m, start.y_m), *((p.x_m, p.y_m) for p in places)])
    if not on_known_ground(raster, xy[:1])[0]:
        raise WalkError(
            f"the start ({start.x_m:,.0f}, {start.y_m:,.0f}) lies outside the ground that the "
            "raster knows",
            do=SitingRemedy.START_ON_GROUND,
        )
    progress("reading the ground for walking", 0.0)
    net = walk_net(walk_land(raster, rules, roads=roads), rules)
    ways = ways_between(net, xy, progress=progress)
    walkers = Walkers(ways.time_s, 60.0 * minutes_per_site)
    stops, unreached = walkers.reachable(stops_of(places))
    if not stops:
        raise WalkError(
            f"no way leads from the start to any of {len(places)} sites",
            do=SitingRemedy.START_ELSEWHERE,
        )
    budget_s = np.inf if hours is None else 3600.0 * hours
    stops, far = _in_time(walkers, stops, budget_s, hours)
    cost = walkers.cost(stops)
    stay = walkers.stays(stops)
    flat = flat_order(stops, xy)
    tours = plan_loops(cost, stay, budget_s=budget_s, also=(flat,))
    straight = straight_order(net, rules, walkers, stops, xy, flat, budget_s)
    return Walk(
        start,
        _legs(net, rules, ways, stops, tours, places),
        minutes_per_site,
        tuple(places[i].site_id for stop in unreached for i in stop.members),
        tuple((places[i].site_id, need_s / 3600) for stop, need_s in far for i in stop.members),
        tours,
        straight,
        (net.land.grid.cell_m, net.grid.cell_m),
    )


def _in_time(
    walkers: Walkers, stops: list[Stop], budget_s: float, hours: float | None
) -> tuple[list[Stop], list[tuple[Stop, float]]]:
    """Stops that fit into a loop of their own, and the others with what they need."""
    needs = [walkers.alone_s(stop) for stop in stops]
    near = [stop for stop, need in zip(stops, needs, strict=True) if need <= budget_s]
    if not near:
        raise WalkError(
            f"{hours:g} hours are too short for the nearest site, which takes "
            f"{min(needs) / 3600:.2g} with the way back",
            do=SitingRemedy.LONGER_OR_NEARER,
        )
    far = [(stop, need) for stop, need in zip(stops, needs, strict=True) if need > budget_s]
    return near, far


def _legs(
    net: WalkNet,
    rules: WalkRules,
    ways: Ways,
    stops: list[Stop],
    tours: Tours,
    places: Sequence[Place],
) -> tuple[Leg, ...]:
    legs = []
    for number, loop in enumerate(tours.loops, start=1):
        visits = [i + 1 for stop in loop for i in stops[stop - 1].members]
        for a, b in zip([0, *visits], [*visits, 0], strict=True):
            line = pulled_straight(net, rules, ways.line(a, b))
            up, down = climb_and_descent(heights_along(net, line))
            legs.append(
                Leg(
                    number,
                    places[a - 1].site_id if a else None,
                    places[b - 1].site_id if b else None,
                    float(np.hypot(*np.diff(line, axis=0).T).sum()),
                    up,
                    down,
                    float(ways.time_s[a, b]),
                    line,
                    heights_at(net, line),
                )
            )
    return tuple(legs)
