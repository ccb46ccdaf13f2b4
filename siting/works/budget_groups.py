"""Groups that a budget chooses from, each a work: what they are, and that they make sense."""

from __future__ import annotations

import graphlib
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from terrain.values.errors import ParameterError


@dataclass(frozen=True, slots=True)
class Group:
    """A work as a budget sees it: it is bought whole or not at all.

    Parameters
    ----------
    id
        Number of the work; no two have the same.
    site_ids
        Its sites, without those that are referred: these are not built by hand.
    value
        What it saves, m3 of soil or its worth, 0 or more, in steps of 0.001.
    cost_low, cost_likely, cost_high
        Summed over its sites; NaN where no cost is known: it is then never chosen.
    crew_days
        Likely days of a crew; NaN likewise.
    counted
        Cost that is held against a budget; the one that is asked for where none is given.
    needs
        Groups that must be built before it: the base of a series before its head.
    """

    id: int
    site_ids: tuple[int, ...]
    value: float
    cost_low: float
    cost_likely: float
    cost_high: float
    crew_days: float
    needs: tuple[int, ...] = ()
    counted: float | None = None


def is_known(group: Group) -> bool:
    """Whether its costs and days are known."""
    figures = (group.cost_low, group.cost_likely, group.cost_high, group.crew_days)
    return not any(math.isnan(figure) for figure in figures)


def check_groups(groups: Sequence[Group]) -> None:
    """Check groups that are sorted by number.

    Raises
    ------
    ParameterError
        Two of one number, a site in two of them, a need that is not there, or a figure below 0.
    """
    ids = {g.id for g in groups}
    if len(ids) < len(groups):
        twice = next(a.id for a, b in itertools.pairwise(groups) if a.id == b.id)
        raise ParameterError(f"two groups have number {twice}", expected="numbers of their own")
    seen: dict[int, int] = {}
    for g in groups:
        for site in g.site_ids:
            if site in seen:
                raise ParameterError(
                    f"site {site} is in groups {seen[site]} and {g.id}", expected="one group a site"
                )
            seen[site] = g.id
        for name in ("value", "cost_low", "cost_likely", "cost_high", "crew_days"):
            figure = getattr(g, name)
            if figure < 0 or math.isinf(figure) or (name == "value" and math.isnan(figure)):
                raise ParameterError(f"{name} of group {g.id} is {figure:g}", expected="0 or more")
        missing = [n for n in g.needs if n not in ids]
        if missing:
            raise ParameterError(
                f"group {g.id} needs group {missing[0]}, which is not there",
                expected="groups that are there",
            )


def all_needs(groups: Sequence[Group]) -> dict[int, frozenset[int]]:
    """Return everything that must stand before each group, however far back.

    Raises
    ------
    ParameterError
        They need each other in a circle.
    """
    try:
        order = list(graphlib.TopologicalSorter({g.id: g.needs for g in groups}).static_order())
    except graphlib.CycleError as error:
        circle = " needs ".join(str(n) for n in reversed(error.args[1]))
        raise ParameterError(
            f"groups need each other in a circle: {circle}", expected="an order of building"
        ) from error
    needs = {g.id: g.needs for g in groups}
    ahead: dict[int, frozenset[int]] = {}
    for i in order:
        ahead[i] = frozenset(needs[i]).union(*(ahead[n] for n in needs[i]))
    return ahead
