"""Curves of the chances that ground is lost and that a work holds, at points worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siting.effects.benefits import Benefit, Swale
from siting.effects.site_effects import Effect
from siting.effects.wedges import Wedge
from siting.layout.proposals import OnRoad
from siting.places.spot import Banks, ChannelForm, Task
from siting.sites import Sites
from siting.works.curves import Chance, Factor, falling, over_years, rising
from siting.works.holding import chance_to_hold, passed_within, share_made_up
from siting.works.losses import Known, head_loss, losses_of
from siting.works.lost_ground import ground_lost
from siting.works.reached_from_below import Below
from tests.siting.example_sites import RULES, place, sites_of

NAN = math.nan


def swale(
    length: float, *, begins: float = 0.0, area_ha: float = 0.0, first: int = 0, n: int = 0
) -> Swale:
    """Whole ground above a head: a cell a metre, numbered from ``first``, of even floor."""
    count = n or int(begins + length) + 1
    up = np.linspace(0.0, begins + length, count)
    share = np.clip((up - begins) / length, 0.0, 1.0) if length else np.zeros(count)
    return Swale(length, area_ha, "cut", begins, first + np.arange(count), up, area_ha * share)


def head_effect(uncut: Swale, *, rate: float = 1.0, section: float = 2.0) -> Effect:
    gain = Benefit(
        swale_length_m=uncut.length_m,
        swale_area_ha=uncut.area_ha,
        retreat_m_per_yr=rate,
        soil_at_risk_m3=section * uncut.length_m,
        gully_section_m2=section,
    )
    return Effect(benefit=gain, uncut=uncut)


def changed(sites: Sites, i: int, **spot: object) -> Sites:
    """Sites with something else measured at one of them."""
    each = list(sites)
    each[i] = replace(each[i], spot=replace(each[i].spot, **spot))  # type: ignore[arg-type]
    return replace(sites, each=tuple(each))


# ---- The curves themselves -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "found", "value"),
    [
        # 0.6 at 0.3 m to 1 at 0.9 m: half way at 0.6 m
        ("chance_lost.height", 0.6, 0.8),
        ("chance_lost.height", 0.2, 0.6),
        ("chance_lost.height", 2.0, 1.0),
        # 0.6 at 0.2 ha to 1 at 2 ha: a third of the way at 0.8 ha
        ("chance_lost.area", 0.8, 0.6 + 0.4 / 3),
        # 0.5 at 0.5 times to 1 at 2 times: a third of the way at 1
        ("chance_lost.shear", 1.0, 0.5 + 0.5 / 3),
        ("chance_lost.shear", NAN, 0.75),
        # 0.02 at 0.5 to 0.6 at 1.5
        ("chance_lost.floor_shear", 1.0, 0.31),
        # 0.3 at 3 % to 0.8 at 12 %: two thirds of the way at 9 %
        ("chance_lost.road_grade", 0.09, 0.3 + 0.5 * 2 / 3),
        # 0.2 without anything to 1 for all of the rise
        ("chance_holds.pair", 0.0, 0.2),
        ("chance_holds.pair", 0.5, 0.6),
        ("chance_holds.pair", 1.0, 1.0),
        # 0 at a third to 1 at once: half way at two thirds
        ("chance_holds.reach", 2 / 3, 0.5),
    ],
)
def test_rising_curves_by_hand(name: str, found: float, value: float) -> None:
    ends = {
        "chance_lost.floor_shear": "chance_lost.floor_factor",
        "chance_lost.road_grade": "chance_lost.road_factor",
    }
    factor = rising(RULES, name, found, subject="", text="", factor=ends.get(name, ""))
    assert factor.value == pytest.approx(value, abs=1e-6)
    assert factor.source == RULES[name].source


@pytest.mark.parametrize(
    ("name", "found", "value"),
    [
        # 1 at the lip to 0.5 at 60 m
        ("chance_lost.distance", 0.0, 1.0),
        ("chance_lost.distance", 24.0, 0.8),
        ("chance_lost.distance", 90.0, 0.5),
        # 1 at 0.10 m to 0.85 at 0.30 m
        ("chance_holds.crest", 0.1, 1.0),
        ("chance_holds.crest", 0.2, 0.925),
        # 1 at 3 % to 0.7 at 6 %
        ("chance_holds.slope", 0.04, 0.9),
        ("chance_holds.slope", 0.14, 0.7),
    ],
)
def test_falling_curves_by_hand(name: str, found: float, value: float) -> None:
    assert falling(RULES, name, found, subject="", text="").value == pytest.approx(value)


def test_what_a_curve_says_can_be_followed() -> None:
    said = rising(RULES, "chance_lost.height", 0.6, subject="drop", text="A drop of 0.60 m").text
    assert said == "A drop of 0.60 m: 0.8, on the line from 0.6 at 0.30 m to 1 at 0.90 m"
    unknown = rising(RULES, "chance_lost.shear", NAN, subject="", text="No flow is known").text
    assert unknown == "No flow is known: not known, the middle of 0.5 and 1, 0.75"


def test_a_chance_over_other_years() -> None:
    chance = Chance((Factor("", 0.8, "", "", ""), Factor("", 0.75, "", "", "")))
    assert chance.value == pytest.approx(0.6)
    assert over_years(chance, years=20, of_years=20) == pytest.approx(0.6)
    # of 0.4 that stays over 20 years 0.16 stays over 40, and 0.6325 over 10
    assert over_years(chance, years=40, of_years=20) == pytest.approx(0.84)
    assert over_years(chance, years=10, of_years=20) == pytest.approx(0.36754, abs=1e-5)


def test_a_ten_year_flow_in_twenty_years() -> None:
    # 0.9 to the 20th power is 0.12158
    assert passed_within(20, 10) == pytest.approx(0.8784, abs=1e-4)


# ---- A headcut -----------------------------------------------------------------------------------


def test_what_a_head_takes_by_hand() -> None:
    """1 m a year for 20 years, 50 m of whole channel, a section of 2 m2, 0.1 ha of floor."""
    sites = sites_of([place(drop=0.6, confidence=0.9)], area=0.8)
    effects = [head_effect(swale(50.0, area_ha=0.1))]
    [lost] = ground_lost(sites, effects, RULES, years=20.0).values()
    assert lost.length_m == pytest.approx(20.0)
    assert lost.soil_m3 == pytest.approx(40.0)
    assert lost.swale_ha == pytest.approx(0.04)
    known = Known(sites, effects, {0: lost}, RULES, 20.0)
    loss = head_loss(known, 0)
    # drop 0.8, area 0.6 + 0.4/3, no flow 0.75, at the lip 1, setting not known 0.875, sure 0.9
    by_hand = 0.8 * 0.733333 * 0.75 * 1.0 * 0.875 * 0.9
    assert loss.chance_lost == pytest.approx(by_hand, rel=1e-5)
    assert [f.value for f in loss.chance.factors] == pytest.approx(
        [0.8, 0.733333, 0.75, 1.0, 0.875, 0.9], rel=1e-5
    )


def test_it_takes_no_more_than_lies_above_and_nothing_on_the_way_there() -> None:
    sites = sites_of([place(), place()])
    short = head_effect(swale(12.0, area_ha=0.03))
    # 15 m are cut already: of 20 m that it works up 5 are whole
    far = head_effect(swale(40.0, begins=15.0, area_ha=0.08, first=1000))
    lost = ground_lost(sites, [short, far], RULES, years=20.0)
    assert lost[0].length_m == pytest.approx(12.0)
    assert lost[0].swale_ha == pytest.approx(0.03)
    assert lost[1].length_m == pytest.approx(5.0)
    assert lost[1].swale_ha == pytest.approx(0.01)
    assert "the first 15 m of it cut already" in lost[1].how


def test_without_a_section_drop_and_width_stand_in() -> None:
    sites = sites_of([place(drop=0.8)], width=3.0)
    [lost] = ground_lost(sites, [head_effect(swale(50.0), section=NAN)], RULES, years=20.0).values()
    # 0.7 of 0.8 m by 3 m over 20 m
    assert lost.soil_m3 == pytest.approx(0.7 * 0.8 * 3.0 * 20.0)


@given(
    start=st.integers(0, 60),
    rates=st.tuples(st.floats(0.2, 3.0), st.floats(0.2, 3.0)),
    years=st.floats(1.0, 60.0),
)
def test_ground_that_two_heads_share_counts_once(
    start: int, rates: tuple[float, float], years: float
) -> None:
    """The way of the lower head runs through that of the upper one, which begins further up."""
    sites = sites_of([place(), place()])
    lower = head_effect(swale(60.0, area_ha=0.06), rate=rates[0], section=1.0)
    upper = head_effect(swale(60.0, area_ha=0.06, first=start), rate=rates[1], section=1.0)
    lost = ground_lost(sites, [lower, upper], RULES, years=years)
    reach = [min(rate * years, 60.0) for rate in rates]
    together = [(0.0, reach[0]), (start, start + reach[1])]
    union = (
        reach[0] + reach[1] - max(0.0, min(e for _, e in together) - max(b for b, _ in together))
    )
    # a cell may be split between the two
    assert sum(one.length_m for one in lost.values()) == pytest.approx(union, abs=1.01)
    assert sum(one.length_m for one in lost.values()) <= reach[0] + reach[1] + 1e-9
    if start > 60:
        assert [lost[i].length_m for i in (0, 1)] == pytest.approx(reach)


@given(years=st.tuples(st.floats(1.0, 100.0), st.floats(1.0, 100.0)), rate=st.floats(0.0, 5.0))
def test_a_longer_horizon_loses_no_less_and_holds_no_more(
    years: tuple[float, float], rate: float
) -> None:
    sites = sites_of([place()])
    effects = [head_effect(swale(80.0, area_ha=0.2), rate=rate)]
    told = []
    for horizon in sorted(years):
        ground = ground_lost(sites, effects, RULES, years=horizon)
        loss = head_loss(Known(sites, effects, ground, RULES, horizon), 0)
        holds = chance_to_hold(sites, "headcut", (0,), (), rules=RULES, years=horizon)
        told.append((loss.soil_m3, loss.swale_ha, loss.chance_lost, -holds.value))
    assert all(a <= b + 1e-9 for a, b in zip(*told, strict=True))


# ---- Series, spreaders, swales, roads ------------------------------------------------------------


def in_series(stage: int, width: float, *, stations: tuple[float, ...] = (0.0, 12.0)) -> Sites:
    places = [
        place("grade", station=s, group=1, build_order=k) for k, s in enumerate(stations, start=1)
    ]
    sites = sites_of(places, width=width, depth=1.0)
    for i in range(len(stations)):
        form = ChannelForm("incised channel", stage)
        banks = Banks(width, 1.0, bed_width_m=1.5)
        sites = changed(sites, i, form=form, banks=banks)
    return sites


def wedge(length: float) -> Effect:
    return Effect(wedge=Wedge(length, length, length, 0.0, 0.0, 0.0, 0.01, "bed", None))


def losses_in(sites: Sites, kind: str, effects: list[Effect], years: float = 20.0):
    rows = range(len(sites))
    return losses_of(Known(sites, effects, {}, RULES, years), kind, list(rows))


def test_a_reach_that_cuts_down_loses_bed_over_what_each_structure_holds() -> None:
    sites = in_series(2, width=4.0)
    first, second = losses_in(sites, "series", [wedge(5.0), wedge(6.0)])
    # 0.02 m a year over 20 years, 1.5 m of bed; to the next one 12 m, at the last its deposit
    assert first.soil_m3 == pytest.approx(0.4 * 1.5 * 12.0)
    assert second.soil_m3 == pytest.approx(0.4 * 1.5 * 6.0)
    assert (first.length_m, second.length_m) == (12.0, 6.0)
    # stage 2: 0.7; no flow: 0.75; confidence 0.9
    assert first.chance_lost == pytest.approx(0.7 * 0.75 * 0.9)


def test_a_reach_that_begins_to_widen_loses_banks() -> None:
    [first, _] = losses_in(in_series(3, width=6.0), "series", [wedge(5.0)] * 2)
    # 0.05 m a year over 20 years, banks of 1 m, 12 m of them
    assert first.soil_m3 == pytest.approx(1.0 * 1.0 * 12.0)
    assert first.chance_lost == pytest.approx(0.5 * 0.75 * 0.9)


@pytest.mark.parametrize(
    ("stage", "width", "says"),
    [
        (3, 8.0, "is wide already (stage 3)"),
        (4, 4.0, "fills again (stage 4)"),
        (5, 4.0, "fills again (stage 5)"),
        (1, 4.0, "is not cut (stage 1)"),
    ],
)
def test_a_reach_that_does_not_go_on_cutting_loses_nothing(
    stage: int, width: float, says: str
) -> None:
    for loss in losses_in(in_series(stage, width), "series", [wedge(5.0)] * 2):
        assert loss.soil_m3 == loss.chance_lost == 0.0
        assert says in loss.how


def test_a_stage_that_no_section_tells_is_a_quarter() -> None:
    [first, _] = losses_in(in_series(0, width=4.0), "series", [wedge(5.0)] * 2)
    assert first.chance_lost == pytest.approx(0.25 * 0.75 * 0.9)


def test_a_spreader_saves_its_band_over_its_reach() -> None:
    sites = sites_of([place("spread", confidence=0.6)])
    size = replace(sites[0].decision.sized, crest_m=24.0)
    each = (replace(sites[0], decision=replace(sites[0].decision, size=size)),)
    [loss] = losses_in(replace(sites, each=each), "spreader", [Effect()])
    # 24 m of band over 15 m
    assert loss.swale_ha == pytest.approx(0.036)
    assert loss.chance_lost == pytest.approx(0.3 * 0.6)


def test_a_swale_is_saved_as_far_as_the_flow_threatens_it() -> None:
    sites = sites_of([place("grade", confidence=0.5)])
    effect = replace(wedge(10.0), benefit=Benefit(rewetted_m2=80.0))
    [loss] = losses_in(sites, "swale", [effect])
    assert loss.swale_ha == pytest.approx(0.008)
    # no flow is known: the middle of 0.02 and 0.6
    assert loss.chance_lost == pytest.approx(0.31 * 0.5)


def test_the_water_of_a_road_cuts_what_it_may_cut_a_year() -> None:
    sites = changed(sites_of([place("grade", confidence=0.6)]), 0, slope=0.09)
    road = OnRoad(azimuth_deg=0.0, grade_error=0.0, land_ha=0.1, spacing=(), soil_m3_per_yr=0.25)
    site = replace(sites[0], proposal=replace(sites[0].proposal, road=road))
    [loss] = losses_in(replace(sites, each=(site,)), "road", [Effect()])
    assert loss.soil_m3 == pytest.approx(5.0)
    assert loss.chance_lost == pytest.approx((0.3 + 0.5 * 2 / 3) * 0.6)


# ---- Whether it holds ----------------------------------------------------------------------------


def below_head(sites: Sites, i: int, task: Task) -> Sites:
    """Sites with one that stands below the first head, for a task."""
    return changed(sites, i, task=task)


def pair(height: float, rise: float) -> Sites:
    """A dam of a height that has to rise so much, and the head above it."""
    places = [place("grade", headcut=0, group=1, build_order=1), place(group=1, build_order=2)]
    return below_head(sites_of(places, height=height), 0, Task("grade", rise, below_head=True))


@pytest.mark.parametrize(
    ("height", "rise", "share"),
    [(0.1, 0.1, 1.0), (0.1, 0.25, 0.4), (0.3, 0.2, 1.0), (0.1, 0.0, 1.0)],
)
def test_the_share_of_the_rise(height: float, rise: float, share: float) -> None:
    assert share_made_up(pair(height, rise), (0, 1)) == pytest.approx(share)


def test_without_a_grade_control_the_share_is_none_and_with_a_band_all() -> None:
    assert share_made_up(sites_of([place()]), (0,)) == 0.0
    places = [place("spread", headcut=0, group=1, build_order=1), place(group=1, build_order=2)]
    band = below_head(sites_of(places), 0, Task("spread", opens=True))
    assert share_made_up(band, (0, 1)) == 1.0


def test_of_two_in_series_the_one_that_reaches_least_counts() -> None:
    places = [
        place("grade", headcut=0, group=1, build_order=1),
        place("grade", headcut=0, group=1, build_order=2),
        place(group=1, build_order=3),
    ]
    sites = sites_of(places, height=0.1)
    for i, rise in enumerate((0.1, 0.4)):
        sites = below_head(sites, i, Task("grade", rise, below_head=True))
    # 0.1 of 0.1 and 0.1 of 0.4
    assert share_made_up(sites, (0, 1, 2)) == pytest.approx(0.25)


def test_the_chance_to_hold_by_hand() -> None:
    """A dam 0.2 m high that makes up 0.8 of the rise, on 4 %, cutting down, without a flow."""
    sites = pair(0.2, 0.25)
    for i in (0, 1):
        sites = changed(sites, i, slope=0.04, form=ChannelForm("incised channel", 2))
    chance = chance_to_hold(sites, "headcut", (0, 1), (), rules=RULES, years=20.0)
    pair_, crest, slope, stage = 0.2 + 0.8 * 0.8, 0.925, 0.9, 0.85
    larger = 1.0 - 0.25 * (1.0 - 0.9**20)
    assert [f.value for f in chance.factors] == pytest.approx(
        [pair_, crest, slope, stage, 0.85, larger]
    )
    assert chance.value == pytest.approx(pair_ * crest * slope * stage * 0.85 * larger)


def test_the_likeliest_head_below_counts_alone() -> None:
    below = (Below(3, 0.2, "One."), Below(4, 0.5, "Two."))
    alone = chance_to_hold(pair(0.1, 0.1), "headcut", (0, 1), (), rules=RULES, years=20.0)
    both = chance_to_hold(pair(0.1, 0.1), "headcut", (0, 1), below, rules=RULES, years=20.0)
    assert both.value == pytest.approx(0.5 * alone.value)


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_a_pair_that_reaches_further_never_holds_less(one: float, other: float) -> None:
    less, more = sorted((one, other))
    holds = [
        chance_to_hold(pair(0.1, 0.1 / s), "headcut", (0, 1), (), rules=RULES,
                       years=20.0).value
        for s in (less, more)
    ]  # fmt: skip
    assert holds[0] <= holds[1] + 1e-12
