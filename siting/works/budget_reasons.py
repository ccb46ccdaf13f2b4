"""Why a work was left out of the best set, in a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from siting.values.wording import figures, listed, quantity
from siting.works.budget_solver import Problem
from terrain.values.arrays import BoolArray, IntArray

#: So many works, or sites of one, are named in a sentence.
MOST_NAMED = 3
#: What a limit limits, and what is said when all of it is not enough.
BUDGET, CREW_DAYS = "budget", "crew days"
_ALL_OF = {BUDGET: "the whole budget", CREW_DAYS: "all crew days"}


def named(work: int, site_ids: Sequence[int]) -> str:
    """Name a work with its sites: ``work 3 (sites 4 and 5)``."""
    sites = [str(site) for site in site_ids[:MOST_NAMED]]
    if len(site_ids) > MOST_NAMED:
        sites.append(f"{len(site_ids) - MOST_NAMED} more")
    return f"work {work} (site{'s' if len(site_ids) != 1 else ''} {listed(sites)})"


@dataclass(frozen=True, slots=True)
class Names:
    """How groups, limits and values are called in sentences.

    Parameters
    ----------
    site_ids
        Group number to its sites.
    limits
        Name of each limit: `BUDGET`, `CREW_DAYS`.
    limit_steps, value_steps
        Whole numbers of the problem in one unit of each limit, and of the value.
    currency
        May be empty.
    """

    site_ids: Mapping[int, tuple[int, ...]]
    limits: tuple[str, ...]
    limit_steps: tuple[int, ...]
    value_steps: int
    currency: str

    def works(self, group_ids: Sequence[int]) -> str:
        """Name works: ``works 3, 4 and 7``; of a single one its sites too."""
        if len(group_ids) == 1:
            return named(group_ids[0], self.site_ids[group_ids[0]])
        ids = [str(number) for number in group_ids[:MOST_NAMED]]
        if len(group_ids) > MOST_NAMED:
            ids.append(f"{len(group_ids) - MOST_NAMED} more")
        return f"works {listed(ids)}"

    def compared(self, k: int, asks: IntArray, has: IntArray) -> str:
        """Write what is asked of the k-th limit, of what there is."""
        a, b = (int(v[k]) / self.limit_steps[k] for v in (asks, has))
        if self.limits[k] == BUDGET:
            return f"{a:,.0f} of {b:,.0f} {self.currency}".rstrip()
        return f"{figures(a)} of {figures(b)}"

    def value(self, steps: int) -> str:
        """Write what is saved, counted as soil."""
        return quantity(steps / self.value_steps, "m3")


@dataclass(frozen=True, slots=True, eq=False)
class _Removable:
    """Chosen groups with the chosen ones that need them: what goes, and frees, when one goes."""

    index: IntArray
    gone: tuple[tuple[int, ...], ...]
    value: IntArray
    freed: IntArray


def reasons(
    problem: Problem,
    chosen: BoolArray,
    *,
    ids: Sequence[int],
    ahead: Mapping[int, frozenset[int]],
    unknown: frozenset[int],
    names: Names,
) -> dict[int, tuple[str, str]]:
    """Say of every group that is not chosen why.

    Parameters
    ----------
    problem, chosen
        The n groups whose cost is known, and which are in the best set, ``(n,)``.
    ids
        Their numbers, rising.
    ahead
        Of all groups, everything that must stand before them.
    unknown
        Groups without a cost.
    names
        How things are called.

    Returns
    -------
    dict
        Group number to kind (see `siting.works.budget.LeftOut`) and sentence.
    """
    out = dict.fromkeys(unknown, ("no cost", "It has no cost: nothing is built there by hand."))
    position = {number: i for i, number in enumerate(ids)}
    removable = _removable(problem, chosen, ids, ahead)
    for i in np.flatnonzero(~chosen):
        blocked = sorted(ahead[ids[i]] & unknown)
        if blocked:
            said = f"It needs {names.works(blocked[:1])} first, which has no cost."
            out[ids[i]] = "needs", said
        else:
            before = [position[n] for n in sorted(ahead[ids[i]])]
            out[ids[i]] = _why(problem, chosen, int(i), before, ids, removable, names)
    return out


def _removable(
    problem: Problem, chosen: BoolArray, ids: Sequence[int], ahead: Mapping[int, frozenset[int]]
) -> _Removable:
    taken = [int(i) for i in np.flatnonzero(chosen)]
    gone: dict[int, list[int]] = {ids[i]: [i] for i in taken}
    for i in taken:
        for needed in ahead[ids[i]]:
            gone[needed].append(i)
    sets = tuple(tuple(sorted(gone[ids[i]])) for i in taken)
    freed = np.array([problem.use[:, s].sum(axis=1) for s in sets], dtype=np.int64)
    return _Removable(
        index=np.array(taken, dtype=np.int64),
        gone=sets,
        value=np.array([problem.value[list(s)].sum() for s in sets], dtype=np.int64),
        freed=freed.reshape(len(taken), problem.limit.size),
    )


def _why(
    problem: Problem,
    chosen: BoolArray,
    i: int,
    before: Sequence[int],
    ids: Sequence[int],
    removable: _Removable,
    names: Names,
) -> tuple[str, str]:
    """Say why the i-th group, which needs those of ``before``, is not chosen."""
    over = np.flatnonzero(problem.use[:, i] > problem.limit)
    if over.size:
        k = int(over[0])
        verb = "costs" if names.limits[k] == BUDGET else "takes"
        said = names.compared(k, problem.use[:, i], problem.limit)
        return "too large", f"It {verb} more than {_ALL_OF[names.limits[k]]}: {said}."
    missing = [j for j in before if not chosen[j]]
    together = problem.use[:, [i, *before]].sum(axis=1)
    over = np.flatnonzero(together > problem.limit)
    if over.size:
        k = int(over[0])
        said = names.compared(k, together, problem.limit)
        needed = names.works([ids[j] for j in missing or before])
        return "needs", (
            f"It needs {needed} first, and together they take more than "
            f"{_ALL_OF[names.limits[k]]}: {said}."
        )
    new = [i, *missing]
    own = int(problem.value[new].sum())
    if own == 0:
        return "no value", "It saves nothing."
    short = problem.use[:, new].sum(axis=1) - (problem.limit - problem.use[:, chosen].sum(axis=1))
    go = _to_remove(problem, short, removable, frozenset(before))
    worth = int(problem.value[go].sum())
    more = (
        f"saving more ({names.value(worth)} against {names.value(own)})"
        if worth > own
        else f"saving as much ({names.value(own)})"
    )
    tight = listed([names.limits[k] for k in np.flatnonzero(short > 0)])
    displaced = (
        f"{'better ones' if worth > own else 'others'} use the {tight}, and it would displace "
        f"{names.works([ids[j] for j in go])}, {more}."
    )
    if missing:
        first = [ids[j] for j in missing]
        do = "does" if len(first) == 1 else "do"
        return "needs", f"It needs {names.works(first)} first, which {do} not fit: {displaced}"
    return "displaced", displaced[0].upper() + displaced[1:]


def _to_remove(
    problem: Problem, short: IntArray, removable: _Removable, keep: frozenset[int]
) -> list[int]:
    """Choose chosen groups whose going makes room: one if one will do, of the least value.

    Where one is not enough, the least valuable go until there is room, and what turns out not to
    be needed stays. Returns indices in rising order.
    """
    may = np.array([int(j) not in keep for j in removable.index], dtype=np.bool_)
    enough = np.flatnonzero(may & (removable.freed >= short).all(axis=1))
    if enough.size:
        return list(removable.gone[int(enough[np.argmin(removable.value[enough])])])
    order = [int(k) for k in np.argsort(removable.value, kind="stable") if may[k]]
    picked: list[int] = []
    for k in order:
        picked.append(k)
        if _makes_room(problem, short, removable, picked):
            break
    for k in sorted(picked, key=lambda k: -int(removable.value[k])):
        fewer = [p for p in picked if p != k]
        if _makes_room(problem, short, removable, fewer):
            picked = fewer
    return _members(removable, picked)


def _makes_room(
    problem: Problem, short: IntArray, removable: _Removable, picked: Sequence[int]
) -> bool:
    return bool((problem.use[:, _members(removable, picked)].sum(axis=1) >= short).all())


def _members(removable: _Removable, picked: Sequence[int]) -> list[int]:
    return sorted({j for k in picked for j in removable.gone[k]})
