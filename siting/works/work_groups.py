"""Which sites make one work: what one visit builds, and what stands or falls together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

import numpy as np

from siting.site import Site
from siting.sites import Sites
from siting.values.rules import Rules
from siting.works.work import HEADCUT, ROAD, SERIES, SPREADER, SWALE

#: What doing less would do: practice, without a number, since none is published.
WITHOUT: Final[Mapping[str, str]] = MappingProxyType(
    {
        HEADCUT: (
            "Rest from grazing and keeping stock off the lip lets roots hold a low drop, over some "
            "growing seasons; water that falls freely goes on undercutting a higher one. Where a "
            "road, trail or furrow brings the water, moving that comes first and may be enough."
        ),
        SERIES: (
            "Rest from grazing lets plants hold bed and banks and catch silt once the bed has "
            "stopped cutting down, over many growing seasons; while it is still cutting they are "
            "washed out."
        ),
        SPREADER: (
            "Rest from grazing thickens the cover, which slows and spreads the water by itself "
            "where no track or rill gathers it, over some growing seasons."
        ),
        SWALE: (
            "Rest from grazing in the growing season is often enough on a floor that is not cut: "
            "the sod slows the water and holds it. It raises no bed."
        ),
        ROAD: (
            "Closing the road and seeding it, or sloping it outward when it is next graded, takes "
            "the water off as well and needs less upkeep."
        ),
    }
)


def kind_of(site: Site, at_heads: frozenset[int]) -> str:
    """Kind of the work that a built site belongs to.

    Parameters
    ----------
    site
        The site.
    at_heads
        Groups in which a structure stands at a headcut.
    """
    if site.on_road:
        return ROAD
    if site.control == "vertical" or site.member.group in at_heads:
        return HEADCUT
    if site.control == "spread":
        return SPREADER
    if site.member.in_series or site.head.index >= 0:
        return SERIES
    return SWALE


def groups_of(sites: Sites, rules: Rules) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """All works as their kinds and sites (rows, in the order of building), by their first site."""
    at_heads = frozenset(
        s.member.group for s in sites if s.size is not None and s.control == "vertical"
    ) - {0}
    together: dict[tuple[str, int], list[int]] = {}
    for i, site in enumerate(sites):
        if site.size is not None:
            kind, group = kind_of(site, at_heads), site.member.group
            if site.proposal.road is not None:
                group = site.proposal.road.stretch or group
            # what is in no group is a work of its own: no group has a number below 0
            together.setdefault((kind, group or -1 - i), []).append(i)
    joined = _neighbours_joined(sites, together, rules.value("works.together"))
    works = [(kind, _in_building_order(sites, rows)) for (kind, _), rows in joined.items()]
    return tuple(sorted(works, key=lambda work: min(work[1])))


def _in_building_order(sites: Sites, rows: Sequence[int]) -> tuple[int, ...]:
    """As their groups say; what is in none from the lower end up."""
    return tuple(sorted(rows, key=lambda i: (sites[i].member.order, sites[i].where.station_m, i)))


def _neighbours_joined(
    sites: Sites, together: dict[tuple[str, int], list[int]], apart_m: float
) -> dict[tuple[str, int], list[int]]:
    """Join grade controls of one swale, by reach, whose next one stands no further off."""
    out: dict[tuple[str, int], list[int]] = {}
    last: dict[int, tuple[str, int]] = {}
    for key, rows in together.items():
        reach = sites[rows[0]].where.reach
        before = last.get(reach)
        if key[0] != SWALE or before is None or _gap_m(sites, out[before][-1], rows[0]) > apart_m:
            out[key] = list(rows)
            if key[0] == SWALE:
                last[reach] = key
        else:
            out[before] += rows
    return out


def _gap_m(sites: Sites, one: int, other: int) -> float:
    return abs(sites[one].where.station_m - sites[other].where.station_m)


def lowest_of(sites: Sites, rows: Sequence[int]) -> int:
    """The lowest site of a work; the first to be built where heights are not known."""
    height = np.nan_to_num(sites.elevation_m[list(rows)], nan=np.inf)
    return int(rows[int(np.argmin(height))])
