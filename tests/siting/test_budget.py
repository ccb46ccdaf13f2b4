"""The best whole set under a budget: against every subset, exact sums, and the reasons given."""

from __future__ import annotations

import ctypes
import itertools
import os
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.works import budget_solver
from siting.works.budget import Choice, choose
from siting.works.budget_groups import Group
from siting.works.budget_solver import Problem, best_set
from terrain.values.errors import ParameterError

NAN = float("nan")


def group(number, value, cost, days=1.0, needs=(), sites=None) -> Group:
    return Group(
        id=number,
        site_ids=sites or (number,),
        value=value,
        cost_low=cost / 2,
        cost_likely=cost,
        cost_high=cost * 2,
        crew_days=days,
        needs=needs,
    )


def why(choice: Choice, number: int) -> tuple[str, str]:
    left = next(g for g in choice.left_out if g.group_id == number)
    return left.kind, left.why


def by_every_subset(groups, budget, crew_days) -> tuple[int, ...]:
    """Try all sets: greatest value, then least cost, then the first group in which they differ."""
    best, best_key = (), None
    for size in range(len(groups) + 1):
        for chosen in itertools.combinations(groups, size):
            ids = {g.id for g in chosen}
            # thousandths, hundredths and thousandths: all numbers here are whole in these
            cost = sum(round(g.cost_likely * 100) for g in chosen)
            days = sum(round(g.crew_days * 1000) for g in chosen)
            if budget is not None and cost > round(budget * 100):
                continue
            if crew_days is not None and days > round(crew_days * 1000):
                continue
            if any(n not in ids for g in chosen for n in g.needs):
                continue
            value = sum(round(g.value * 1000) for g in chosen)
            key = (value, -cost, tuple(g.id in ids for g in groups))
            if best_key is None or key > best_key:
                best, best_key = tuple(sorted(ids)), key
    return best


@st.composite
def some_groups(draw, most=10):
    count = draw(st.integers(0, most))
    # few different numbers make ties, many make close calls
    values = draw(st.sampled_from([st.integers(0, 3), st.integers(0, 1000)]))
    costs = draw(st.sampled_from([st.integers(0, 4), st.integers(1, 99_999)]))
    out = []
    for i in range(count):
        needs = draw(st.sets(st.integers(1, i), max_size=2)) if i else ()
        out.append(
            group(
                i + 1,
                draw(values) / 1000,
                draw(costs) / 100,
                draw(st.integers(0, 40)) / 10,
                tuple(sorted(needs)),
            )
        )
    share = draw(st.floats(0.02, 1.1))
    budget = max(0.01, round(share * sum(g.cost_likely for g in out), 2))
    crew_days = max(0.1, round(draw(st.floats(0.1, 1.1)) * sum(g.crew_days for g in out), 1))
    limits = draw(st.sampled_from([(budget, None), (None, crew_days), (budget, crew_days)]))
    return out, limits, draw(st.permutations(out))


@settings(max_examples=250, deadline=None)
@given(some_groups())
def test_the_set_is_that_of_trying_every_subset(case) -> None:
    groups, (budget, crew_days), shuffled = case
    choice = choose(shuffled, budget=budget, crew_days=crew_days)
    assert choice.group_ids == by_every_subset(groups, budget, crew_days)
    assert {g.group_id for g in choice.left_out} == {g.id for g in groups} - set(choice.group_ids)


@settings(max_examples=150, deadline=None)
@given(some_groups())
def test_every_reason_is_true(case) -> None:
    groups, (budget, crew_days), _ = case
    choice = choose(groups, budget=budget, crew_days=crew_days)
    of = {g.id: g for g in groups}

    def fits(ids) -> bool:
        money = round(sum(of[i].cost_likely for i in ids), 6)
        days = round(sum(of[i].crew_days for i in ids), 6)
        return (budget is None or money <= budget) and (crew_days is None or days <= crew_days)

    def with_needs(number) -> set[int]:
        return {number}.union(*(with_needs(n) for n in of[number].needs))

    chosen = set(choice.group_ids)
    for left in choice.left_out:
        whole = with_needs(left.group_id)
        if left.kind == "too large":
            assert not fits({left.group_id})
        elif "together they take more" in left.why:
            assert left.kind == "needs"
            assert not fits(whole)
        elif left.kind == "no value":
            assert sum(of[i].value for i in whole - chosen) == 0
        else:
            assert fits(whole)
            assert not fits(chosen | whole)
            assert " use the " in left.why
            assert ("saving more" in left.why) == ("etter ones" in left.why)
            assert left.kind == ("needs" if whole - chosen - {left.group_id} else "displaced")


