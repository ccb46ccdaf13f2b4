"""Which works a budget buys: the best whole set, what is left out, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.values.wording import counted, quantity
from siting.works.budget_groups import Group, all_needs, check_groups, is_known
from siting.works.budget_reasons import BUDGET, CREW_DAYS, Names, reasons
from siting.works.budget_solver import Problem, best_set
from terrain.values.arrays import BoolArray
from terrain.values.errors import ParameterError

MONEY = ("low", "likely", "high")
#: Steps in one unit in which what is saved, money and days are told apart.
VALUE_STEPS, MONEY_STEPS, DAY_STEPS = 1000, 100, 1000


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A group that was not chosen.

    ``kind`` is ``no cost``, ``too large`` (by itself past a limit), ``needs`` (something else
    first that cannot be had), ``displaced`` (better ones use the budget), ``no value`` (it saves
    nothing) or ``does not work``; ``why`` is a sentence.
    """

    group_id: int
    site_ids: tuple[int, ...]
    kind: str
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """The best whole set.

    Parameters
    ----------
    group_ids, site_ids
        What is chosen, in the order of the groups' numbers.
    value
        Summed value.
    cost_low, cost_likely, cost_high, crew_days
        Sums over what is chosen; the low one is what it costs if everything is cheap at once.
    money_left, days_left
        What is left of each limit; None without that limit.
    left_out
        Everything else, with the reason, in the order of the groups' numbers.
    summary
        Two or three sentences.
    """

    group_ids: tuple[int, ...]
    site_ids: tuple[int, ...]
    value: float
    cost_low: float
    cost_likely: float
    cost_high: float
    crew_days: float
    money_left: float | None
    days_left: float | None
    left_out: tuple[LeftOut, ...]
    summary: str

    def columns(self, site_ids: Sequence[int]) -> tuple[BoolArray, NDArray[Any]]:
        """Say of sites whether they are chosen, and why not (None for those that are).

        A site of no group is referred or has no structure: it is not chosen and has no sentence.
        """
        chosen = frozenset(self.site_ids)
        why = {site: left.why for left in self.left_out for site in left.site_ids}
        texts = np.empty(len(site_ids), dtype=object)
        texts[:] = [why.get(int(site)) for site in site_ids]
        return np.array([int(site) in chosen for site in site_ids], dtype=np.bool_), texts


def choose(
    groups: Sequence[Group],
    *,
    budget: float | None = None,
    crew_days: float | None = None,
    money: str = "likely",
    currency: str = "",
) -> Choice:
    """Choose the whole groups of greatest summed value within a budget, crew days, or both.

    The best set is found exactly, not piece by piece. Among sets of the same value it is the
    cheapest; among those the one with the lower group numbers. (Such a tie is left as it stands
    where settling it would take the solver too long; that never costs any value.)

    Parameters
    ----------
    groups
        What there is to choose from, in any order.
    budget, crew_days
        Limits, above 0; without either everything with a known cost is chosen.
    money
        Which cost is held against the budget: ``low``, ``likely`` or ``high``.
    currency
        For the sentences.

    Raises
    ------
    ParameterError
        A limit that is not a number above 0, groups of the same number, a need that is not there
        or runs in a circle, a site in two groups, or a value or cost below 0.
    """
    groups = sorted(groups, key=lambda g: g.id)
    if money not in MONEY:
        raise ParameterError(f"money is '{money}'", expected="one of " + ", ".join(MONEY))
    _check_limit(budget, "the budget", "an amount above 0")
    _check_limit(crew_days, "the number of crew days", "a number above 0")
    check_groups(groups)
    known = [g for g in groups if is_known(g)]
    position = {g.id: i for i, g in enumerate(known)}
    unknown = frozenset(g.id for g in groups) - position.keys()
    ahead = all_needs(groups)
    problem = _problem(known, position, money=money, budget=budget, crew_days=crew_days)
    whole = np.array([not (ahead[g.id] & unknown) for g in known], dtype=np.bool_)
    if budget is None and crew_days is None:
        chosen = whole
    else:
        chosen = _choose_among(problem, known, position, ahead, whole)
    limits = {BUDGET: (budget, MONEY_STEPS), CREW_DAYS: (crew_days, DAY_STEPS)}
    used = {name: steps for name, (limit, steps) in limits.items() if limit is not None}
    names = Names(
        site_ids={g.id: g.site_ids for g in groups},
        limits=tuple(used),
        limit_steps=tuple(used.values()),
        value_steps=VALUE_STEPS,
        currency=currency,
    )
    ids = [g.id for g in known]
    why = reasons(problem, chosen, ids=ids, ahead=ahead, unknown=unknown, names=names)
    return _choice(groups, known, chosen, why, budget, crew_days, money, currency)


