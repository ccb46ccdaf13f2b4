"""Splitting the visits into loops that each end in time: fewest loops, then least walking.

Few stops: exact, over all ways to part them. Many: one good round is parted at its best places
(route first, split second: J. E. Beasley 1983, from memory), then stops change loops while that
helps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siting.walking.order import (
    EXACT_STOPS,
    MANY_STOPS,
    all_rounds,
    best_round,
    improved,
    kicked,
    least_time,
    round_time,
)
from terrain.values.arrays import FloatArray

_TINY = 1e-6
#: So many rounds that differ a little from the best are parted as well.
_KICKED = 4


@dataclass(frozen=True, slots=True)
class Tours:
    """Loops by number of stop; the start is 0 and is left out.

    Parameters
    ----------
    loops
        Stops of each loop in their order.
    walk_s
        Time on foot of all loops, s.
    exact
        Whether nothing can be better.
    least_s
        No plan with so many loops walks less, s.
    fewest
        No plan has fewer loops.
    """

    loops: tuple[tuple[int, ...], ...]
    walk_s: float
    exact: bool
    least_s: float
    fewest: int

    @property
    def gap(self) -> float:
        """How far above the lower bound the walking is, as a share of the bound; 0 when exact."""
        if self.exact or self.least_s <= 0:
            return 0.0
        return max(self.walk_s / self.least_s - 1.0, 0.0)


def plan_loops(
    cost: FloatArray,
    stay_s: Sequence[float],
    *,
    budget_s: float = np.inf,
    also: Sequence[list[int]] = (),
) -> Tours:
    """Part the stops into loops from and to the start.

    Parameters
    ----------
    cost
        Walking times between start (0) and stops, s, shape ``(n + 1, n + 1)``.
    stay_s
        Time spent at each stop, s, shape ``(n,)``.
    budget_s
        Longest loop with its stays, s. Every stop must be reachable in a loop of its own.
    also
        Orders of all stops to start from besides; the result is never worse than these.
    """
    n = len(cost) - 1
    stay = np.append(0.0, np.asarray(stay_s, dtype=np.float64))
    if n == 0:
        return Tours((), 0.0, True, 0.0, 0)
    if n <= EXACT_STOPS:
        return _exact(cost, stay, budget_s)
    giant = best_round(cost, list(range(1, n + 1)), also=also)
    least_one = least_time(cost)
    if round_time(cost, giant) + stay.sum() <= budget_s:
        return Tours((tuple(giant),), round_time(cost, giant), False, least_one, 1)
    loops, walk = _parted(cost, stay, [giant, *also], budget_s)
    fewest = int(np.ceil((least_one + stay.sum()) / budget_s - 1e-9))
    return Tours(
        tuple(tuple(loop) for loop in loops),
        walk,
        False,
        least_time(cost, rounds=len(loops)),
        fewest,
    )


def _exact(cost: FloatArray, stay: FloatArray, budget_s: float) -> Tours:
    """Try every way to part few stops."""
    n = len(cost) - 1
    rounds = all_rounds(cost)
    size = 1 << n
    spent = np.zeros(size)
    for i in range(n):
        spent[(np.arange(size) >> i & 1) == 1] += stay[i + 1]
    ends_in_time = rounds.time_s + spent <= budget_s + _TINY
    # Loops first, walking second, in one number.
    per_loop = float(cost[np.isfinite(cost)].max()) * 2 * (n + 1) + 1.0
    best = np.full(size, np.inf)
    taken = np.zeros(size, dtype=np.int64)
    best[0] = 0.0
    for left in range(1, size):
        low = left & -left
        part = left
        while part:
            if part & low and ends_in_time[part]:
                value = best[left ^ part] + per_loop + rounds.time_s[part]
                if value < best[left] - _TINY:
                    best[left], taken[left] = value, part
            part = (part - 1) & left
    loops, left = [], size - 1
    while left:
        part = int(taken[left])
        loops.append(tuple(rounds.order(part)))
        left ^= part
    walk = sum(round_time(cost, list(loop)) for loop in loops)
    return Tours(tuple(loops), walk, True, walk, len(loops))


def split_round(
    cost: FloatArray, stay: FloatArray, order: list[int], budget_s: float
) -> list[list[int]]:
    """Part a round at its best places, wherever in the round one begins.

    Parameters
    ----------
    cost, budget_s
        As :func:`plan_loops`.
    stay
        Time at start (0) and stops, s, shape ``(n + 1,)``.
    order
        All stops in the order of the round.
    """
    n = len(order)
    per_loop = float(cost[np.isfinite(cost)].max()) * 2 * (n + 1) + 1.0
    best, result = np.inf, [[i] for i in order]
    for turn in range(n):
        row = order[turn:] + order[:turn]
        value = np.full(n + 1, np.inf)
        value[0] = 0.0
        since = np.zeros(n + 1, dtype=np.int64)
        for i in range(n):
            walk, here = float(cost[0, row[i]]), float(stay[row[i]])
            for j in range(i, n):
                if j > i:
                    walk += float(cost[row[j - 1], row[j]])
                    here += float(stay[row[j]])
                loop = walk + float(cost[row[j], 0])
                if walk + here > budget_s:
                    break
                total = value[i] + per_loop + loop
                if loop + here <= budget_s + _TINY and total < value[j + 1] - _TINY:
                    value[j + 1], since[j + 1] = total, i
        if value[n] < best - _TINY:
            best, result, end = float(value[n]), [], n
            while end:
                result.append(row[since[end] : end])
                end = int(since[end])
            result.reverse()
    return result


def _parted(
    cost: FloatArray, stay: FloatArray, orders: list[list[int]], budget_s: float
) -> tuple[list[list[int]], float]:
    """Part some rounds and a few that differ from the first; keep the best loops and their time."""
    rng = np.random.default_rng(len(cost))
    found = []
    more = 0 if len(cost) > MANY_STOPS else _KICKED
    for order in [*orders, *(kicked(orders[0], rng) for _ in range(more))]:
        loops = _exchanged(cost, stay, split_round(cost, stay, order, budget_s), budget_s)
        found.append((len(loops), sum(round_time(cost, loop) for loop in loops), loops))
    _, walk, loops = min(found, key=lambda f: f[:2])
    return loops, walk


def _exchanged(
    cost: FloatArray, stay: FloatArray, loops: list[list[int]], budget_s: float
) -> list[list[int]]:
    """Move stops to other loops while that makes a loop needless or the walking less."""
    loops = [best_round(cost, loop, kicks=20) for loop in loops]
    while True:
        change = _without_one(cost, stay, loops, budget_s) or _one_moved(
            cost, stay, loops, budget_s
        )
        if change is None:
            return [best_round(cost, loop, kicks=40) for loop in loops]
        loops = change


def _length(cost: FloatArray, stay: FloatArray, loop: list[int]) -> float:
    return round_time(cost, loop) + float(stay[loop].sum())


def _inserted(cost: FloatArray, loop: list[int], stop: int) -> tuple[float, list[int]]:
    """Loop with one more stop at its best place, and what that adds."""
    trip = np.array([0, *loop, 0])
    more = cost[trip[:-1], stop] + cost[stop, trip[1:]] - cost[trip[:-1], trip[1:]]
    at = int(more.argmin())
    return float(more[at]), [*loop[:at], stop, *loop[at:]]


def _without_one(
    cost: FloatArray, stay: FloatArray, loops: list[list[int]], budget_s: float
) -> list[list[int]] | None:
    """Spread the stops of one loop over the others, if they take them all."""
    for gone in sorted(range(len(loops)), key=lambda i: _length(cost, stay, loops[i])):
        rest = [list(loop) for i, loop in enumerate(loops) if i != gone]
        for stop in sorted(loops[gone], key=lambda i: -cost[0, i]):
            options = [(*_inserted(cost, loop, stop), i) for i, loop in enumerate(rest)]
            fits = [o for o in options if _length(cost, stay, o[1]) <= budget_s + _TINY]
            if not fits:
                break
            _, loop, i = min(fits, key=lambda o: o[0])
            rest[i] = improved(cost, loop)
        else:
            if rest:
                return rest
    return None


def _one_moved(
    cost: FloatArray, stay: FloatArray, loops: list[list[int]], budget_s: float
) -> list[list[int]] | None:
    """Move one stop to another loop, or let two loops trade one each; the best that helps."""
    best, result = _TINY, None
    for a, loop in enumerate(loops):
        for stop in loop:
            less = [i for i in loop if i != stop]
            saved = round_time(cost, loop) - round_time(cost, less)
            for b, other in enumerate(loops):
                if a == b or not less:
                    continue
                more, longer = _inserted(cost, other, stop)
                if saved - more > best and _length(cost, stay, longer) <= budget_s + _TINY:
                    best = saved - more
                    result = {a: less, b: longer}
    if result is None and len(cost) <= MANY_STOPS:
        result = _traded(cost, stay, loops, budget_s)
    if result is None:
        return None
    return [improved(cost, result.get(i, loop)) for i, loop in enumerate(loops)]


def _traded(
    cost: FloatArray, stay: FloatArray, loops: list[list[int]], budget_s: float
) -> dict[int, list[int]] | None:
    """Let two loops trade one stop each, where that shortens the walking."""
    for a in range(len(loops)):
        for b in range(a + 1, len(loops)):
            old = round_time(cost, loops[a]) + round_time(cost, loops[b])
            for one in loops[a]:
                for two in loops[b]:
                    _, new_a = _inserted(cost, [i for i in loops[a] if i != one], two)
                    _, new_b = _inserted(cost, [i for i in loops[b] if i != two], one)
                    if round_time(cost, new_a) + round_time(cost, new_b) < old - _TINY and all(
                        _length(cost, stay, x) <= budget_s + _TINY for x in (new_a, new_b)
                    ):
                        return {a: new_a, b: new_b}
    return None
