"""All works of a plan and what is referred, from sites, what they do and what they take."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from siting.effects.site_effects import Effect
from siting.site import Site
from siting.sites import Sites
from siting.values.rules import Rules
from siting.values.wording import sentences
from siting.works.holding import chance_to_hold, share_made_up
from siting.works.losses import Known, head_loss, losses_of
from siting.works.lost_ground import ground_lost
from siting.works.reached_from_below import Below, heads_below
from siting.works.work import HEADCUT, Judging, Loss, Takings, Work
from siting.works.work_groups import WITHOUT, groups_of, lowest_of
from siting.works.work_ranks import ranked
from terrain.values.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Referred:
    """A site that nobody builds before an engineer, or more elevations, have been asked.

    Parameters
    ----------
    row
        Its site.
    risk_rank
        Place among those, most at risk first, from 1.
    loss
        What it would take within the horizon; None where it is no headcut.
    at_risk_m3
        That, counted as soil, times the chance that it is lost.
    why
        Why it is referred.
    """

    row: int
    risk_rank: int
    loss: Loss | None
    at_risk_m3: float
    why: str


@dataclass(frozen=True, eq=False)
class Works:
    """Works by number, their ranks, and what is referred.

    Parameters
    ----------
    each
        Works, the first with number 1.
    order
        Their numbers by rank.
    referred
        Most at risk first.
    site_count
        Number of sites.
    judging, years
        How they were judged, and the horizon.
    held
        Sites that wait until they are settled on site: in no work.
    """

    each: tuple[Work, ...]
    order: tuple[int, ...]
    referred: tuple[Referred, ...]
    site_count: int
    judging: Judging
    years: float
    held: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.each)

    def facts(self) -> dict[str, str]:
        """How they were judged, for the record of the run."""
        return {
            "horizon": f"{self.years:g} years",
            "works ranked by": self.judging.rank_by,
            "works": str(len(self)),
        }

    @property
    def by_rank(self) -> tuple[Work, ...]:
        """Works, the first of the list first."""
        return tuple(self.each[number - 1] for number in self.order)

    @cached_property
    def rank_of(self) -> Mapping[int, int]:
        """Number of each work to its rank, from 1."""
        return {number: rank for rank, number in enumerate(self.order, start=1)}

    @cached_property
    def work_id(self) -> IntArray:
        """Number of each site's work, ``(n,)``; 0 where nothing is built."""
        return self._of_sites(lambda work, place: work.id)

    @cached_property
    def rank(self) -> IntArray:
        """Rank of each site's work, ``(n,)``; 0 where nothing is built."""
        return self._of_sites(lambda work, place: self.rank_of[work.id])

    @cached_property
    def build_order(self) -> IntArray:
        """Place of each site in its work, from 1, ``(n,)``; 0 where nothing is built."""
        return self._of_sites(lambda work, place: place)

    @cached_property
    def list_place(self) -> IntArray:
        """Place of each site in a list of all, from 1, ``(n,)``.

        What is on hold; then works by rank, the sites of each in the order of building; then what
        is referred, most at risk first; then what is left out.
        """
        built = [row for work in self.by_rank for row in work.rows]
        listed = [*self.held, *built, *(r.row for r in self.referred)]
        rest = sorted(set(range(self.site_count)) - set(listed))
        out = np.zeros(self.site_count, dtype=np.int64)
        out[[*listed, *rest]] = np.arange(1, self.site_count + 1)
        return out

    @cached_property
    def score(self) -> FloatArray:
        """What each site's work saves for its cost, over the most of any, ``(n,)``."""
        most = max((w.saved_per_cost for w in self.each), default=0.0)
        out = np.zeros(self.site_count)
        for work in self.each:
            out[list(work.rows)] = work.saved_per_cost / most if most > 0 else 0.0
        return out

    def _of_sites(self, get: Callable[[Work, int], int]) -> IntArray:
        out = np.zeros(self.site_count, dtype=np.int64)
        for work in self.each:
            for place, row in enumerate(work.rows, start=1):
                out[row] = get(work, place)
        return out


