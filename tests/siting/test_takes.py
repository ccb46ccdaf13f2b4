"""What a plan takes: groups that are built as one, totals, and what a budget buys."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from siting.structures.whole_price import priced_whole_of
from siting.values.wording import figures
from siting.works.bill import bill
from siting.works.costs import load_costs
from siting.works.quantities import quantities
from siting.works.takes import Means, Takes, takes_of
from terrain.values.errors import ParameterError

COSTS = load_costs()


def taken(worked, means: Means) -> Takes:
    return takes_of(worked.sites, worked.effects, means, rules=worked.ground.rules)


@pytest.fixture(scope="module")
def free(worked) -> Takes:
    return takes_of(worked.sites, worked.effects, Means(), rules=worked.ground.rules)


def test_every_built_site_is_in_one_work_and_a_pair_or_series_is_whole(worked, free) -> None:
    works, places = free.works, worked.sites.each
    built = {i for i, s in enumerate(places) if s.size is not None}
    assert sorted(i for work in works.each for i in work.rows) == sorted(built)
    assert {work.kind for work in works.each} == {"headcut", "series"}
    for work in works.each:
        own = {places[i].member.group for i in work.rows}
        assert len(own) == 1
        in_group = {i for i in built if places[i].member.group in own - {0}}
        assert in_group <= set(work.rows)
        # in the order of building, which for a pair is the control first
        assert [places[i].member.order for i in work.rows] == sorted(
            places[i].member.order for i in work.rows
        )
        heights = worked.sites.elevation_m[list(work.rows)]
        assert worked.sites.elevation_m[work.lowest] == heights.min()
        if work.kind == "headcut":
            assert places[work.rows[-1]].control == "vertical"


def test_a_work_is_the_sum_of_its_sites_and_a_budget_the_sum_of_its_works(worked, free) -> None:
    columns, works = free.site_columns(), free.works
    for work in works.each:
        rows = list(work.rows)
        for name in ("cost_low", "cost_likely", "cost_high", "crew_days"):
            assert getattr(work.takings, name) == pytest.approx(columns[name][rows].sum())
        assert set(works.work_id[rows]) == {work.id}
        assert set(works.rank[rows]) == {works.rank_of[work.id]}
        assert sorted(works.build_order[rows]) == list(range(1, len(rows) + 1))
    takes = taken(worked, Means(budget=0.5 * float(np.nansum(columns["cost_likely"]))))
    bought = [w for w in takes.works.each if w.id in takes.choice.group_ids]
    assert takes.choice.value == pytest.approx(sum(w.saved_m3 for w in bought))
    assert takes.choice.cost_likely == pytest.approx(sum(w.takings.cost_likely for w in bought))
    assert set(takes.choice.site_ids) == {i for w in bought for i in w.site_ids}


def test_without_a_limit_everything_that_works_and_saves_is_chosen(worked, free) -> None:
    """What saves nothing, or cannot work, is built by nobody, however much money there is."""
    columns, works = free.site_columns(), free.works
    built = np.array([s.size is not None for s in worked.sites])
    use = {i for w in works.each if w.is_worth_it for i in w.rows}
    assert 0 < len(use) <= built.sum()
    assert set(np.flatnonzero(columns["chosen"])) == use
    for i in np.flatnonzero(built):
        assert (columns["chosen_why"][i] is None) == (i in use), i + 1
    assert (columns["cost_low"][built] <= columns["cost_likely"][built]).all()
    assert (columns["cost_likely"][built] <= columns["cost_high"][built]).all()
    assert (columns["cost_likely"][built] > 0).all()
    assert (columns["crew_days"][built] > 0).all()


def test_totals_are_sums_over_the_sites(free) -> None:
    tables = free.tables()
    costs = tables["costs"]
    total = costs["item"] == "total"
    of_all, by_site = costs["site_id"] == 0, costs["site_id"] > 0
    for name in ("low", "likely", "high"):
        [whole] = costs[name][of_all & total]
        assert whole > 0
        assert costs[name][of_all & ~total].sum() == pytest.approx(whole)
        assert costs[name][by_site & total].sum() == pytest.approx(whole)
        assert costs[name][by_site & ~total].sum() == pytest.approx(whole)
        assert np.nansum(free.site_columns()[f"cost_{name}"]) == pytest.approx(whole)
    materials = tables["materials"]
    stone = np.array([str(item).startswith("stone") for item in materials["item"]])
    of_all = stone & (materials["site_id"] == 0)
    by_site = stone & (materials["site_id"] > 0)
    assert materials["amount"][of_all].sum() == pytest.approx(materials["amount"][by_site].sum())
    ratio = materials["amount_with_spare"][of_all] / materials["amount"][of_all]
    assert ratio == pytest.approx(1 + Means().spare, rel=0.01)


def test_the_median_dam_stands_beside_the_published_range(worked, free) -> None:
    cost = [
        free.bill.by_site[i]
        for i, place in enumerate(worked.sites.each)
        if place.structure == "one-rock dam" and worked.sites[i].size is not None
    ]
    low, _, high = np.median(cost, axis=0)
    published = free.means.costs["compare.check_dam"]
    [said] = [note for note in free.notes() if "check dam" in note]
    assert f"costs {figures(low)} to {figures(high)} US$" in said
    assert f"published {published.low:g} to {published.high:g}" in said
    assert (", above" in said) == (low > published.high)
    assert (", below" in said) == (high < published.low)


@pytest.mark.parametrize("share", [0.15, 0.3, 0.5, 0.8])
def test_a_budget_buys_whole_works_that_save_something(worked, free, share) -> None:
    whole = float(np.nansum(free.site_columns()["cost_likely"]))
    means = Means(budget=share * whole)
    takes = taken(worked, means)
    columns = takes.site_columns()
    chosen = columns["chosen"]
    assert columns["cost_likely"][chosen].sum() <= means.budget + 0.01
    bought = set(takes.choice.group_ids)
    for work in takes.works.each:
        assert {bool(c) for c in chosen[list(work.rows)]} == {work.id in bought}
        if work.id in bought:
            assert work.is_worth_it
            assert set(work.needs) <= bought
    assert all(bool(why) != bool(c) for why, c in zip(columns["chosen_why"], chosen, strict=True))


@pytest.mark.parametrize("share", [0.1, 0.25, 0.4, 0.6, 0.9])
def test_the_budget_is_the_best_of_all_sets_of_works(worked, free, share) -> None:
    """Against every subset of the works, tried one by one."""
    works = free.works.each
    budget = share * sum(w.takings.cost_likely for w in works)
    best = 0.0
    for picked in itertools.product((False, True), repeat=len(works)):
        own = [w for w, p in zip(works, picked, strict=True) if p]
        ids = {w.id for w in own}
        fits = sum(w.takings.cost_likely for w in own) <= budget
        if fits and all(set(w.needs) <= ids and w.functions for w in own):
            best = max(best, sum(w.saved_m3 for w in own))
    assert taken(worked, Means(budget=budget)).choice.value == pytest.approx(best, abs=0.01)


def test_a_budget_too_small_for_anything_buys_nothing_and_says_so(worked) -> None:
    takes = taken(worked, Means(budget=1.0))
    columns = takes.site_columns()
    assert not columns["chosen"].any()
    assert all(columns["chosen_why"])
    assert takes.choice.cost_likely == 0
    assert takes.choice.summary


def test_crew_days_limit_as_money_does(worked, free) -> None:
    days = free.site_columns()["crew_days"]
    takes = taken(worked, Means(crew_days=0.4 * float(np.nansum(days))))
    chosen = takes.site_columns()["chosen"]
    assert 0 < chosen.sum() < worked.sites.count
    assert days[chosen].sum() <= 0.4 * np.nansum(days) + 1e-6


@pytest.mark.parametrize("wrong", [{"budget": -5.0}, {"budget": 0.0}, {"crew_days": 0.0}])
def test_a_limit_of_nothing_is_refused(worked, wrong) -> None:
    with pytest.raises(ParameterError):
        taken(worked, Means(**wrong))


def test_what_is_referred_takes_nothing(worked) -> None:
    """The upper head is referred: it and its dam are left out, the rest stays."""
    each = list(worked.sites)
    upper = max(
        (i for i, p in enumerate(each) if p.control == "vertical"),
        key=lambda i: each[i].where.station_m,
    )
    proposal = each[upper].proposal
    told = replace(proposal.field, refer="Referred on site.")
    each[upper] = replace(each[upper], proposal=replace(proposal, field=told))
    assert (each[upper].control, each[upper].structure) == ("refer", "engineer")
    sites = replace(worked.sites, each=tuple(each))
    takes = takes_of(sites, worked.effects, Means(), rules=worked.ground.rules)
    assert takes.amounts[upper] == ()
    assert not takes.site_columns()["chosen"][upper]
    assert np.nan_to_num(takes.site_columns()["cost_likely"])[upper] == 0


def test_what_is_priced_as_a_whole_is_named(free) -> None:
    def notes(*entries: str) -> str:
        whole = np.full(len(free.structures), "", dtype=object)
        whole[: len(entries)] = entries
        named = ("low ramp", *free.structures[1:])
        counted = replace(free.quantities, whole=whole)
        return " ".join(replace(free, structures=named, quantities=counted).notes())

    assert "Low ramps are priced as a whole" in notes("rolling_dip")
    assert "as a whole" not in notes()


def test_amounts_without_prices_stay_the_same(worked, free) -> None:
    """Counting by hand what `takes_of` counts."""
    counted = quantities(
        free.amounts,
        site_id=np.arange(1, worked.sites.count + 1),
        whole=[priced_whole_of(p.decision.kind) if p.size else "" for p in worked.sites.each],
        costs=COSTS,
        spare=free.means.spare,
        crew_size=free.means.crew_size,
    )
    np.testing.assert_allclose(bill(counted, COSTS).by_site, free.bill.by_site)
