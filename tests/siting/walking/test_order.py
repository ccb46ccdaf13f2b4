"""Visiting order and loops against brute force, and bounds that must hold."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from siting.walking.loops import plan_loops, split_round
from siting.walking.order import all_rounds, best_round, improved, least_time, round_time
from terrain.values.errors import ParameterError


def times(seed: int, n: int) -> NDArray[np.float64]:
    """Times between a start and stops on a hilly sheet: uphill takes longer; they add up."""
    rng = np.random.default_rng(seed)
    xy, height = rng.random((n + 1, 2)) * 1000, rng.random(n + 1) * 60
    cost = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    cost += 4 * np.maximum(height[None] - height[:, None], 0)
    np.fill_diagonal(cost, 0.0)
    return cost


def brute_round(cost: NDArray[np.float64], stops: tuple[int, ...]) -> float:
    return min(round_time(cost, list(p)) for p in itertools.permutations(stops))


def partitions(items: tuple[int, ...]) -> list[list[tuple[int, ...]]]:
    if not items:
        return [[]]
    first, rest = items[0], items[1:]
    out = []
    for size in range(len(rest) + 1):
        for others in itertools.combinations(rest, size):
            left = tuple(i for i in rest if i not in others)
            out += [[(first, *others), *more] for more in partitions(left)]
    return out


def brute_loops(cost: NDArray[np.float64], stay: float, budget: float) -> tuple[int, float]:
    n = len(cost) - 1
    best = (n + 1, np.inf)
    for parts in partitions(tuple(range(1, n + 1))):
        rounds = [brute_round(cost, part) for part in parts]
        if all(r + stay * len(p) <= budget for r, p in zip(rounds, parts, strict=True)):
            best = min(best, (len(parts), sum(rounds)))
    return best


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("n", [1, 2, 5, 7])
def test_the_exact_round_is_the_best_of_all(seed: int, n: int) -> None:
    cost = times(seed, n)
    rounds = all_rounds(cost)
    order = rounds.order((1 << n) - 1)
    assert sorted(order) == list(range(1, n + 1))
    best = brute_round(cost, tuple(range(1, n + 1)))
    assert round_time(cost, order) == pytest.approx(best)
    assert rounds.time_s[-1] == pytest.approx(best)


def test_every_subset_has_its_best_round() -> None:
    cost = times(3, 5)
    rounds = all_rounds(cost)
    for subset in range(1, 32):
        stops = tuple(i + 1 for i in range(5) if subset >> i & 1)
        assert rounds.time_s[subset] == pytest.approx(brute_round(cost, stops))
        assert sorted(rounds.order(subset)) == list(stops)


@pytest.mark.parametrize("seed", range(8))
def test_the_moves_come_near_the_exact_round(seed: int) -> None:
    cost = times(seed, 11)
    exact = float(all_rounds(cost).time_s[-1])
    order = best_round(cost, list(range(1, 12)))
    assert sorted(order) == list(range(1, 12))
    assert exact - 1e-9 <= round_time(cost, order) <= 1.01 * exact


def test_the_moves_never_lengthen_a_round_and_keep_its_stops() -> None:
    cost = times(9, 40)
    order = np.random.default_rng(1).permutation(np.arange(1, 41)).tolist()
    better = improved(cost, order)
    assert sorted(better) == sorted(order)
    assert round_time(cost, better) < 0.6 * round_time(cost, order)
    assert improved(cost, better) == better


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("stay", "budget"), [(200.0, np.inf), (200.0, 4500.0), (900.0, 4000.0), (0.0, 3200.0)]
)
def test_the_exact_loops_are_the_best_of_all(seed: int, stay: float, budget: float) -> None:
    cost = times(seed, 6)
    tours = plan_loops(cost, [stay] * 6, budget_s=budget)
    count, walk = brute_loops(cost, stay, budget)
    assert tours.exact
    assert len(tours.loops) == count == tours.fewest
    assert tours.walk_s == pytest.approx(walk)
    assert tours.gap == 0.0


@pytest.mark.parametrize("n", [16, 45])
@pytest.mark.parametrize("budget", [np.inf, 9000.0, 5000.0])
def test_many_stops_keep_to_the_hours_and_above_the_bound(n: int, budget: float) -> None:
    cost = times(n, n)
    tours = plan_loops(cost, [400.0] * n, budget_s=budget)
    assert sorted(itertools.chain(*tours.loops)) == list(range(1, n + 1))
    for loop in tours.loops:
        assert round_time(cost, list(loop)) + 400.0 * len(loop) <= budget + 1e-6
    assert tours.walk_s == pytest.approx(sum(round_time(cost, list(x)) for x in tours.loops))
    assert 0 < tours.least_s <= tours.walk_s
    assert tours.fewest <= len(tours.loops)
    if len(tours.loops) == 1:
        assert tours.gap < 0.10


def test_loops_of_many_stops_come_near_the_exact_ones() -> None:
    """Twelve stops are solved exactly; the way for many stops is tried on the same ones."""
    from siting.walking import loops as module

    over = []
    for seed in range(4):
        cost = times(100 + seed, 9)
        exact = plan_loops(cost, [500.0] * 9, budget_s=5000.0)
        stay = np.append(0.0, np.full(9, 500.0))
        giant = best_round(cost, list(range(1, 10)))
        near = module._exchanged(cost, stay, split_round(cost, stay, giant, 5000.0), 5000.0)
        assert len(near) == len(exact.loops)
        over.append(sum(round_time(cost, x) for x in near) / exact.walk_s)
    assert min(over) >= 1 - 1e-9
    assert max(over) < 1.06


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(3, 7), st.integers(1, 3))
def test_no_round_beats_the_lower_bound(seed: int, n: int, rounds: int) -> None:
    cost = times(seed, n)
    bound = least_time(cost, rounds=rounds, passes=60)
    walks = [
        sum(brute_round(cost, part) for part in parts)
        for parts in partitions(tuple(range(1, n + 1)))
        if len(parts) == rounds
    ]
    assert bound <= min(walks) + 1e-6


def test_the_bound_is_close_on_level_ground() -> None:
    cost = times(5, 60)
    order = best_round(cost, list(range(1, 61)))
    assert 0.93 < least_time(cost) / round_time(cost, order) <= 1.0


def test_nothing_to_visit() -> None:
    assert plan_loops(np.zeros((1, 1)), []).loops == ()


def test_too_many_for_the_exact_way_are_refused() -> None:
    with pytest.raises(ParameterError, match="13 stops"):
        all_rounds(np.zeros((14, 14)))


def test_the_same_times_give_the_same_loops() -> None:
    cost = times(7, 30)
    first = plan_loops(cost, [300.0] * 30, budget_s=6000.0)
    assert first == plan_loops(cost, [300.0] * 30, budget_s=6000.0)


@pytest.mark.parametrize("budget", [np.inf, 6000.0])
def test_the_result_is_never_worse_than_an_order_that_is_given(budget: float) -> None:
    cost, stay = times(21, 20), np.append(0.0, np.full(20, 300.0))
    given = best_round(cost, list(range(1, 21)), kicks=300)
    tours = plan_loops(cost, stay[1:], budget_s=budget, also=[given])
    loops = [given] if budget == np.inf else split_round(cost, stay, given, budget)
    assert len(tours.loops) <= len(loops)
    if len(tours.loops) == len(loops):
        assert tours.walk_s <= sum(round_time(cost, loop) for loop in loops) + 1e-6


def test_a_round_is_parted_at_its_best_places() -> None:
    """Against all ways to cut the round into loops, wherever it begins."""
    cost, stay, budget = times(2, 6), np.append(0.0, np.full(6, 300.0)), 4000.0
    order = best_round(cost, list(range(1, 7)))
    best = (9, np.inf)
    for turn in range(6):
        row = order[turn:] + order[:turn]
        for cuts in itertools.product([False, True], repeat=5):
            loops, loop = [], [row[0]]
            for stop, cut in zip(row[1:], cuts, strict=True):
                if cut:
                    loops.append(loop)
                    loop = []
                loop.append(stop)
            loops.append(loop)
            if all(round_time(cost, x) + 300 * len(x) <= budget for x in loops):
                best = min(best, (len(loops), sum(round_time(cost, x) for x in loops)))
    found = split_round(cost, stay, order, budget)
    assert (len(found), sum(round_time(cost, x) for x in found)) == (
        best[0],
        pytest.approx(best[1]),
    )
    assert best[0] > 1