def _check_limit(limit: float | None, what: str, expected: str) -> None:
    if limit is not None and not (math.isfinite(limit) and limit > 0):
        raise ParameterError(f"{what} is {limit:g}", expected=expected)


def _problem(
    known: Sequence[Group],
    position: dict[int, int],
    *,
    money: str,
    budget: float | None,
    crew_days: float | None,
) -> Problem:
    def up(values: Sequence[float], steps: int) -> NDArray[np.int64]:
        # up, so that no limit is passed by rounding; nine decimals drop the noise of 0.1 + 0.2
        return np.array([math.ceil(round(v * steps, 9)) for v in values], dtype=np.int64)

    cost = up([_held(g, money) for g in known], MONEY_STEPS)
    use, limit = [], []
    if budget is not None:
        use.append(cost)
        limit.append(math.floor(round(budget * MONEY_STEPS, 9)))
    if crew_days is not None:
        use.append(up([g.crew_days for g in known], DAY_STEPS))
        limit.append(math.floor(round(crew_days * DAY_STEPS, 9)))
    pairs = [(position[g.id], position[n]) for g in known for n in g.needs if n in position]
    return Problem(
        value=np.array([round(g.value * VALUE_STEPS) for g in known], dtype=np.int64),
        cost=cost,
        use=np.array(use, dtype=np.int64).reshape(len(use), len(known)),
        limit=np.array(limit, dtype=np.int64),
        needs=np.array(pairs, dtype=np.int64).reshape(-1, 2),
    )


def _held(group: Group, money: str) -> float:
    """What of a group is held against a budget."""
    return float(getattr(group, f"cost_{money}") if group.counted is None else group.counted)


def _choose_among(
    problem: Problem,
    known: Sequence[Group],
    position: dict[int, int],
    ahead: dict[int, frozenset[int]],
    whole: BoolArray,
) -> BoolArray:
    """Set aside what cannot fit even alone with all it needs, and solve for the rest."""
    fits = whole.copy()
    for i, g in enumerate(known):
        if fits[i]:
            together = [i, *(position[n] for n in ahead[g.id])]
            fits[i] = bool((problem.use[:, together].sum(axis=1) <= problem.limit).all())
    kept = np.flatnonzero(fits)
    number = np.full(problem.size, -1)
    number[kept] = np.arange(kept.size)
    # what a kept group needs is itself kept: it needs and uses less
    needs = number[problem.needs[fits[problem.needs[:, 0]]]].astype(np.int64).reshape(-1, 2)
    chosen = np.zeros(problem.size, dtype=np.bool_)
    chosen[kept] = best_set(
        Problem(
            problem.value[kept],
            problem.cost[kept],
            problem.use[:, kept],
            problem.limit.copy(),
            needs,
        )
    )
    return chosen


def _choice(
    groups: Sequence[Group],
    known: Sequence[Group],
    chosen: BoolArray,
    why: dict[int, tuple[str, str]],
    budget: float | None,
    crew_days: float | None,
    money: str,
    currency: str,
) -> Choice:
    taken = [g for g, c in zip(known, chosen, strict=True) if c]
    sums = {
        name: math.fsum(getattr(g, name) for g in taken)
        for name in ("value", "cost_low", "cost_likely", "cost_high", "crew_days")
    }
    spent = math.fsum(_held(g, money) for g in taken)
    held = f"at the {money} cost"
    if spent > sums[f"cost_{money}"]:
        held += ", at the high one where nobody saw the width"
    money_left = None if budget is None else max(0.0, budget - spent)
    days_left = None if crew_days is None else max(0.0, crew_days - sums["crew_days"])
    sites = tuple(site for g in taken for site in g.site_ids)
    unit = f" {currency}" if currency else ""
    said = [
        f"{len(taken):,} of {counted(len(known), 'work')} chosen, {counted(len(sites), 'site')}, "
        f"which save what {quantity(sums['value'], 'm3')} of soil are worth"
    ]
    if budget is not None:
        said.append(
            f"they cost {spent:,.0f} of {budget:,.0f}{unit} {held} "
            f"({sums['cost_low']:,.0f} to {sums['cost_high']:,.0f}), {money_left:,.0f} left"
        )
    if crew_days is not None:
        said.append(
            f"they take {sums['crew_days']:,.1f} of {crew_days:,.1f} crew days, "
            f"{days_left:,.1f} left"
        )
    return Choice(
        group_ids=tuple(g.id for g in taken),
        site_ids=sites,
        **sums,
        money_left=money_left,
        days_left=days_left,
        left_out=tuple(LeftOut(g.id, g.site_ids, *why[g.id]) for g in groups if g.id in why),
        summary="; ".join(said) + ".",
    )
