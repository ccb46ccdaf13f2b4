"""The order in which places are visited: exact for few, improved step by step for many.

Number 0 is the start, 1 to n are the stops; a round goes from 0 through all of them back to 0.
Exact: M. Held and R. M. Karp (1962), dynamic programming over subsets. Beyond that: 2-opt and
Or-opt moves on times that differ by direction, with seeded double-bridge kicks (G. A. Croes 1958,
I. Or 1976, O. Martin et al. 1991; all from memory).
"""

from __future__ import annotations

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
        gain, changed = _best_turn(cost, trip)
        moved_gain, moved = _best_move(cost, trip)
        if max(gain, moved_gain) <= _TINY:
            return [int(i) for i in trip[1:-1]]
        trip = changed if gain >= moved_gain else moved


def _best_turn(cost: FloatArray, trip: NDArray[np.int64]) -> tuple[float, NDArray[np.int64]]:
    """2-opt: the stretch i..j that is best walked the other way round."""
    ahead = np.append(0.0, np.cumsum(cost[trip[:-1], trip[1:]]))
    back = np.append(0.0, np.cumsum(cost[trip[1:], trip[:-1]]))
    i = np.arange(1, len(trip) - 1)[:, None]
    j = np.arange(1, len(trip) - 1)[None, :]
    old = ahead[j + 1] - ahead[i - 1]
    new = cost[trip[i - 1], trip[j]] + back[j] - back[i] + cost[trip[i], trip[j + 1]]
    gain = np.where(j > i, old - new, -np.inf)
    best = int(gain.argmax())
    a, b = (int(v) + 1 for v in np.unravel_index(best, gain.shape))
    turned = np.concatenate([trip[:a], trip[a : b + 1][::-1], trip[b + 1 :]])
    return float(gain.flat[best]), turned


def _best_move(cost: FloatArray, trip: NDArray[np.int64]) -> tuple[float, NDArray[np.int64]]:
    """Or-opt: the stretch of up to three stops that is best walked somewhere else, either way."""
    best, result = -np.inf, trip
    n = len(trip)
    ahead = np.append(0.0, np.cumsum(cost[trip[:-1], trip[1:]]))
    back = np.append(0.0, np.cumsum(cost[trip[1:], trip[:-1]]))
    for size in range(1, min(_LONGEST_MOVED, n - 3) + 1):
        i = np.arange(1, n - size)[:, None]  # first of the stretch
        j = i + size - 1
        k = np.arange(n - 1)[None, :]  # put between k and k + 1
        out = cost[trip[i - 1], trip[i]] + cost[trip[j], trip[j + 1]]
        out = out - cost[trip[i - 1], trip[j + 1]]
        gap = cost[trip[k], trip[k + 1]]
        same = gap - cost[trip[k], trip[i]] - cost[trip[j], trip[k + 1]]
        inner = (ahead[j] - ahead[i]) - (back[j] - back[i])
        turned = gap - cost[trip[k], trip[j]] - cost[trip[i], trip[k + 1]] + inner
        elsewhere = (k < i - 1) | (k > j)
        for flip, put in ((False, same), (True, turned)):
            gain = np.where(elsewhere, out + put, -np.inf)
            a, b = np.unravel_index(int(gain.argmax()), gain.shape)
            if gain[a, b] > best:
                best = float(gain[a, b])
                result = _moved(trip, int(a) + 1, size, int(b), flip=flip)
    return best, result


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
