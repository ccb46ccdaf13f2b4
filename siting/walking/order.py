"""The order in which places are visited: exact for few, improved step by step for many.

Number 0 is the start, 1 to n are the stops; a round goes from 0 through all of them back to 0.
Exact: M. Held and R. M. Karp (1962), dynamic programming over subsets. Beyond that: 2-opt and
Or-opt moves on times that differ by direction, with seeded double-bridge kicks (G. A. Croes 1958,
I. Or 1976, O. Martin et al. 1991; all from memory).
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.sparse.csgraph import minimum_spanning_tree

from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

#: Up to so many stops a round is exact.
EXACT_STOPS = 12
#: Above so many stops one good order has to do, for the sake of time.
MANY_STOPS = 150
_TINY = 1e-6
_LONGEST_MOVED = 3


@dataclass(frozen=True, slots=True, eq=False)
class Rounds:
    """Best round through every subset of the stops.

    Parameters
    ----------
    time_s
        Time by subset, as a bit mask (bit 0 is stop 1), shape ``(2 ** n,)``.
    """

    time_s: FloatArray
    _cost: FloatArray
    _reach: FloatArray

    def order(self, subset: int) -> list[int]:
        """Stops of the best round through a subset, in its order."""
        stops = [i for i in range(len(self._cost) - 1) if subset >> i & 1]
        if not stops:
            return []
        last = min(stops, key=lambda i: self._reach[subset, i] + self._cost[i + 1, 0])
        out = [last]
        while subset != 1 << last:
            subset ^= 1 << last
            to = last
            last = min(
                (i for i in stops if subset >> i & 1),
                key=lambda i: self._reach[subset, i] + self._cost[i + 1, to + 1],
            )
            out.append(last)
        return [i + 1 for i in reversed(out)]


def all_rounds(cost: FloatArray) -> Rounds:
    """Find the best round through every subset of at most ``EXACT_STOPS`` stops.

    Parameters
    ----------
    cost
        From row to column, shape ``(n + 1, n + 1)``; it may differ by direction.

    Raises
    ------
    ParameterError
        More stops than ``EXACT_STOPS``.
    """
    n = len(cost) - 1
    if n > EXACT_STOPS:
        raise ParameterError(f"{n} stops to order exactly", expected=f"{EXACT_STOPS} at most")
    reach = np.full((1 << n, max(n, 1)), np.inf)
    time = np.zeros(1 << n)
    inner = cost[1:, 1:]
    for subset in range(1, 1 << n):
        stops = [i for i in range(n) if subset >> i & 1]
        for i in stops:
            rest = subset ^ (1 << i)
            reach[subset, i] = (reach[rest] + inner[:, i]).min() if rest else cost[0, i + 1]
        time[subset] = (reach[subset] + cost[1:, 0]).min()
    return Rounds(time, cost, reach)


def round_time(cost: FloatArray, order: list[int]) -> float:
    """Time of a round through stops in an order. The times are ``(n + 1, n + 1)``."""
    trip = np.array([0, *order, 0])
    return float(cost[trip[:-1], trip[1:]].sum())


def best_round(
    cost: FloatArray, stops: list[int], *, kicks: int = 200, also: Sequence[list[int]] = ()
) -> list[int]:
    """Order stops for a short round: exact for few, else as good as the moves make it.

    Parameters
    ----------
    cost
        Times between start and all n stops, shape ``(n + 1, n + 1)``.
    stops
        The stops to visit.
    kicks
        How often a good order is shaken and mended; the same ones in every run.
    also
        Orders to start from besides; the result is never longer than these.
    """
    if len(stops) <= min(EXACT_STOPS, 9):
        some = [0, *stops]
        rounds = all_rounds(cost[np.ix_(some, some)])
        return [some[i] for i in rounds.order((1 << len(stops)) - 1)]
    many = len(stops) > MANY_STOPS
    firsts = [0] if many else [0, *sorted(stops, key=lambda i: -cost[0, i])[:3]]
    begun = [*(_nearest_next(cost, stops, first) for first in firsts), *also]
    tries = [improved(cost, order) for order in begun]
    best = min(tries, key=lambda order: round_time(cost, order))
    least = round_time(cost, best)
    rng = np.random.default_rng(len(stops))
    for _ in range(0 if many else kicks):
        trial = improved(cost, kicked(best, rng))
        time = round_time(cost, trial)
        if time < least - _TINY:
            best, least = trial, time
    return best


def kicked(order: list[int], rng: np.random.Generator) -> list[int]:
    """Let two neighbouring stretches change places (double bridge); four stops at least."""
    a, b, c = np.sort(rng.choice(np.arange(1, len(order)), 3, replace=False)).tolist()
    return [*order[:a], *order[b:c], *order[a:b], *order[c:]]


def _nearest_next(cost: FloatArray, stops: list[int], first: int) -> list[int]:
    """Go to the nearest stop that is left, again and again."""
    left = [i for i in stops if i != first]
    order = [first] if first else []
    at = first
    while left:
        at = min(left, key=lambda i: cost[at, i])
        left.remove(at)
        order.append(at)
    return order


def improved(cost: FloatArray, order: list[int]) -> list[int]:
    """Turn stretches round and move short ones elsewhere until nothing gets shorter.

    The times are ``(n + 1, n + 1)``.
    """
    trip = np.array([0, *order, 0])
    while True:
        between = cost[np.ix_(trip, trip)]
        gain, changed = _best_turn(between, trip)
        moved_gain, moved = _best_move(between, trip)
        if max(gain, moved_gain) <= _TINY:
            return [int(i) for i in trip[1:-1]]
        trip = changed if gain >= moved_gain else moved


def _both_ways(between: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Time since the start of a trip at each of its stops, as it is walked and backwards.

    The times between its stops, in its order, are ``(n, n)``.
    """
    ahead, back = (np.append(0.0, np.cumsum(between.diagonal(k))) for k in (1, -1))
    return ahead, back