def test_a_knapsack_of_known_answer() -> None:
    """Weights 12, 2, 1, 4, 1 of 15 with values 4, 2, 1, 10, 2: all but the first, worth 15."""
    groups = [
        group(i + 1, v, c)
        for i, (v, c) in enumerate(zip([4, 2, 1, 10, 2], [12, 2, 1, 4, 1], strict=True))
    ]
    choice = choose(groups, budget=15)
    assert choice.group_ids == (2, 3, 4, 5)
    assert choice.value == 15
    assert choice.money_left == 7
    assert choice.days_left is None


def test_a_greedy_choice_would_be_worse() -> None:
    groups = [group(1, 0.60, 510), group(2, 0.50, 500), group(3, 0.50, 500)]
    assert choose(groups, budget=1000).group_ids == (2, 3)


def test_one_cent_decides() -> None:
    groups = [group(1, 0.5, 33.33), group(2, 0.5, 33.33), group(3, 0.5, 33.34)]
    assert choose(groups, budget=100.00).group_ids == (1, 2, 3)
    assert choose(groups, budget=99.99).group_ids == (1, 2)
    tenth = [group(i, 0.5, 0.1) for i in range(1, 4)]
    assert len(choose(tenth, budget=0.3).group_ids) == 3


def test_rounding_never_spends_more_than_there_is() -> None:
    groups = [group(i, 0.5, 10.004, 0.33333) for i in range(1, 101)]
    choice = choose(groups, budget=1000, crew_days=30)
    assert choice.cost_likely <= 1000
    assert choice.crew_days <= 30
    assert len(choice.group_ids) == 89  # 0.334 days each


def test_ties_go_to_the_cheaper_and_then_to_the_lower_number() -> None:
    assert choose([group(1, 0.5, 90), group(2, 0.5, 80)], budget=100).group_ids == (2,)
    assert choose([group(i, 0.5, 80) for i in (4, 2, 3)], budget=100).group_ids == (2,)
    # same value and cost: 1 with 4, or 2 with 3
    same = [group(1, 0.4, 40), group(2, 0.3, 30), group(3, 0.3, 30), group(4, 0.2, 20)]
    assert choose(same, budget=60).group_ids == (1, 4)
    # with more groups than are settled at once
    many = [group(i, 0.5, 80) for i in range(1, 61)]
    assert choose(many, budget=25 * 80).group_ids == tuple(range(1, 26))


def test_the_base_comes_with_its_head() -> None:
    groups = [group(1, 0.1, 400), group(2, 0.9, 500, needs=(1,)), group(3, 0.8, 650)]
    assert choose(groups, budget=1000).group_ids == (1, 2)
    assert choose(groups, budget=800).group_ids == (3,)


def test_a_pair_is_never_split() -> None:
    pair = group(1, 0.9, 700, sites=(4, 5))
    choice = choose([pair, group(2, 0.5, 400, sites=(9,))], budget=1000)
    assert choice.site_ids == (4, 5)
    chosen, texts = choice.columns([4, 5, 9, 12])
    assert list(chosen) == [True, True, False, False]
    assert list(texts[:2]) == [None, None]
    assert "work 1 (sites 4 and 5), saving more (0.90 m3 against 0.50 m3)" in texts[2]
    assert texts[3] is None  # a site of no group: referred


def test_why_something_was_left_out() -> None:
    groups = [
        group(1, 0.8, 600),
        group(2, 0.5, 700),
        group(3, 0.9, 1200),
        group(4, 0.9, 500, needs=(3,)),
        group(5, 0.3, 500, needs=(2,)),
        group(6, 0.0, 10),
        group(7, 0.9, NAN),
        group(8, 0.9, 10, needs=(7,)),
        group(9, 0.2, 900, needs=(1,)),
    ]
    choice = choose(groups, budget=1000, currency="US$")
    assert choice.group_ids == (1,)
    assert why(choice, 2) == (
        "displaced",
        "Better ones use the budget, and it would displace work 1 (site 1), saving more (0.80 m3 "
        "against 0.50 m3).",
    )
    assert why(choice, 3) == (
        "too large",
        "It costs more than the whole budget: 1,200 of 1,000 US$.",
    )
    assert why(choice, 4) == (
        "needs",
        "It needs work 3 (site 3) first, and together they take more than the whole budget: "
        "1,700 of 1,000 US$.",
    )
    assert why(choice, 5)[0] == "needs"
    assert why(choice, 6) == ("no value", "It saves nothing.")
    assert why(choice, 7)[0] == "no cost"
    assert why(choice, 8) == ("needs", "It needs work 7 (site 7) first, which has no cost.")
    assert "needs work 1 (site 1) first, and together" in why(choice, 9)[1]
    assert choice.summary == (
        "1 of 8 works chosen, 1 site, which save what 0.80 m3 of soil are worth; "
        "they cost 600 of 1,000 US$ at the likely cost (300 to 1,200), "
        "400 left."
    )


