"""Works: which sites they hold, what they save, their order, and what is referred."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.effects.site_effects import Effect
from siting.places.spot import Task
from siting.sites import Sites
from siting.works.curves import Chance, Factor
from siting.works.making_works import Works, works_of
from siting.works.work import Judging, Loss, Takings, Work
from siting.works.work_groups import groups_of
from siting.works.work_ranks import ranked
from siting.works.work_words import why_first, work_reasons
from tests.siting.example_sites import RULES, place, sites_of
from tests.siting.test_work_chances import head_effect, swale


def chance(value: float) -> Chance:
    return Chance((Factor("", value, "", "", ""),))


def work(number: int, *, soil: float = 100.0, cost: float = 1000.0, days: float = 1.0,
         holds: float = 0.5, floor: float = 0.0, needs: tuple[int, ...] = ()) -> Work:  # fmt: skip
    return Work(
        id=number,
        kind="headcut",
        rows=(number - 1,),
        lowest=number - 1,
        losses=(Loss(number - 1, soil, floor, 10.0, chance(0.8), 0.8, "So."),),
        holds=chance(holds),
        share_made_up=1.0,
        takings=Takings(cost / 2, cost, 2 * cost, days, cost, days / 2, 2 * days),
        swale_worth=1000.0,
        least_share=0.5,
        least_saved_m3=0.1,
        needs=needs,
        without="Rest.",
    )


def made(
    sites: Sites, effects: list[Effect], judging: Judging | None = None, cost: float = 1000.0
) -> Works:
    n = len(sites)
    each = np.tile([cost / 2, cost, 2 * cost], (n, 1))
    return works_of(
        sites, effects, each, np.full((n, 3), 1.0), rules=RULES, judging=judging or Judging()
    )


# ---- Which sites make a work ---------------------------------------------------------------------


def test_kinds_and_members() -> None:
    places = [
        place("grade", headcut=0, group=3, build_order=1),
        place(group=3, build_order=2),
        place("grade", group=1, build_order=1),
        place("grade", group=1, build_order=2),
        place("spread", group=2, build_order=1),
        place("spread", group=2, build_order=2),
        place("grade", station=10.0),
        place("grade", station=60.0),
        place("grade", station=200.0),
        place("refer"),
    ]
    sites = sites_of(places)
    each = list(sites)
    for i in (2, 3):
        member = replace(each[i].member, in_series=True)
        each[i] = replace(each[i], proposal=replace(each[i].proposal, member=member))
    # those of the swale stand 50 m and 140 m apart: the first two are one work
    assert groups_of(replace(sites, each=tuple(each)), RULES) == (
        ("headcut", (0, 1)),
        ("series", (2, 3)),
        ("spreader", (4, 5)),
        ("swale", (6, 7)),
        ("swale", (8,)),
    )


# ---- What a work saves ---------------------------------------------------------------------------


def test_what_is_saved_by_hand() -> None:
    one = work(1, soil=120.0, floor=0.05, holds=0.75, cost=2000.0, days=1.5)
    # (120 m3 and 50 m3 for 0.05 ha) x 0.8 x 0.75
    assert one.saved_m3 == pytest.approx(102.0)
    assert one.soil_saved_m3 == pytest.approx(72.0)
    assert one.swale_saved_ha == pytest.approx(0.03)
    assert one.saved_per_cost == pytest.approx(51.0)
    assert one.saved_per_crew_day == pytest.approx(68.0)


def test_two_places_of_one_work_by_hand() -> None:
    losses = (
        Loss(0, 100.0, 0.0, 10.0, chance(0.9), 0.9, ""),
        Loss(1, 0.0, 0.1, 5.0, chance(0.3), 0.3, ""),
    )
    one = replace(work(1, holds=0.5), losses=losses)
    # 100 m3 at 0.9 and what counts as 100 m3 at 0.3
    assert one.chance_lost == pytest.approx(0.6)
    assert one.saved_m3 == pytest.approx(60.0)
    assert one.saved_m3 == pytest.approx(one.lost_m3 * one.chance_lost * one.chance_holds)


# ---- Their order ---------------------------------------------------------------------------------


def test_orders() -> None:
    works = [
        work(1, soil=100, cost=1000, days=4),
        work(2, soil=300, cost=6000, days=5),
        work(3, soil=90, cost=500, days=6),
        work(4, soil=0),
    ]
    assert ranked(works, "cost") == (3, 1, 2, 4)
    assert ranked(works, "crew-days") == (2, 1, 3, 4)
    assert ranked(works, "most-saved") == (2, 1, 3, 4)


def test_what_cannot_work_comes_after_all_that_can() -> None:
    undermined = replace(work(1, soil=900.0), share_made_up=0.0)
    assert ranked([undermined, work(2), work(3, soil=0.5)], "cost") == (2, 3, 1)


def test_a_work_that_needs_another_comes_after_it_and_counts_with_it() -> None:
    works = [work(1, soil=10, cost=1000), work(2, soil=500, cost=1000, needs=(1,)),
             work(3, soil=100, cost=1000)]  # fmt: skip
    # together 255 m3 for each 1,000 at half: before 100
    assert ranked(works, "cost") == (1, 2, 3)
    works[1] = replace(works[1], losses=(replace(works[1].losses[0], soil_m3=150.0),))
    # together 80 for each 1,000: after
    assert ranked(works, "cost") == (3, 1, 2)


@settings(max_examples=200)
@given(st.data())
def test_a_cheaper_work_never_ranks_lower(data: st.DataObject) -> None:
    n = data.draw(st.integers(2, 7))
    works = [
        work(
            i,
            soil=data.draw(st.integers(0, 50)),
            cost=float(data.draw(st.integers(1, 50))),
            days=float(data.draw(st.integers(1, 9))),
            needs=tuple(sorted(data.draw(st.sets(st.integers(1, i - 1), max_size=2))))
            if i > 1
            else (),
        )
        for i in range(1, n + 1)
    ]
    which = data.draw(st.integers(0, n - 1))
    for by in ("cost", "crew-days", "most-saved"):
        before = ranked(works, by)
        t = works[which].takings
        less = replace(t, cost_likely=t.cost_likely / 2, crew_days=t.crew_days / 2)
        cheaper = [*works]
        cheaper[which] = replace(works[which], takings=less)
        after = ranked(cheaper, by)
        assert after.index(which + 1) <= before.index(which + 1)
        assert sorted(before) == list(range(1, n + 1))
        for one in works:
            assert all(before.index(need) < before.index(one.id) for need in one.needs)


# ---- From sites to works -------------------------------------------------------------------------


def pairs(*, below: str = "vertical", rise: float = 0.1, apart: int = 30) -> Sites:
    """Two heads of one channel, the second so many cells above the first, each with its dam."""
    places = [
        place("grade", headcut=0, group=1, build_order=1),
        place(below, headcut=0, group=1, build_order=2),
        place("grade", headcut=1, group=2, build_order=1, station=apart),
        place(headcut=1, group=2, build_order=2, station=apart + 5.0),
    ]
    sites = sites_of(places)
    each = []
    for i, site in enumerate(sites):
        where = replace(site.where, cell=[900, 0, apart, apart + 5][i], x_m=0.0, y_m=0.0)
        spot = site.spot
        if site.control == "grade":
            spot = replace(spot, task=Task("grade", rise, below_head=True))
        each.append(replace(site, spot=spot, proposal=replace(site.proposal, where=where)))
    return replace(sites, each=tuple(each), measured=replace(sites.measured, elevation_m=np.array(
        [0.0, 1.0, 2.0, 3.0])))  # fmt: skip


def effects(apart: int = 30, rate: float = 1.0) -> list[Effect]:
    lower = head_effect(swale(float(apart), area_ha=0.01), rate=rate)
    upper = head_effect(swale(40.0, area_ha=0.02, first=apart + 5), rate=rate)
    return [Effect(), lower, Effect(), upper]


def test_a_head_that_may_come_up_to_a_work_is_built_first() -> None:
    """At 2 m a year the lower head comes 40 m in 20 years; the upper dam stands 30 m above it."""
    works = made(pairs(), effects(rate=2.0))
    lower, upper = works.each
    assert (lower.needs, upper.needs) == ((), (1,))
    assert "untreated head below" not in {f.subject for f in upper.holds.factors}
    assert works.order == (1, 2)


def test_one_that_is_too_far_off_is_not_needed() -> None:
    """0.4 m a year are 8 m in 20 years, less than a third of the way."""
    assert [w.needs for w in made(pairs(), effects(rate=0.4)).each] == [(), ()]


def test_above_an_untreated_head_a_work_holds_less() -> None:
    usual = made(pairs(), effects(rate=2.0)).each[1]
    [alone] = made(pairs(below="refer"), effects(rate=2.0)).each[-1:]
    assert alone.needs == ()
    factor = next(f for f in alone.holds.factors if f.subject == "untreated head below")
    head = made(pairs(below="refer"), effects(rate=2.0)).referred[0]
    assert head.loss is not None
    # 40 m in 20 years over 30 m: it comes there if it moves at all
    assert factor.value == pytest.approx(1.0 - head.loss.chance_lost)
    assert alone.saved_m3 == pytest.approx(usual.saved_m3 * factor.value)


def test_above_a_pair_that_does_not_work_likewise() -> None:
    """The lower dam makes up 0.1 of 0.4 m: that work is never bought, so nothing needs it."""
    sites = pairs()
    low = sites[0]
    low = replace(low, spot=replace(low.spot, task=Task("grade", 0.4, below_head=True)))
    works = made(replace(sites, each=(low, *sites.each[1:])), effects(rate=2.0))
    lower, upper = works.each
    assert lower.share_made_up == pytest.approx(0.25)
    assert not lower.functions
    assert upper.needs == ()
    assert "untreated head below" in {f.subject for f in upper.holds.factors}


def saving_nothing_below(*, lower_cost: float) -> Works:
    """Two pairs of which the lower one has no whole ground of its own to lose."""
    own, sites = effects(rate=2.0), pairs()
    own[1] = head_effect(swale(30.0, area_ha=0.0), rate=2.0, section=0.0)
    each = np.tile([500.0, 1000.0, 2000.0], (4, 1))
    each[:2] *= lower_cost / 1000.0
    return works_of(sites, own, each, np.full((4, 3), 1.0), rules=RULES, judging=Judging())


def test_what_saves_nothing_itself_is_bought_as_a_base_where_that_pays() -> None:
    found = {}
    for cost in (100.0, 50_000.0):
        with_base = saving_nothing_below(lower_cost=cost)
        lower, upper = with_base.each
        found[cost] = (lower.saves, lower.base_of, lower.is_worth_it, upper.needs)
    # (saves of its own, base of, worth building, what the upper one needs)
    assert found[100.0] == (False, (2,), True, (1,))
    assert found[50_000.0] == (False, (), False, ())


def test_sites_inherit_rank_and_order_and_what_is_referred_stands_last() -> None:
    works = made(pairs(below="refer"), effects())
    assert works.work_id.tolist() == [1, 0, 2, 2]
    assert works.rank[1] == works.build_order[1] == 0
    assert works.list_place[1] == 4
    assert sorted(works.list_place.tolist()) == [1, 2, 3, 4]
    first = works.by_rank[0]
    places = [works.list_place[row] for row in first.rows]
    assert places == list(range(1, len(places) + 1))
    assert works.score.max() == 1.0
    assert works.score[1] == 0.0


def test_what_is_referred_is_ordered_by_what_is_at_risk() -> None:
    sites = sites_of([place("refer"), place("refer"), place("refer")])
    risks = [head_effect(swale(n, first=1000 * k)) for k, n in enumerate((5.0, 18.0, 0.0))]
    works = made(sites, risks)
    assert [r.row for r in works.referred] == [1, 0, 2]
    assert [r.risk_rank for r in works.referred] == [1, 2, 3]
    assert works.referred[2].at_risk_m3 == 0.0
    assert works.list_place.tolist() == [2, 1, 3]


# ---- In words ------------------------------------------------------------------------------------


def test_why_first_is_told_of_the_work() -> None:
    said = why_first(made(pairs(), effects(rate=0.4)), currency="US$")
    assert said.startswith("Work 2 (sites 3 and 4), a headcut with its controls, comes first: ")
    assert "2,000 US$" in said
    assert "score" not in said


def test_nothing_comes_first_where_all_is_referred() -> None:
    sites = sites_of([place("refer"), place("refer")])
    said = why_first(made(sites, [head_effect(swale(9.0)), Effect()]), currency="US$")
    assert "comes first" not in said
    assert said.startswith("Nothing here is for hands as it stands. Of what is referred, site 1")
    assert why_first(made(sites_of([]), []), currency="US$") == ""


def test_nothing_comes_first_where_nothing_is_saved() -> None:
    none = [Effect(), head_effect(swale(0.0))]
    places = [place("grade", headcut=0, group=1, build_order=1), place(group=1, build_order=2)]
    said = why_first(made(sites_of(places), none), currency="US$")
    assert said == (
        "The one work that hands can build here saves no ground within 20 years: do not build it "
        "for that."
    )


def test_the_reasoning_multiplies_out_to_what_is_saved() -> None:
    works = made(pairs(), effects(), Judging(horizon_yr=30.0, rank_by="crew-days"))
    for one in works.each:
        rows = list(work_reasons(works, one, currency="US$"))
        holds = [r.value for r in rows if r.part == "chance holds" and r.subject != "together"]
        assert math.prod(holds) == pytest.approx(one.chance_holds)
        saved = 0.0
        for loss in one.losses:
            own = [r for r in rows if r.part == "chance lost" and r.site_id == loss.row + 1]
            product = math.prod(r.value for r in own if r.subject != "together")
            [together] = [r.value for r in own if r.subject == "together"]
            # over 30 years instead of 20
            assert together == pytest.approx(1.0 - (1.0 - product) ** 1.5)
            saved += (loss.soil_m3 + 1000.0 * loss.swale_ha) * together
        [told] = [r.value for r in rows if r.part == "saved"]
        assert told == pytest.approx(saved * math.prod(holds))
        [rank] = [r.value for r in rows if r.part == "rank"]
        assert rank == pytest.approx(told / one.takings.crew_days)