def works_of(
    sites: Sites,
    effects: Sequence[Effect],
    cost: FloatArray,
    crew_days: FloatArray,
    *,
    rules: Rules,
    judging: Judging,
) -> Works:
    """Put sites together to works, judge each, and rank them.

    Parameters
    ----------
    sites, effects
        What was found, and what each structure does.
    cost
        Low, likely and high cost of each site, ``(n, 3)``.
    crew_days
        Low, likely and high days of a crew, ``(n, 3)``.
    rules, judging
        Limits and curves, the horizon and the order.
    """
    years = judging.years(rules)
    ground = ground_lost(sites, effects, rules, years=years)
    known = Known(sites, effects, ground, rules, years)
    heads = {i: head_loss(known, i) for i in ground}
    alone = [
        Work(
            id=number,
            kind=kind,
            rows=rows,
            lowest=lowest_of(sites, rows),
            losses=losses_of(known, kind, rows),
            holds=chance_to_hold(sites, kind, rows, (), rules=rules, years=years),
            share_made_up=share_made_up(sites, rows) if kind == HEADCUT else 1.0,
            takings=_takings(sites, cost, crew_days, rows),
            swale_worth=rules.value("works.swale_worth"),
            least_share=rules.value("works.least_share"),
            least_saved_m3=rules.value("works.least_saved"),
            needs=(),
            without=WITHOUT[kind],
        )
        for number, (kind, rows) in enumerate(groups_of(sites, rules), start=1)
    ]
    below = {
        work.id: heads_below(sites, effects, work.rows, heads, rules, years=years) for work in alone
    }

    def standing(work: Work, treated: Mapping[int, Work]) -> Work:
        """A work where some headcuts are treated."""
        open_to = [b for b in below[work.id] if b.row not in treated]
        holds = chance_to_hold(sites, work.kind, work.rows, open_to, rules=rules, years=years)
        return replace(work, needs=_needs(sites, work, below[work.id], treated), holds=holds)

    alone = _with_bases(alone, below, standing)
    treated = _treated(alone)
    works = [standing(work, treated) for work in alone]
    return Works(
        each=tuple(works),
        order=ranked(works, judging.rank_by),
        referred=_referred(sites, heads, rules),
        site_count=sites.count,
        judging=judging,
        years=years,
        held=tuple(i for i, site in enumerate(sites) if site.is_held),
    )


def _treated(works: Sequence[Work]) -> dict[int, Work]:
    """Works that are worth building, by the rows of their sites."""
    return {row: work for work in works if work.is_worth_it for row in work.rows}


def _with_bases(
    works: Sequence[Work],
    below: Mapping[int, tuple[Below, ...]],
    standing: Callable[[Work, Mapping[int, Work]], Work],
) -> list[Work]:
    """Mark works that save nothing of their own and are worth building for those above them.

    So where those above save more for the cost of both than for their own, the head below left
    alone; a work that does not work is no base.
    """
    treated, out = _treated(works), list(works)
    for i, base in enumerate(works):
        if base.is_worth_it or not base.functions:
            continue
        above = [
            work
            for work in works
            if work.is_worth_it and any(b.row in base.rows for b in below[work.id])
        ]
        with_base = {**treated, **dict.fromkeys(base.rows, base)}
        apart = math.fsum(standing(work, treated).saved_m3 for work in above)
        both = math.fsum(standing(work, with_base).saved_m3 for work in above)
        cost = math.fsum(work.takings.cost_likely for work in above)
        saves = both - apart >= base.least_saved_m3 and both > apart
        if saves and both * cost >= apart * (cost + base.takings.cost_likely):
            out[i] = replace(base, base_of=tuple(work.id for work in above))
    return out


def _takings(sites: Sites, cost: FloatArray, crew_days: FloatArray, rows: Sequence[int]) -> Takings:
    own = list(rows)
    low, likely, high = (float(v) for v in cost[own].sum(axis=0))
    days = [float(v) for v in crew_days[own].sum(axis=0)]
    counted = [float(cost[i, 2 if sites[i].width_unseen else 1]) for i in own]
    unseen = any(sites[i].width_unseen for i in own)
    return Takings(low, likely, high, days[1], sum(counted), days[0], days[2], unseen)


def _needs(
    sites: Sites, work: Work, below: Sequence[Below], treated: Mapping[int, Work]
) -> tuple[int, ...]:
    """Works that have to stand first: those that hold the heads that may come up to it.

    A work never needs one that reaches less far down than itself, so that none waits for itself.
    """

    def depth(one: Work) -> tuple[float, int]:
        return float(sites.elevation_m[one.lowest]), one.id

    bases = {treated[b.row].id: treated[b.row] for b in below if b.row in treated}
    return tuple(sorted(n for n, base in bases.items() if depth(base) < depth(work)))


def _referred(sites: Sites, heads: Mapping[int, Loss], rules: Rules) -> tuple[Referred, ...]:
    """What is referred, most at risk first, then by number."""
    worth = rules.value("works.swale_worth")
    found = []
    for i, site in enumerate(sites):
        if not site.is_referred:
            continue
        loss = heads.get(i)
        risk = 0.0
        if loss is not None:
            risk = (loss.soil_m3 + worth * loss.swale_ha) * loss.chance_lost
        found.append((-risk, i, loss))
    found.sort(key=lambda one: one[:2])
    return tuple(
        Referred(i, place, loss, -risk, why_referred(sites[i]))
        for place, (risk, i, loss) in enumerate(found, start=1)
    )


def why_referred(site: Site) -> str:
    """Why a site is referred, in sentences."""
    why = () if site.decision.type is not None else site.decision.why_none
    return sentences([site.proposal.field.refer, *site.decision.too_near, *why])
