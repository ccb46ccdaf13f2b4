"""What a plan takes and what a budget buys of it: materials, days, costs, the chosen set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from siting.layout.headcuts_below import base_of_each
from siting.sites import Sites
from siting.structures.one_rock_dam import OneRockDam
from siting.structures.structure_type import Amount
from siting.structures.whole_price import priced_whole_of
from siting.values.columns import Columns
from siting.values.wording import counted, figures, listed
from siting.works.bill import Bill, beside_published, bill, cost_columns, whole_sentence
from siting.works.budget import Choice, choose
from siting.works.budget_groups import Group, group_value
from siting.works.costs import Costs, load_costs
from siting.works.quantities import (
    CREW_SIZE,
    ITEM_NAMES,
    SPARE,
    Quantities,
    material_columns,
    quantities,
)
from siting.works.ranking import Ranking
from terrain.values.arrays import BoolArray

#: Groups left out that are told; the plan holds them all.
LEFT_OUT_TOLD = 3


@dataclass(frozen=True, slots=True)
class Means:
    """What there is to spend, and how things are counted.

    Parameters
    ----------
    costs
        Prices and productivity; those that come with the package by default.
    spare
        Added to what is ordered, as a share.
    crew_size
        People in a crew.
    budget, crew_days
        Limits, above 0; None for none.
    """

    costs: Costs = field(default_factory=load_costs)
    spare: float = SPARE
    crew_size: int = CREW_SIZE
    budget: float | None = None
    crew_days: float | None = None

    @property
    def limited(self) -> bool:
        """Whether a choice has to be made."""
        return self.budget is not None or self.crew_days is not None


@dataclass(frozen=True, slots=True, eq=False)
class Takes:
    """What the sites of a plan take.

    Parameters
    ----------
    amounts
        What each structure takes, without spare; at the widest where nobody saw the width.
    structures
        Name of each.
    quantities, bill
        Counted with spare, and priced.
    choice
        What the budget buys; everything that can be built without one.
    means
        What it was counted with.
    """

    amounts: tuple[tuple[Amount, ...], ...]
    structures: tuple[str, ...]
    quantities: Quantities
    bill: Bill
    choice: Choice
    means: Means

    def site_columns(self) -> Columns:
        """Columns of the layer ``sites``."""
        cost = self.bill.by_site
        chosen, why = self.choice.columns(self.quantities.site_id.tolist())
        return {
            "cost_low": cost[:, 0],
            "cost_likely": cost[:, 1],
            "cost_high": cost[:, 2],
            "crew_days": self.quantities.crew_days[:, 1],
            "crew_days_low": self.quantities.crew_days[:, 0],
            "crew_days_high": self.quantities.crew_days[:, 2],
            "chosen": chosen,
            "chosen_why": why,
        }

    def notes(self) -> tuple[str, ...]:
        """What the sums hold and do not hold, and a published range beside them."""
        out = list(self.bill.notes)
        named = np.array(self.structures, dtype=object)
        for entry in sorted({*self.quantities.whole} - {""}):
            names = {f"{name}s" for name in named[self.quantities.whole == entry].tolist()}
            out.append(whole_sentence(sorted(names), f"whole.{entry}", self.means.costs))
        dams = np.array([name == OneRockDam.name for name in self.structures], dtype=bool)
        each = self.bill.by_site[dams & self.quantities.built]
        if each.size:
            low, _, high = np.median(each, axis=0)
            beside = beside_published(low, high, self.means.costs)
            out += [beside] if beside else []
        return tuple(out)

    def sentences(self) -> tuple[str, ...]:
        """What all of it takes and costs, and what a budget buys, in a few sentences."""
        if not self.quantities.built.any():
            return ()
        chosen, _ = self.choice.columns(self.quantities.site_id.tolist())
        which = chosen if self.means.limited else self.quantities.built
        out = [self.choice.summary] if self.means.limited else []
        out += self._work(which)
        if self.means.limited:
            left = [
                f"Left out, {_sites(left.site_ids)}: {left.why}"
                for left in self.choice.left_out[:LEFT_OUT_TOLD]
            ]
            more = len(self.choice.left_out) - len(left)
            out += [*left, *([f"{counted(more, 'group')} more left out."] if more > 0 else [])]
        return tuple(out)

    def _work(self, which: BoolArray) -> list[str]:
        """Stone, wood, days and money of some sites."""
        _, order, loads = self.quantities.total(which)
        amount = dict(zip(ITEM_NAMES, order, strict=True))
        stone = sum(amount[name] for name in ITEM_NAMES if name.startswith("stone"))
        low_of = dict(
            zip(ITEM_NAMES, self.quantities.least_with_spare[which].sum(axis=0), strict=True)
        )
        least = sum(low_of[name] for name in ITEM_NAMES if name.startswith("stone"))
        parts = [
            f"{_span(low, value)} {unit} of {what}"
            for low, value, unit, what in (
                (least, stone, "t", "stone"),
                (low_of["gravel"], amount["gravel"], "m3", "gravel"),
                (low_of["logs"], amount["logs"], "m", "logs"),
                (low_of["brush"], amount["brush"], "m3", "brush"),
            )
            if value > 0
        ]
        days = self.quantities.crew_days_of(which)
        low, likely, high = self.bill.total(which)
        whose = "The chosen ones take" if self.means.limited else "All of it takes"
        return [
            f"{whose} {listed(parts) or 'no material that is bought'} with spare "
            f"({np.nansum(loads):.0f} truck loads) and {figures(days[1])} days of a crew of "
            f"{self.means.crew_size} ({figures(days[0])} to {figures(days[2])}).",
            f"Cost: {likely:,.0f} {self.bill.currency}, between {low:,.0f} and {high:,.0f}: a "
            "range, not a confidence; most prices are round figures without a published source.",
        ]

    def facts(self) -> dict[str, str]:
        """What it was counted with, for the record of the run."""
        means = self.means
        return {
            "costs": means.costs.origin,
            "currency": means.costs.currency,
            "spare": f"{100 * means.spare:g} %",
            "crew": f"{means.crew_size} people",
        }

    def tables(self) -> dict[str, Columns]:
        """Tables ``materials`` and ``costs``."""
        chosen, _ = self.choice.columns(self.quantities.site_id.tolist())
        among = chosen if self.means.limited else None
        return {
            "materials": material_columns(self.quantities, among),
            "costs": cost_columns(self.bill, among),
        }


def _span(low: float, high: float) -> str:
    """Write an amount from one end to the other; one number where both read the same."""
    ends = figures(low), figures(high)
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _sites(ids: Sequence[int]) -> str:
    """Name sites."""
    return f"{'site' if len(ids) == 1 else 'sites'} {listed([str(i) for i in ids])}"


def takes_of(sites: Sites, ranking: Ranking, means: Means) -> Takes:
    """Count, price and choose.

    Parameters
    ----------
    sites, ranking
        What was found, and how it ranks.
    means
        Prices and limits.

    Raises
    ------
    ParameterError
        A limit of zero or less.
    """
    at_ends = [
        [tuple(site.decision.kind.materials(spot, size)) for spot, size in site.ends]
        for site in sites
    ]
    # as they are drawn: at the widest
    amounts = tuple(own[-1] if own else () for own in at_ends)
    structures = tuple(site.structure for site in sites)
    counted = quantities(
        amounts,
        site_id=np.arange(1, sites.count + 1),
        whole=["" if site.size is None else priced_whole_of(site.decision.kind) for site in sites],
        costs=means.costs,
        spare=means.spare,
        crew_size=means.crew_size,
        other_end={i: own[0] for i, own in enumerate(at_ends) if len(own) > 1},
    )
    priced = bill(counted, means.costs)
    chosen = choose(
        groups_of(sites, ranking, counted, priced),
        budget=means.budget,
        crew_days=means.crew_days,
        currency=means.costs.currency,
    )
    return Takes(amounts, structures, counted, priced, chosen, means)


def groups_of(sites: Sites, ranking: Ranking, counted: Quantities, priced: Bill) -> list[Group]:
    """Sites as groups that are built as one, each with what must stand before it.

    A headcut and its grade controls are one group. Of a series each structure is one, and needs the
    one below. A headcut needs the next one below it within
    `siting.layout.headcuts_below.BASE_REACH_M`, where that is built.
    """
    members = _members(sites)
    group_of = {i: g for g, own in members.items() for i in own}
    needs = _series_needs(sites, members, group_of)
    for upper, lower in base_of_each(sites.proposals, [s.size is not None for s in sites]).items():
        a, b = group_of[upper], group_of[lower]
        if a != b:
            needs.setdefault(a, set()).add(b)
    cost, days = priced.by_site, counted.crew_days[:, 1]
    return [
        Group(
            id=g,
            site_ids=tuple(i + 1 for i in own),
            value=group_value([float(ranking.score[i]) for i in own]),
            cost_low=float(cost[own, 0].sum()),
            cost_likely=float(cost[own, 1].sum()),
            cost_high=float(cost[own, 2].sum()),
            crew_days=float(days[own].sum()),
            needs=tuple(sorted(needs.get(g, ()))),
        )
        for g, own in members.items()
    ]


def _members(sites: Sites) -> dict[int, list[int]]:
    """Sites of each group by its number: those of its first site."""
    paired = {s.member.group for s in sites if s.control == "vertical"} - {0}
    first: dict[int, int] = {}
    out: dict[int, list[int]] = {}
    for i, site in enumerate(sites):
        if site.size is None:
            continue
        group = site.member.group
        g = first.setdefault(group, i + 1) if group in paired else i + 1
        out.setdefault(g, []).append(i)
    return out


def _series_needs(
    sites: Sites, members: dict[int, list[int]], group_of: dict[int, int]
) -> dict[int, set[int]]:
    """In a series each structure waits for the one before it."""
    members_of = [p.member for p in sites.proposals]
    at = {(m.group, m.order): i for i, m in enumerate(members_of) if m.group and i in group_of}
    out: dict[int, set[int]] = {}
    for g, own in members.items():
        m = members_of[own[0]]
        before = at.get((m.group, m.order - 1))
        if len(own) == 1 and m.group and before is not None and group_of[before] != g:
            out.setdefault(g, set()).add(group_of[before])
    return out
