"""Structures at a drop are sized for its fall, and crests for what runs over them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import Spot
from siting.structures.bowl_design import Bowl, bowl_for
from siting.structures.fall_sizing import (
    Fall,
    d90_of,
    lifted_d50_m,
    needed_d50_m,
    pooled,
    scour_check,
)
from siting.structures.rock_sizing import lift_check, overflow_check, overflow_stone
from siting.structures.structure_type import Check
from siting.values.wording import metres
from tests.siting.structures.example_spots import (
    RULES,
    depth_by_hand,
    floods,
    grade_spot,
    head_spot,
    kind_of,
    log_head_spot,
    open_spot,
    small_head_spot,
)

HAND_LIFT_KG = 40.0
FLOWS = st.floats(0.02, 1.0)
DROPS = st.floats(0.35, 1.1)


def checks_of(name: str, spot: Spot, rule: str) -> list[Check]:
    return [check for check in kind_of(name).checks(spot) if check.rule == rule]


def bowl(**changes: Any) -> Bowl:
    return bowl_for(head_spot(**changes))


def test_a_fall_by_hand() -> None:
    """0.30 m3/s run 0.20 m deep over a bed of 2 m and fall 0.8 m into a bowl: worked by hand."""
    made = bowl(drop_m=0.8)
    fall, depth = made.fall, depth_by_hand(0.3)
    assert fall is not None
    # a trapezoid is bed and depth wide on the mean; its surface bed and twice the depth
    assert made.width_m == pytest.approx(max(2.0 + 2 * depth, 2.0 + 2 * made.wall_m))
    notch = min(2.0 + depth, made.width_m - 2 * made.wall_m)
    q = 0.3 / notch
    assert fall.unit_flow_m2s == pytest.approx(q)
    # from the lip to the sill, which stands 0.15 m above the foot
    assert fall.crest_fall_m == pytest.approx(0.65)
    # critical depth over the notch, and over a sill 0.15 m high between banks 1 to 1
    over_notch, over_sill = ((v * v / 9.80665) ** (1 / 3) for v in (q, 0.3 / 2.3))
    assert fall.sill_depth_m == pytest.approx(over_sill, abs=0.0002)
    assert fall.fall_m == pytest.approx(0.65 + 1.5 * over_notch - over_sill, abs=0.0005)
    assert fall.depth_m == pytest.approx(made.pool_m + over_sill, abs=0.0002)
    d90 = (0.78 * fall.fall_m**0.35 * q**0.7 / fall.depth_m) ** 2.5
    assert needed_d50_m(head_spot(), fall) == pytest.approx(1.2 * d90 / 1.3**0.8)
    # one person's stone, and the pool dug just deep enough for it, to a centimetre
    assert made.stone.d50_m == lifted_d50_m(head_spot(), people=1) == 0.19
    assert 0.15 < made.pool_m < 0.30
    shallower = replace(fall, pool_m=made.pool_m - 0.01)
    assert needed_d50_m(head_spot(), fall) <= 0.19 < needed_d50_m(head_spot(), shallower)


@given(q=FLOWS, drop=DROPS, more=st.floats(1.0, 2.0))
def test_more_flow_and_more_fall_never_ask_for_smaller_stone_or_less_pool(
    q: float, drop: float, more: float
) -> None:
    made = bowl(q_m3s=floods(q), drop_m=drop)
    for other in (
        bowl(q_m3s=floods(q * more), drop_m=drop),
        bowl(q_m3s=floods(q), drop_m=min(drop * more, 1.2)),
    ):
        if other.count == made.count:
            assert other.stone.d50_m >= made.stone.d50_m
            assert other.pool_m >= made.pool_m - 1e-9
        else:
            assert other.count > made.count


@given(q=st.floats(0.01, 1.0), fall=st.floats(0.1, 1.2), pool=st.floats(0.15, 0.30),
       less=st.floats(0.1, 1.0))  # fmt: skip
def test_less_pool_never_asks_for_smaller_stone(
    q: float, fall: float, pool: float, less: float
) -> None:
    spot = head_spot()
    deep = Fall(q, fall, 0.05, pool)
    assert needed_d50_m(spot, replace(deep, pool_m=pool * less)) >= needed_d50_m(spot, deep)
    # no sill, no water that it holds up
    assert needed_d50_m(spot, replace(deep, sill_depth_m=0.0)) >= needed_d50_m(spot, deep)


@given(q=FLOWS, drop=DROPS)
def test_what_is_sized_holds_when_it_is_checked(q: float, drop: float) -> None:
    spot = head_spot(q_m3s=floods(q), drop_m=drop)
    made = bowl_for(spot)
    assert made.fall is not None
    assert scour_check(spot, made.fall, made.stone, rule="x").passed
    # smaller stone, by more than what it is rounded up, would not hold where the fall rules
    ruled = needed_d50_m(spot, made.fall) > made.stone.d50_m - 0.01 - 1e-9
    if ruled and made.pool_m in (0.15, 0.30):
        less = replace(made.stone, d50_m=made.stone.d50_m - 0.02)
        assert not scour_check(spot, made.fall, less, rule="x").passed
    for rule in ("rock_bowl.pool", "rock_bowl.run"):
        [check] = checks_of("rock bowl", spot, rule)
        assert check.passed
        assert check.source
    assert made.pool_m <= RULES.high("rock_bowl.pool") + 1e-9


def test_a_narrow_notch_rules_and_a_bowl_is_no_narrower_than_it() -> None:
    for bed, width in ((2.0, 3.6), (1.0, 3.6), (0.5, 0.6), (3.6, 3.6)):
        section = CrossSection.trapezoid(bed, side=1.0, depth_m=0.8)
        made = bowl(bed_width_m=bed, bank_width_m=width, q_m3s=floods(0.05), section=section)
        assert made.fall is not None
        depth = depth_by_hand(0.05, bed_m=bed)
        notch = min(bed + depth, width, made.width_m - 2 * made.wall_m)
        assert made.fall.unit_flow_m2s == pytest.approx(0.05 / notch)
        assert made.width_m - 2 * made.wall_m >= bed - 1e-9


@given(q=FLOWS, drop=DROPS)
def test_a_drop_is_split_only_where_nobody_lifts_the_stone_of_the_whole(
    q: float, drop: float
) -> None:
    spot = head_spot(q_m3s=floods(q), drop_m=drop)
    size, kind = kind_of("rock bowl").size(spot), kind_of("rock bowl")
    assert size.stone is not None
    if size.dims["bowls_count"] == 1:
        assume(size.stone.heaviest_kg > HAND_LIFT_KG)
        assert drop / 2 < RULES.value("rock_bowl.step")  # too low to be split
        return
    assert kind.suits(spot) == 0.8
    (note,) = [n for n in size.notes if n.startswith("The drop is split in two falls")]
    assert metres((drop - 0.15) / 2) in note
    names = [part.name for part in size.parts]
    assert names == ["wall", "pool", "sill", "upper wall", "upper pool", "upper sill"]
    assert "two steps" in " ".join(kind.build_steps(spot, size))
    # both bowls take stone, and the bench is dug
    [one] = [a for a in kind.materials(spot, size) if a.note.startswith("dug for the pool")]
    assert one.amount > size.length_m / 2 * size.dims["width_m"] * 0.05


def test_a_split_bowl_takes_about_the_stone_of_both() -> None:
    spot = head_spot(q_m3s=floods(0.5), drop_m=1.0)
    kind = kind_of("rock bowl")
    size = kind.size(spot)
    assert size.dims["bowls_count"] == 2
    assert kind.fits(spot)
    sills = [a for a in kind.materials(spot, size) if a.note.startswith("sill")]
    d = size.dims
    one = (
        (d["sill_width_m"] + 2 * d["key_m"])
        * d["sill_length_m"]
        * (d["sill_height_m"] + size.stone.d50_m)
    )  # type: ignore[union-attr]
    assert sum(a.amount for a in sills) == pytest.approx(2 * one * 1.6)


def test_what_nobody_lifts_even_in_two_steps_says_so() -> None:
    [check] = checks_of("rock bowl", head_spot(q_m3s=floods(1.2), drop_m=1.0), "hand_work.lift")
    assert not check.passed
    assert check.why_not.endswith("of two people, also where the drop is split in two.")
    # 0.5 m is not split: half of it would not stand out from its own sill
    [check] = checks_of("rock bowl", head_spot(q_m3s=floods(1.2), drop_m=0.5), "hand_work.lift")
    assert check.why_not.endswith("of two people.")


def test_the_jet_is_told_and_does_not_decide() -> None:
    """1.0 m of fall at a trickle: the jet alone would ask for half a metre of stone."""
    spot = head_spot(drop_m=1.0, q_m3s=floods(0.04))
    size = kind_of("rock bowl").size(spot)
    assert size.stone is not None
    assert size.stone.d50_m == RULES.value("rock_bowl.stone")
    (beside,) = [n for n in size.notes if n.startswith("Beside it:")]
    assert "the jet alone, 4.1 m/s, would ask for" in beside
    assert "never decides" in beside
    assert "outside the range of their tests" in beside


def test_a_bowl_and_a_rundown_count_the_same_flow_over_the_same_width() -> None:
    spot = small_head_spot(q_m3s=floods(0.4))
    made = bowl_for(spot)
    chute = kind_of("rock rundown").size(spot).dims["chute_width_m"]
    assert made.fall is not None
    # the pool of a bowl may be narrower than that
    within = min(chute, made.width_m - 2 * made.wall_m)
    assert made.fall.unit_flow_m2s == pytest.approx(0.4 / within)


@given(q=st.floats(0.01, 0.12), drop=st.floats(0.35, 1.1))
def test_a_log_drop_falls_step_by_step_into_pools(q: float, drop: float) -> None:
    spot = log_head_spot(q_m3s=floods(q), drop_m=drop)
    kind = kind_of("log drop")
    assume(kind.fits(spot))
    size = kind.size(spot)
    scours = checks_of("log drop", spot, "log_drop.pool")
    assert len(scours) == 2
    assert all(check.passed for check in scours)
    assert 0.10 <= size.dims["apron_depth_m"] <= 0.30
    assert size.dims["step_pool_m"] == 0.10


def test_too_much_water_shoots_over_the_steps_of_a_log_drop() -> None:
    [check] = checks_of("log drop", log_head_spot(q_m3s=floods(0.3)), "log_drop.tread")
    assert check.why_not.startswith("The flow is too strong for steps of 0.60 m: it lands 0.64 m")
    assert checks_of("log drop", log_head_spot(), "log_drop.tread")[0].passed


@given(q=st.floats(0.02, 1.5), more=st.floats(1.0, 2.0), bankfull=st.floats(0.3, 0.9))
def test_the_stone_of_a_crest_holds_as_it_is_overflowed(
    q: float, more: float, bankfull: float
) -> None:
    dam = kind_of("one-rock dam")
    spot = grade_spot(q_m3s=floods(q), bankfull_depth_m=bankfull, height_limit_m=bankfull / 3)
    stone = dam.size(spot).stone
    assert stone is not None
    asked = overflow_stone(spot, crest_m=2.0, slope=0.2)
    assert asked is not None
    assert overflow_check(stone, asked, slope=0.2, rule="x").passed
    [check] = checks_of("one-rock dam", spot, "one_rock_dam.face")
    assert check.passed
    assert "HEC-23" in check.source
    wetter = overflow_stone(replace_flow(spot, q * more), crest_m=2.0, slope=0.2)
    steeper = overflow_stone(spot, crest_m=2.0, slope=0.3)
    assert wetter is not None
    assert steeper is not None
    assert min(wetter.d50_m, steeper.d50_m) >= asked.d50_m
    # what does not move and can still be lifted, whatever less is asked for
    assert stone.d50_m >= RULES.low("one_rock_dam.stone")
    assert lift_check(spot, stone, asked).passed == (stone.heaviest_kg <= HAND_LIFT_KG)


def replace_flow(spot: Spot, q: float) -> Spot:
    return replace(spot, floods=replace(spot.floods, q_m3s=floods(q), high_m3s=floods(q)))


def test_smaller_stone_than_the_overflow_asks_for_fails() -> None:
    spot = grade_spot(q_m3s=floods(0.6))
    stone = kind_of("one-rock dam").size(spot).stone
    asked = overflow_stone(spot, crest_m=2.0, slope=0.2)
    assert stone is not None
    light = replace(stone, d50_m=0.10)
    check = overflow_check(light, asked, slope=0.2, rule="one_rock_dam.face")
    assert not check.passed
    assert check.why_not == (
        "The flow over the crest asks for stone of 19 cm on its lower face, 1 down for 5 along, "
        "more than the 10 cm laid."
    )


def test_a_spreader_is_checked_for_overflow_too() -> None:
    [_, check] = checks_of("crescent spreader", open_spot(), "spreader.stone")
    assert check.passed
    assert "1 down for 2.5 along" in check.asks


def test_median_and_d90_of_sorted_stone() -> None:
    # on a line of logarithms from D50 to D100: 1.3^0.8
    assert d90_of(RULES, 0.20) == pytest.approx(0.2467, abs=5e-5)


def test_a_pool_stays_shallow_while_one_person_lifts_its_stone() -> None:
    spot = head_spot()
    small = Fall(0.05, 0.5, 0.05, 0.15)
    assert pooled(spot, small, least_d50_m=0.15, deepest_m=0.30) == (small, 0.15)
    strong = Fall(0.6, 1.0, 0.2, 0.15)
    dug, d50 = pooled(spot, strong, least_d50_m=0.15, deepest_m=0.30)
    assert dug.pool_m == 0.30
    assert d50 == pytest.approx(needed_d50_m(spot, dug))