def _best_turn(between: FloatArray, trip: NDArray[np.int64]) -> tuple[float, NDArray[np.int64]]:
    """2-opt: the stretch i..j that is best walked the other way round; rows are i, columns j."""
    n = len(trip)
    ahead, back = _both_ways(between)
    since = back[1 : n - 1]
    old = ahead[2:] - ahead[: n - 2, None]
    new = between[: n - 2, 1 : n - 1] + since - since[:, None] + between[1 : n - 1, 2:]
    gain = np.where(_later(n), old - new, -np.inf)
    best = int(gain.argmax())
    a, b = (int(v) + 1 for v in np.unravel_index(best, gain.shape))
    turned = np.concatenate([trip[:a], trip[a : b + 1][::-1], trip[b + 1 :]])
    return float(gain.flat[best]), turned


def _best_move(between: FloatArray, trip: NDArray[np.int64]) -> tuple[float, NDArray[np.int64]]:
    """Or-opt: the stretch of up to three stops that is best walked somewhere else, either way.

    Rows are its first stop i, its last one is j; columns are the stop k that it is put behind.
    """
    best, result = -np.inf, trip
    n = len(trip)
    ahead, back = _both_ways(between)
    step = between.diagonal(1)
    for size in range(1, min(_LONGEST_MOVED, n - 3) + 1):
        firsts, lasts = slice(1, n - size), slice(size, n - 1)
        out = step[: n - size - 1] + step[size:] - between.diagonal(size + 1)
        same = step - between[:-1, firsts].T - between[lasts, 1:]
        inner = (ahead[lasts] - ahead[firsts]) - (back[lasts] - back[firsts])
        turned = step - between[:-1, lasts].T - between[firsts, 1:] + inner[:, None]
        for flip, put in ((False, same), (True, turned)):
            gain = np.where(_elsewhere(n, size), out[:, None] + put, -np.inf)
            a, b = np.unravel_index(int(gain.argmax()), gain.shape)
            if gain[a, b] > best:
                best = float(gain[a, b])
                result = _moved(trip, int(a) + 1, size, int(b), flip=flip)
    return best, result


@functools.lru_cache(maxsize=64)
def _later(n: int) -> NDArray[np.bool_]:
    """Whether a stretch of a trip of n places, from row to column, has two stops at least."""
    return np.triu(np.ones((n - 2, n - 2), dtype=np.bool_), 1)


@functools.lru_cache(maxsize=64)
def _elsewhere(n: int, size: int) -> NDArray[np.bool_]:
    """Whether a stretch of a trip of n places, by its first stop, may be put behind each place."""
    i = np.arange(1, n - size)[:, None]
    k = np.arange(n - 1)[None, :]
    return (k < i - 1) | (k > i + size - 1)


def _moved(
    trip: NDArray[np.int64], first: int, size: int, after: int, *, flip: bool
) -> NDArray[np.int64]:
    part = trip[first : first + size]
    rest = np.concatenate([trip[:first], trip[first + size :]])
    at = after + 1 if after < first else after + 1 - size
    return np.concatenate([rest[:at], part[::-1] if flip else part, rest[at:]])


def least_time(cost: FloatArray, *, rounds: int = 1, passes: int = 120) -> float:
    """Lower bound: no set of so many rounds through all stops takes less.

    The larger of the assignment bound and a one-tree bound with multipliers (M. Held and R. M.
    Karp 1970, from memory). For the latter the times are first made as alike in both directions as
    heights of the stops can make them, which changes no round's time, and the lesser one is taken.

    Parameters
    ----------
    cost
        From row to column, shape ``(n + 1, n + 1)``, number 0 the start.
    rounds
        How many rounds start there: as many copies of the start, none empty.
    passes
        Steps of the multipliers.
    """
    copies = [0] * rounds + list(range(1, len(cost)))
    full = cost[np.ix_(copies, copies)].astype(np.float64)
    large = float(full.sum()) + 1.0
    np.fill_diagonal(full, large)
    full[:rounds, :rounds] = large
    rows, cols = linear_sum_assignment(full)
    bound = float(full[rows, cols].sum())
    if len(copies) < 4:
        return bound
    lift = (full.T - full).mean(axis=1) / 2
    even = full + lift[:, None] - lift[None, :]
    return max(bound, _one_tree(np.minimum(even, even.T), bound, passes))


def _one_tree(cost: FloatArray, start: float, passes: int) -> float:
    """Best one-tree bound over multipliers; cost is the same in both directions and positive."""
    n = len(cost)
    weight = np.zeros(n)
    best, step = -np.inf, max(start, 1.0) / n / 10
    floor = float(np.abs(cost).max()) * 4
    for _ in range(passes):
        shifted = cost + weight[:, None] + weight[None, :]
        # The library takes a nought for no connection.
        tree = minimum_spanning_tree(shifted[1:, 1:] + floor).tocoo()
        a, b = tree.row + 1, tree.col + 1
        ends = np.argsort(shifted[0, 1:], kind="stable")[:2] + 1
        degree = np.bincount(np.concatenate([a, b, ends, [0, 0]]), minlength=n)
        value = shifted[a, b].sum() + shifted[0, ends].sum() - 2 * weight.sum()
        best = max(best, float(value))
        if (degree == 2).all():
            break
        weight = weight + step * (degree - 2)
        floor = max(floor, 4 * float(np.abs(weight).max()) + float(np.abs(cost).max()))
        step *= 0.97
    return best
