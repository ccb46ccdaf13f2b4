"""What a plan takes and what a budget buys of it: materials, days, costs, the chosen set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from siting.effects.site_effects import Effect
from siting.sites import Sites
from siting.structures.one_rock_dam import OneRockDam
from siting.structures.structure_type import Amount
from siting.structures.whole_price import priced_whole_of
from siting.values.columns import Columns
from siting.values.rules import Rules
from siting.values.wording import between, counted, figures, listed, percent, quantity
from siting.works.bill import Bill, beside_published, bill, cost_columns, whole_sentence
from siting.works.budget import Choice, LeftOut, choose
from siting.works.budget_groups import Group
from siting.works.budget_reasons import named
from siting.works.costs import Costs, load_costs
from siting.works.making_works import Works, works_of
from siting.works.quantities import (
    CREW_SIZE,
    ITEM_NAMES,
    SPARE,
    Quantities,
    material_columns,
    quantities,
)
from siting.works.work import Judging, Work
from terrain.values.arrays import BoolArray

#: Works left out that are told; the plan holds them all.
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
    works
        What stands or falls together, with what it saves and takes.
    choice
        What the budget buys; without one everything that works and saves something.
    means
        What it was counted with.
    """

    amounts: tuple[tuple[Amount, ...], ...]
    structures: tuple[str, ...]
    quantities: Quantities
    bill: Bill
    works: Works
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
        out = [self.choice.summary] if self.means.limited else []
        out += [*self._work(chosen), *self._of_no_use()]
        if self.means.limited:
            left = [
                f"Left out, {named(left.group_id, left.site_ids)}: {left.why}"
                for left in self.choice.left_out[:LEFT_OUT_TOLD]
            ]
            more = len(self.choice.left_out) - len(left)
            out += [*left, *([f"{counted(more, 'work')} more left out."] if more > 0 else [])]
        return tuple(out)

    def _of_no_use(self) -> list[str]:
        """What could be built beside it and saves nothing, or cannot work."""
        idle = [work for work in self.works.each if not work.is_worth_it]
        if not idle or self.means.limited:
            return []
        low, likely, high = (
            sum(getattr(work.takings, f"cost_{end}") for work in idle)
            for end in ("low", "likely", "high")
        )
        unseen = any(work.takings.width_unseen for work in idle)
        cost = f"{low:,.0f} to {high:,.0f}" if unseen else f"{likely:,.0f}"
        return [
            f"Not counted in this: {counted(len(idle), 'work')} for {cost} "
            f"{self.bill.currency} that would save nothing within {self.works.years:g} years, or "
            "cannot work. They are listed last: do not build them for what they save."
        ]

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
            f"{_span(low, value, unit)} of {what}"
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
        range_only = "a range, not a confidence; most prices are round figures without a published "
        if (self.quantities.ranges & which).any():
            # the likely figures stand at the widest of what nobody saw
            return [
                f"{whose} {listed(parts) or 'no material that is bought'} with spare (up to "
                f"{np.nansum(loads):.0f} truck loads) and {figures(days[0])} to "
                f"{figures(days[2])} days of a crew of {self.means.crew_size}.",
                f"Cost: {low:,.0f} to {high:,.0f} {self.bill.currency}; with every width that "
                f"nobody saw at its widest the likely prices come to {likely:,.0f}. It is "
                f"{range_only}source.",
            ]
        return [
            f"{whose} {listed(parts) or 'no material that is bought'} with spare "
            f"({np.nansum(loads):.0f} truck loads) and {figures(days[1])} days of a crew of "
            f"{self.means.crew_size} ({figures(days[0])} to {figures(days[2])}).",
            f"Cost: {likely:,.0f} {self.bill.currency}, between {low:,.0f} and {high:,.0f}: "
            f"{range_only}source.",
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
        return {
            "materials": material_columns(self.quantities, chosen),
            "costs": cost_columns(self.bill, chosen),
        }


def _span(low: float, high: float, unit: str) -> str:
    """Write an amount from one end to the other; one number where both read the same."""
    ends = quantity(low, unit), quantity(high, unit)
    return ends[0] if ends[0] == ends[1] else between(low, high, unit)


def takes_of(
    sites: Sites,
    effects: Sequence[Effect],
    means: Means,
    *,
    rules: Rules,
    judging: Judging | None = None,
) -> Takes:
    """Count, price, put together to works, rank, and choose.

    Parameters
    ----------
    sites, effects
        What was found, and what each structure does.
    means
        Prices and limits.
    rules, judging
        Limits and curves; horizon and order of the works.

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
    works = works_of(
        sites,
        effects,
        priced.by_site,
        counted.crew_days,
        rules=rules,
        judging=judging or Judging(),
    )
    return Takes(amounts, structures, counted, priced, works, _bought(works, means), means)


def _bought(works: Works, means: Means) -> Choice:
    """What the limits buy: never a work that does not work, or that saves nothing.

    Without limits it is everything else.
    """
    worthy = {work.id for work in works.each if work.is_worth_it}
    choice = choose(
        [group for group in budget_groups(works) if group.id in worthy],
        budget=means.budget,
        crew_days=means.crew_days,
        currency=means.costs.currency,
    )
    others = [LeftOut(w.id, w.site_ids, *_no_use(w)) for w in works.each if w.id not in worthy]
    left_out = sorted((*choice.left_out, *others), key=lambda left: left.group_id)
    summary = choice.summary
    if others:
        summary += f" {counted(len(others), 'more work')} save nothing or cannot work: not bought."
    return replace(choice, left_out=tuple(left_out), summary=summary)


def _no_use(work: Work) -> tuple[str, str]:
    """Why a budget does not buy a work, whatever there is to spend."""
    if work.functions:
        return "no value", "It saves next to nothing within the horizon."
    return "does not work", (
        f"Its crests make up {percent(work.share_made_up)} of the rise to the foot of the drop, "
        f"less than {percent(work.least_share)}: it would be undermined."
    )


def budget_groups(works: Works) -> list[Group]:
    """Works as what a budget chooses from, each worth what it saves."""
    return [
        Group(
            id=work.id,
            site_ids=work.site_ids,
            value=work.saved_m3,
            cost_low=work.takings.cost_low,
            cost_likely=work.takings.cost_likely,
            cost_high=work.takings.cost_high,
            crew_days=work.takings.crew_days,
            needs=work.needs,
            counted=work.takings.counted,
        )
        for work in works.each
    ]
