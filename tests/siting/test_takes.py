"""What a plan takes: groups that are built as one, totals, and what a budget buys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siting.structures.whole_price import priced_whole_of
from siting.values.wording import figures
from siting.works.bill import bill
from siting.works.costs import load_costs
from siting.works.quantities import quantities
from siting.works.takes import Means, Takes, groups_of, takes_of
from terrain.values.errors import ParameterError

COSTS = load_costs()


@pytest.fixture(scope="module")
def free(worked) -> Takes:
    return takes_of(worked.sites, worked.ranking, Means())


@pytest.fixture(scope="module")
def groups(worked, free):
    return groups_of(worked.sites, worked.ranking, free.quantities, free.bill)


def test_a_head_and_its_grade_controls_are_one_group_the_rest_one_each(worked, groups) -> None:
    built = {i + 1 for i, s in enumerate(worked.sites) if s.size is not None}
    members = [g.site_ids for g in groups]
    assert sorted(i for own in members for i in own) == sorted(built)
    for own in members:
        places = [worked.sites[i - 1] for i in own]
        if len(own) > 1:
            assert len({p.member.group for p in places}) == 1
            assert sum(p.control == "vertical" for p in places) >= 1
    paired = [own for own in members if len(own) > 1]
    assert len(paired) == 2


def test_a_series_is_built_from_its_base_and_a_head_waits_for_the_one_below(worked, groups) -> None:
    places = worked.sites.each
    of = {i: g for g in groups for i in g.site_ids}
    for g in groups:
        first = places[g.site_ids[0] - 1]
        if len(g.site_ids) == 1 and first.member.order > 1:
            [need] = g.needs
            [below] = next(h for h in groups if h.id == need).site_ids
            assert places[below - 1].member.group == first.member.group
            assert places[below - 1].member.order == first.member.order - 1
    lower, upper = sorted(
        (i + 1 for i, p in enumerate(places) if p.control == "vertical"),
        key=lambda i: places[i - 1].where.station_m,
    )
    assert of[upper].needs == (of[lower].id,)
    assert of[lower].needs == ()


def test_without_a_limit_everything_that_can_be_built_is_chosen(worked, free) -> None:
    columns = free.site_columns()
    built = np.array([s.size is not None for s in worked.sites])
    np.testing.assert_array_equal(columns["chosen"], built)
    assert all(why is None for why in columns["chosen_why"])
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
def test_a_budget_never_splits_a_pair_and_never_skips_a_base(worked, free, share) -> None:
    whole = float(np.nansum(free.site_columns()["cost_likely"]))
    means = Means(budget=share * whole)
    takes = takes_of(worked.sites, worked.ranking, means)
    columns = takes.site_columns()
    chosen = columns["chosen"]
    assert 0 < chosen.sum() < len(chosen)
    assert columns["cost_likely"][chosen].sum() <= means.budget + 0.01
    places = worked.sites.each
    for i, p in enumerate(places):
        own = [
            j for j, q in enumerate(places) if p.member.group and q.member.group == p.member.group
        ]
        if any(places[j].control == "vertical" for j in own):
            assert len({bool(chosen[j]) for j in own}) == 1
        elif chosen[i]:
            assert all(chosen[j] for j in own if places[j].member.order < p.member.order)
    lower, upper = sorted(
        (i for i, p in enumerate(places) if p.control == "vertical"),
        key=lambda i: places[i].where.station_m,
    )
    assert chosen[lower] >= chosen[upper]
    assert all(bool(why) != bool(c) for why, c in zip(columns["chosen_why"], chosen, strict=True))


def test_a_budget_too_small_for_anything_buys_nothing_and_says_so(worked) -> None:
    takes = takes_of(worked.sites, worked.ranking, Means(budget=1.0))
    columns = takes.site_columns()
    assert not columns["chosen"].any()
    assert all(columns["chosen_why"])
    assert takes.choice.cost_likely == 0
    assert takes.choice.summary


def test_crew_days_limit_as_money_does(worked, free) -> None:
    days = free.site_columns()["crew_days"]
    takes = takes_of(worked.sites, worked.ranking, Means(crew_days=0.4 * float(np.nansum(days))))
    chosen = takes.site_columns()["chosen"]
    assert 0 < chosen.sum() < worked.sites.count
    assert days[chosen].sum() <= 0.4 * np.nansum(days) + 1e-6


@pytest.mark.parametrize("wrong", [{"budget": -5.0}, {"budget": 0.0}, {"crew_days": 0.0}])
def test_a_limit_of_nothing_is_refused(worked, wrong) -> None:
    with pytest.raises(ParameterError):
        takes_of(worked.sites, worked.ranking, Means(**wrong))


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
    takes = takes_of(sites, worked.ranking, Means())
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
