"""In which order a plan's sites are built."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cli.plan.explanation import ROAD
from cli.plan.plan_works import is_built

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Group:
    """Sites that are built one after the other; ``sites`` in their order."""

    sites: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class BuildOrder:
    """Groups in channels from downstream up, sites on roads from the top down, and what waits.

    Parameters
    ----------
    groups
        To be built, in order.
    waiting
        Sites that hands do not build: an engineer looks at them first, or they are on hold.
    left_out
        Sites that a budget, or somebody on site, leaves out.
    """

    groups: tuple[Group, ...]
    waiting: tuple[Row, ...]
    left_out: tuple[Row, ...]


def build_order(sites: Sequence[Row], channels: Sequence[Row]) -> BuildOrder:
    """Order sites: one stream after the other, each from its lower end up, works together.

    Streams that join are one; the one that holds the best rank comes first. In a work the base
    comes before the head, as the plan says. What stands on roads is built from the top of the
    grade down. In a plan of an older format pairs stand for works.

    Parameters
    ----------
    sites
        Rows of the layer ``sites``, SI.
    channels
        Rows of the layer ``channels``.
    """
    waiting = tuple(s for s in _by_rank(sites) if not is_built(s))
    left_out = tuple(s for s in _by_rank(sites) if is_built(s) and not s["chosen"])
    built = [s for s in sites if is_built(s) and s["chosen"]]
    on_roads = _groups([s for s in built if s["purpose"] == ROAD], pairs=False)
    streams = _Streams(channels)
    groups = _groups([s for s in built if s["purpose"] != ROAD])
    best: dict[int, int] = {}
    for group in groups:
        stream = streams.outlet(int(group.sites[0]["channel_id"]))
        best[stream] = min(best.get(stream, 10**9), *(int(s["rank"]) for s in group.sites))

    def place(group: Group) -> tuple[int, float, int]:
        stream = streams.outlet(int(group.sites[0]["channel_id"]))
        return best[stream], min(map(streams.distance_m, group.sites)), _rank(group)

    on_roads.sort(key=lambda g: (-max(float(s["elevation_m"]) for s in g.sites), _rank(g)))
    in_order = [*sorted(groups, key=place), *on_roads]
    return BuildOrder(tuple(in_order), waiting, left_out)


def _by_rank(sites: Sequence[Row]) -> list[Row]:
    return sorted(sites, key=lambda s: (int(s["rank"]), int(s.get("list_place", 0))))


def _rank(group: Group) -> int:
    return min(int(s["rank"]) for s in group.sites)


def _groups(sites: Sequence[Row], *, pairs: bool = True) -> list[Group]:
    """Group by works; in a plan of an older format by pairs, or not at all."""
    together: dict[tuple[str, int], list[Row]] = {}
    for site in _by_rank(sites):
        key = ("site", int(site["site_id"]))
        if work := int(site.get("work_id", 0)):
            key = ("work", work)
        elif pairs and (pair := int(site["pair_id"])):
            key = ("pair", pair)
        together.setdefault(key, []).append(site)
    return [
        Group(tuple(sorted(members, key=lambda s: (int(s["build_order"]), float(s["station_m"])))))
        for members in together.values()
    ]


class _Streams:
    """Where each channel leads."""

    def __init__(self, channels: Sequence[Row]) -> None:
        self._next = {int(c["channel_id"]): int(c["downstream_id"]) for c in channels}
        self._length = {int(c["channel_id"]): float(c["length_m"]) for c in channels}

    def _way(self, channel: int) -> list[int]:
        """Channels on the way down, this one first."""
        way: list[int] = []
        while channel and channel not in way:
            way.append(channel)
            channel = self._next.get(channel, 0)
        return way

    def outlet(self, channel: int) -> int:
        """Channel through which the water leaves."""
        way = self._way(channel)
        return way[-1] if way else 0

    def distance_m(self, site: Row) -> float:
        """How far above the outlet a site lies, along the channels."""
        below = self._way(int(site["channel_id"]))[1:]
        return float(site["station_m"]) + sum(self._length.get(c, 0.0) for c in below)