def test_a_need_that_does_not_fit_is_named() -> None:
    groups = [group(1, 0.8, 600), group(2, 0.1, 300), group(3, 0.4, 300, needs=(2,))]
    kind, said = why(choose(groups, budget=800), 3)
    assert kind == "needs"
    assert said == (
        "It needs work 2 (site 2) first, which does not fit: better ones use the budget, and it "
        "would displace work 1 (site 1), saving more (0.80 m3 against 0.50 m3)."
    )


def test_several_needs_are_named_in_the_plural() -> None:
    base, middle = group(2, 0.1, 200), group(3, 0.1, 200, needs=(2,))
    groups = [group(1, 0.8, 600), base, middle, group(4, 0.1, 200, needs=(3,))]
    said = why(choose(groups, budget=700), 4)[1]
    assert said.startswith("It needs works 2 and 3 first, which do not fit: better ones")


def test_several_may_have_to_go() -> None:
    groups = [group(i, 0.3, 200) for i in range(1, 6)] + [group(6, 1.0, 850)]
    said = why(choose(groups, budget=1000), 6)[1]
    assert "works 1, 2, 3 and 2 more, saving more (1.5 m3 against 1.0 m3)" in said
    half = why(choose([*groups[:5], group(6, 0.5, 400)], budget=1000), 6)[1]
    assert "works 1 and 2, saving more (0.60 m3 against 0.50 m3)" in half


def test_crew_days_limit_as_well() -> None:
    groups = [group(1, 0.8, 100, 3.0), group(2, 0.7, 100, 2.0), group(3, 0.6, 100, 2.0)]
    choice = choose(groups, crew_days=4)
    assert choice.group_ids == (2, 3)
    assert choice.money_left is None
    assert choice.days_left == 0
    assert "use the crew days" in why(choice, 1)[1]
    both = choose(groups, budget=150, crew_days=4)
    assert both.group_ids == (1,)
    assert (both.money_left, both.days_left) == (50, 1)
    assert "crew days, 1.0 left" in both.summary
    long_job = choose([group(1, 0.8, 1, 9.0)], crew_days=4)
    assert why(long_job, 1)[1] == "It takes more than all crew days: 9.0 of 4.0."


def test_which_cost_is_held_against_the_budget() -> None:
    groups = [group(1, 0.8, 1000)]
    assert choose(groups, budget=600, money="low").group_ids == (1,)
    assert choose(groups, budget=1500).group_ids == (1,)
    assert choose(groups, budget=1500, money="high").group_ids == ()
    with pytest.raises(ParameterError, match="money is 'mean'"):
        choose(groups, budget=1, money="mean")


def test_what_a_group_counts_is_held_against_the_budget() -> None:
    """The second costs 500 likely, but its width was not seen: it counts as 900."""
    groups = [group(1, 0.3, 400), replace(group(2, 0.5, 500), counted=900.0), group(3, 0.2, 500)]
    choice = choose(groups, budget=1000, currency="US$")
    assert choice.group_ids == (1, 3)
    alone = choose(groups[:2], budget=1000, currency="US$")
    assert alone.group_ids == (2,)
    assert (alone.cost_likely, alone.money_left) == (500.0, 100.0)
    assert "they cost 900 of 1,000 US$ at the likely cost, at the high one where" in alone.summary


def test_without_limits_all_that_can_be_built_is_chosen() -> None:
    groups = [group(1, 0.0, 100), group(2, 0.5, NAN), group(3, 0.5, 100, needs=(2,))]
    choice = choose(groups)
    assert choice.group_ids == (1,)
    assert choice.summary == "1 of 2 works chosen, 1 site, which save what 0 m3 of soil are worth."
    assert [g.kind for g in choice.left_out] == ["no cost", "needs"]


def test_nothing_to_choose_from() -> None:
    choice = choose([], budget=100, crew_days=3)
    assert choice.group_ids == ()
    assert (choice.money_left, choice.days_left) == (100, 3)
    only_referred = choose([group(1, 0.5, NAN)], budget=100)
    assert only_referred.group_ids == ()
    assert why(only_referred, 1)[0] == "no cost"


@pytest.mark.parametrize("limit", [-5, 0, NAN, float("inf")])
@pytest.mark.parametrize("name", ["budget", "crew_days"])
def test_a_limit_must_be_a_number_above_zero(name: str, limit: float) -> None:
    with pytest.raises(ParameterError, match=r"above 0\.$") as caught:
        choose([group(1, 0.5, 10)], **{name: limit})
    assert "\n" not in str(caught.value)
    assert f"{limit:g}" in str(caught.value)


@pytest.mark.parametrize(
    ("groups", "says"),
    [
        ([group(1, 0.5, 1), group(1, 0.5, 1, sites=(2,))], "two groups have number 1"),
        ([group(1, 0.5, 1), group(2, 0.5, 1, sites=(1,))], "site 1 is in groups 1 and 2"),
        ([group(1, 0.5, 1, needs=(9,))], "needs group 9, which is not there"),
        ([group(1, 0.5, 1, needs=(1,))], "in a circle: 1 needs 1"),
        (
            [group(1, 0.5, 1, needs=(2,)), group(2, 0.5, 1, needs=(1,))],
            "in a circle: (1 needs 2 needs 1|2 needs 1 needs 2)",
        ),
        ([group(1, -0.5, 1)], "value of group 1 is -0.5"),
        ([group(1, NAN, 1)], "value of group 1 is nan"),
        ([group(1, 0.5, -1)], "cost_low of group 1 is -0.5"),
        ([group(1, 0.5, 1, float("inf"))], "crew_days of group 1 is inf"),
    ],
)
def test_groups_that_make_no_sense_are_refused(groups, says: str) -> None:
    with pytest.raises(ParameterError, match=says):
        choose(groups, budget=10)


def by_table(value, cost, limit) -> int:
    """Best value of a knapsack by dynamic programming over whole costs."""
    best = np.zeros(limit + 1, dtype=np.int64)
    for v, c in zip(value, cost, strict=True):
        best[c:] = np.maximum(best[c:], best[:-c] + v)
    return int(best[-1])


@pytest.mark.parametrize("seed", range(3))
def test_three_hundred_groups_against_dynamic_programming(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value = rng.integers(50, 1000, 300)
    cost = rng.integers(100, 3000, 300)
    groups = [
        group(i + 1, v / 1000, float(c)) for i, (v, c) in enumerate(zip(value, cost, strict=True))
    ]
    limit = int(cost.sum() * 0.3)
    choice = choose(groups, budget=limit)
    assert round(choice.value * 1000) == by_table(value, cost, limit)
    assert choice.cost_likely <= limit


def test_two_thousand_groups_in_seconds() -> None:
    """Pairs in series of four, both limits; 2 to 3 s alone, the bound leaves room for a load."""
    rng = np.random.default_rng(1)
    groups = [
        group(
            i + 1,
            rng.integers(50, 1000) / 1000,
            round(rng.lognormal(6.5, 0.8), 2),
            round(rng.lognormal(0.5, 0.7), 2),
            needs=(i,) if i % 4 else (),
        )
        for i in range(2000)
    ]
    budget = 0.3 * sum(g.cost_likely for g in groups)
    days = 0.3 * sum(g.crew_days for g in groups)
    start = time.process_time()  # of all threads, whatever else the machine does
    choice = choose(groups, budget=budget, crew_days=days)
    assert time.process_time() - start < 60
    assert 0 <= choice.money_left < 100
    assert choice.days_left >= 0
    assert len(choice.group_ids) + len(choice.left_out) == 2000
    assert choose(groups[::-1], budget=budget, crew_days=days) == choice


@pytest.mark.skipif(os.name == "nt", reason="the C library has another name there")
def test_the_solver_leaves_standard_output_alone(capfd, monkeypatch) -> None:
    """HiGHS prints past Python; what was printed before and after comes through whole."""

    def noisy(*args, **more):
        library.puts(b"noise of the solver")
        library.printf(b"and more, without an end")
        return milp(*args, **more)

    library = ctypes.CDLL(None)
    milp = budget_solver.milp  # type: ignore[attr-defined]
    monkeypatch.setattr(budget_solver, "milp", noisy)
    print("before")
    choose([group(1, 0.5, 10), group(2, 0.4, 10)], budget=10)
    print("after")
    library.fflush(None)
    assert capfd.readouterr().out == "before\nafter\n"


def test_an_answer_that_does_not_hold_exactly_is_shut_out(monkeypatch) -> None:
    """A solver that takes a set within its tolerance is asked again without that set."""
    asked = []
    milp = budget_solver.milp  # type: ignore[attr-defined]

    def loose(*args, **more):
        found = milp(*args, **more)
        asked.append(len(more["constraints"]))
        if len(asked) == 1:
            found.x = np.ones(2)
        return found

    monkeypatch.setattr(budget_solver, "milp", loose)
    none = np.zeros((0, 2), dtype=np.int64)
    ten = np.array([10, 10])
    problem = Problem(np.array([5, 4]), ten, ten[None].copy(), np.array([10]), none)
    assert list(best_set(problem)) == [True, False]
    assert asked[:2] == [1, 2]


def test_a_solver_that_gives_up_is_no_answer(monkeypatch) -> None:
    class Failed:
        status, x = 4, None

    monkeypatch.setattr(budget_solver, "milp", lambda *args, **more: Failed)
    with pytest.raises(RuntimeError, match="found no best set"):
        choose([group(1, 0.5, 10), group(2, 0.5, 10)], budget=10)
