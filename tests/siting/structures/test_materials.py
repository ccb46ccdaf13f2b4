"""Sizes and materials against hand computations."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable

import pytest

from cli.plan.unit_sentences import in_units
from siting.hydraulics.open_channel import normal_flow
from siting.hydraulics.stone import (
    abt_johnson_d50_m,
    overtopping_d50_m,
    rock_chute_d50_m,
    steep_d30_m,
)
from siting.hydraulics.wood import wood
from siting.places.spot import Stock
from siting.structures import amounts
from siting.structures.rock_sizing import bed_stone
from siting.structures.stone_classes import largest_m
from siting.structures.structure_type import ITEMS, Amount
from siting.values.wording import centimetres
from tests.siting.structures.example_spots import (
    FITTING,
    RULES,
    depth_by_hand,
    floods,
    grade_spot,
    head_spot,
    kind_of,
    log_head_spot,
    narrow_spot,
    open_spot,
    road_spot,
    small_head_spot,
    wide_spot,
)

ONLY_LOGS = Stock(have=frozenset({"logs"}))


def total(found: Iterable[Amount], item: str) -> float:
    return sum(a.amount for a in found if a.item == item)


def noted(found: Iterable[Amount], note: str) -> float:
    (amount,) = [a.amount for a in found if a.note.startswith(note)]
    return amount


@pytest.mark.parametrize("name", FITTING)
def test_every_amount_is_of_a_known_item_and_positive(name: str) -> None:
    kind = kind_of(name)
    for stock in (Stock(), Stock(have=kind.materials_needed)):
        spot = FITTING[name](stock=stock)
        for amount in kind.materials(spot, kind.size(spot)):
            assert amount.item in ITEMS
            assert math.isfinite(amount.amount)
            assert amount.amount >= 0
            assert amount.note
            if amount.item.startswith("stone"):
                assert "rock" in stock.have


def test_volume_of_a_one_rock_dam() -> None:
    """Practice notes 2.4: 3 m by 2 m by 0.2 m is 1.2 m3, about 1.9 t."""
    spot = grade_spot(
        bed_width_m=3.0, bankfull_width_m=2.0, bankfull_depth_m=0.6, height_limit_m=0.2
    )
    kind = kind_of("one-rock dam")
    size = kind.size(spot)
    assert (size.height_m, size.length_m, size.crest_m) == pytest.approx((0.2, 2.0, 4.2))
    found = kind.materials(spot, size)
    assert noted(found, "body") == pytest.approx(1.2 * 1.6)
    assert noted(found, "body") == pytest.approx(1.9, abs=0.05)
    assert noted(found, "keys") == pytest.approx(2 * 0.6 * 2.0 * 0.2 * 1.6)
    # its largest are as tall as the dam: half of the stones are larger than 0.15 m
    assert size.stone is not None
    assert (size.stone.d50_m, size.stone.d100_m) == (0.15, 0.20)
    assert noted(found, "apron") == pytest.approx(3.0 * 0.3 * 0.15 * 1.6)
    assert total(found, "gravel") == pytest.approx(0.15 * (1.2 + 0.48))
    assert total(found, "seed") == pytest.approx(2 * (2.0 + 0.3) * 4.2 * 0.002)
    assert total(found, "fill") == pytest.approx(3.0 * 0.2 / 2 * 1.0)


def test_stone_of_a_one_rock_dam_by_both_methods() -> None:
    """HEC-15 equation 6.8 at the deepest part, and the rock-chute formula; the larger rules."""
    spot = grade_spot(q_m3s=floods(0.9), bankfull_depth_m=0.9, height_limit_m=0.3)
    size = kind_of("one-rock dam").size(spot)
    state = normal_flow(spot.section, 0.9, slope=0.02, roughness=0.045)
    by_pull = 1.2 * 9810 * state.depth_m * 0.02 / (0.047 * 1650 * 9.81)
    q = 0.9 / state.top_width_m
    by_chute = 1.2 * (q * 0.02**1.5 / 9.76e-7) ** (1 / 1.89) / 1000
    assert by_pull > by_chute
    assert size.stone is not None
    assert f"HEC-15) {centimetres(by_pull)}" in size.stone.method
    # over a crest of 2 m 0.45 m2/s run down a face of 1 in 5, which asks for more
    by_crest = 1.2 * rock_chute_d50_m(0.45, 0.2)
    assert by_crest > max(by_pull, 1.2 * overtopping_d50_m(0.45, 0.2))
    assert f"rock-chute formula {centimetres(by_crest)}" in size.stone.method
    assert size.stone.d50_m == pytest.approx(math.ceil(100 * by_crest) / 100)
    assert size.stone.d100_m == pytest.approx(math.ceil(130 * size.stone.d50_m) / 100)
    assert size.stone.heaviest_kg == pytest.approx(2650 * math.pi / 6 * size.stone.d100_m**3)
    assert size.stone.two_person


def test_stone_of_a_rundown() -> None:
    """Rock-chute formula (Robinson and others 1998): 0.20 m2/s at 1 in 3 asks for 0.151 m."""
    # so much flow that it is 0.20 m2/s over bed and depth of 2.20 m
    assert 0.44 / (2.0 + depth_by_hand(0.44)) == pytest.approx(0.200, abs=0.001)
    spot = small_head_spot(q_m3s=floods(0.44))
    size = kind_of("rock rundown").size(spot)
    assert size.stone is not None
    # 1.2 times that is 0.181 m, told in whole centimetres
    assert size.stone.d50_m == pytest.approx(0.19)
    assert centimetres(1.2 * 0.1508) == "18 cm"
    assert "18 cm" in size.stone.method
    assert size.stone.basis == "published"
    assert size.dims["face_m"] == pytest.approx(1.5)
    assert size.dims["apron_m"] == pytest.approx(15 * size.stone.d50_m)
    assert size.dims["layer_m"] == pytest.approx(2 * size.stone.d50_m)


def test_a_flatter_rundown_is_sized_by_three_methods(rules_with) -> None:  # type: ignore[no-untyped-def]
    spot = small_head_spot(rules=rules_with(rock_rundown__run=6.0))
    size = kind_of("rock rundown").size(spot)
    assert size.stone is not None
    # 0.08 m3/s over bed and depth on 1 in 6; D30 to D50 by the cube root of D85 over D15
    q = 0.08 / (2.0 + depth_by_hand(0.08))
    steep = 1.2 * 1.75 ** (1 / 3) * steep_d30_m(q, 1 / 6)
    assert f"EM 1110-2-1601, steep channels {centimetres(steep)}" in size.stone.method
    abt = 1.2 * abt_johnson_d50_m(q, 1 / 6)
    assert f"Abt and Johnson 1991 {centimetres(abt)}" in size.stone.method
    assert f"1998) {centimetres(1.2 * rock_chute_d50_m(q, 1 / 6))}" in size.stone.method
    too_steep = small_head_spot(rules=rules_with(rock_rundown__run=2.0))
    assert "The slope of the face, 50 %" in kind_of("rock rundown").why_not(too_steep)[0]


def test_materials_of_a_rundown() -> None:
    spot = small_head_spot()
    kind = kind_of("rock rundown")
    size = kind.size(spot)
    found = kind.materials(spot, size)
    # what 0.08 m3/s wet of a bed of 2 m, 0.6 m of edge at the top and at the foot; 1.5 m along and
    # 0.5 m down, stone of 0.10 m in 0.20 m
    depth = depth_by_hand(0.08)
    top, foot = 2.0 + 2 * depth + 0.6, 2.0 + depth + 0.6
    face = math.hypot(1.5, 0.5) * (top + foot) / 2
    assert noted(found, "face") == pytest.approx(face * 0.2 * 1.6)
    assert noted(found, "apron") == pytest.approx(1.5 * foot * 0.2 * 1.6)
    assert total(found, "fabric") == pytest.approx(face + 1.5 * foot)
    # the wedge above the face, and the bed of the stone
    wedge = 0.5 * 1.5 * 0.5 * (top + foot) / 2
    assert total(found, "fill") == pytest.approx(wedge + (face + 1.5 * foot) * 0.2)


def test_materials_of_a_bowl() -> None:
    spot = head_spot()
    kind = kind_of("rock bowl")
    size = kind.size(spot)
    found = kind.materials(spot, size)
    assert size.stone is not None
    d50, d100, pool = size.stone.d50_m, size.stone.d100_m, size.dims["pool_depth_m"]
    assert (d50, d100) == (0.19, 0.25)
    assert total(found, "stone_medium") > 0
    # half an ellipse, integrated in small steps: as wide as what is wetted, or bed and two walls
    wide = max(2.0 + 2 * depth_by_hand(0.3), 2.0 + 2 * 0.4)
    assert size.dims["width_m"] == pytest.approx(wide)
    steps = [math.pi * k / 2000 for k in range(-1000, 1001)]
    at = [(1.6 * math.cos(t), wide / 2 * math.sin(t)) for t in steps]
    along = sum(math.dist(a, b) for a, b in itertools.pairwise(at))
    wall = 0.8 - 0.15 + pool
    assert size.dims["wall_height_m"] == pytest.approx(wall)
    assert noted(found, "wall") == pytest.approx(along * wall * 2 * d50 * 1.6, rel=0.002)
    inner = math.pi / 2 * (wide / 2 - 0.4) * (1.6 - 0.4)
    assert noted(found, "floor") == pytest.approx(inner * d100 * 1.6, rel=0.005)
    # a bed of 2 m, banks 1 to 1: 2.3 m at the sill's height of 0.15 m, and two keys of 0.6 m
    assert noted(found, "sill") == pytest.approx(3.5 * 2 * d100 * (0.15 + d50) * 1.6)
    assert noted(found, "dug for the pool") == pytest.approx(inner * (pool - 0.15), rel=0.005)


def test_ballast_is_no_thinner_than_the_stone_that_stays() -> None:
    """HEC-15 equation 6.8 at the deepest part, where that passes what holds the logs down."""
    spot = wide_spot(q_m3s=floods(4.0))
    depth = normal_flow(spot.section, 4.0, slope=0.015, roughness=0.045).depth_m
    by_pull = 1.2 * 9810 * depth * 0.015 / (0.047 * 1650 * 9.81)
    size = kind_of("log mat").size(spot)
    assert size.dims["ballast_layer_m"] == pytest.approx(by_pull, rel=1e-3)
    span = 7.0 + 2 * depth  # wetted, banks 1 to 1
    assert size.dims["span_m"] == pytest.approx(span, rel=1e-3)
    assert size.dims["ballast_kg"] == pytest.approx(by_pull * 2 * span * 1600, rel=1e-3)


def test_hold_down_of_a_log_mat() -> None:
    """Dry logs under water against gravel in the gaps and ballast, factor 1.5; as log case LG-3."""
    spot = wide_spot(q_m3s=floods(0.3))
    size = kind_of("log mat").size(spot)
    logs, d = size.dims["logs_count"], size.dims["log_diameter_m"]
    span = 7.0 + 2 * normal_flow(spot.section, 0.3, slope=0.015, roughness=0.045).depth_m
    assert (d, logs) == (0.15, math.ceil(span / 0.15))
    lift = logs * math.pi / 4 * d**2 * 2.0 * 9.81 * (1000 - 1120 * 0.40)
    gaps = (1 - math.pi / 4) * d * span * 2.0
    fill = 0.5 * gaps * 0.6 * 1650 * 9.81
    ballast = (1.5 * lift - fill) / 9.81 / (1 - 1000 / 2650)
    assert size.dims["ballast_kg"] == pytest.approx(ballast, rel=0.005)
    assert size.dims["ballast_layer_m"] == pytest.approx(ballast / (2 * span) / 1600, rel=0.005)
    assert size.dims["inset_m"] == pytest.approx(d + ballast / (2 * span) / 1600 - 0.15, abs=0.001)


def test_posts_count_only_when_tested() -> None:
    plain = kind_of("log mat").size(wide_spot())
    tested = kind_of("log mat").size(wide_spot(stock=Stock(anchor_n_per_post=2000.0)))
    assert plain.dims["ballast_kg"] > 0
    assert tested.dims["ballast_kg"] == 0
    assert tested.dims["inset_m"] < plain.dims["inset_m"]


def test_materials_of_a_log_mat() -> None:
    spot = wide_spot()
    kind = kind_of("log mat")
    size = kind.size(spot)
    found = kind.materials(spot, size)
    q10 = spot.flow_m3s()
    span = 7.0 + 2 * normal_flow(spot.section, q10, slope=0.015, roughness=0.045).depth_m
    assert size.dims["span_m"] == pytest.approx(span, rel=1e-6)
    count = math.ceil(span / 0.15)
    assert total(found, "logs") == pytest.approx(count * 2.0)
    assert total(found, "fabric") == pytest.approx(span * 0.9)
    # wires at 0, 1 and 2 m; posts every 2 m over 7 to 8 m
    assert (size.dims["wires_count"], size.dims["posts_count"]) == (3, 15)
    assert total(found, "wire") == pytest.approx(3 * (span + 1.2))
    assert total(found, "staples") == 3 * count
    assert noted(found, "in the gaps") == pytest.approx((1 - math.pi / 4) * 0.15 * 2 * span)
    assert noted(found, "ballast") == pytest.approx(size.dims["ballast_kg"] / 1000)
    assert noted(found, "wings") == pytest.approx(2 * 0.6 * 2.0 * 0.15 * 1.6)
    assert total(found, "fill") == pytest.approx(2 * span * size.dims["inset_m"])
    assert size.dims["log_kg"] == pytest.approx(
        math.pi / 4 * 0.15**2 * 2 * wood("ponderosa pine").green_density_kg_m3
    )


@pytest.mark.parametrize(("name", "make"), [("log mat", wide_spot), ("log drop", log_head_spot)])
def test_with_logs_alone_bags_of_gravel_hold_them(name: str, make) -> None:  # type: ignore[no-untyped-def]
    spot, kind = make(stock=ONLY_LOGS), kind_of(name)
    assert kind.fits(spot)
    size = kind.size(spot)
    found = kind.materials(spot, size)
    assert not [a for a in found if a.item.startswith("stone")]
    assert noted(found, "ballast") == pytest.approx(size.dims["ballast_kg"] / 1600)
    assert any("gravel in bags" in s for s in kind.cautions(spot, size))
    assert not any("stone on them" in n for n in size.notes)


def test_steps_of_a_log_drop() -> None:
    """One log to a step; the fewest steps whose logs can be held."""
    kind = kind_of("log drop")
    for drop in (0.3, 0.58, 0.6, 0.8, 0.9):
        size = kind.size(log_head_spot(drop_m=drop))
        count = size.dims["steps_count"]
        assert drop / 0.3 - 1e-9 <= count <= math.ceil(drop / 0.2)
        assert size.dims["steps_count"] == count
        assert size.dims["step_m"] * count == pytest.approx(drop)
        assert size.dims["log_diameter_m"] == pytest.approx(max(drop / count, 0.2))
        assert size.length_m == pytest.approx(count * 0.6 + 1.0)
    spot = log_head_spot()
    found = kind.materials(spot, kind.size(spot))
    count = kind.size(spot).dims["steps_count"]
    # 0.1 m3/s wet 2.2 m of the channel; 0.6 m more in each bank
    log = 2.0 + 2 * depth_by_hand(0.1) + 1.2
    assert total(found, "logs") == pytest.approx(count * log)
    assert total(found, "fabric") == pytest.approx(count * log * 0.9)
    # posts at 0, 1.2 and 2.2 m below each log
    assert total(found, "posts") == 3 * count


def test_materials_of_a_wicker_weir() -> None:
    spot = narrow_spot()
    kind = kind_of("wicker weir")
    size = kind.size(spot)
    found = kind.materials(spot, size)
    assert total(found, "pickets") == math.ceil(3.2 / 0.45) + 1
    wall, apron = 3.2 * 0.3 * (0.15 + 0.05), 2.0 * 1.0 * 0.15 / 2
    assert total(found, "brush") == pytest.approx(3 * (wall + apron))
    assert size.dims["picket_length_m"] == pytest.approx(0.6)


def test_materials_of_a_spreader() -> None:
    spot = open_spot()
    kind = kind_of("crescent spreader")
    size = kind.size(spot)
    assert (size.crest_m, size.length_m, size.height_m) == pytest.approx((7.5, 1.0, 0.1))
    # stone of 10 cm, whose largest are 13 cm and 3 cm of them let in
    assert total(kind.materials(spot, size), "stone_small") == pytest.approx(7.5 * 0.13 * 1.6)
    assert kind.size(open_spot(bankfull_width_m=0.5)).crest_m == 6.0
    assert kind.size(open_spot(bankfull_width_m=9.0)).crest_m == 20.0


def test_earth_of_a_rolling_dip() -> None:
    """Cut and fill balance: the top of the rise stands as far above the old grade as the cut."""
    spot = road_spot()
    kind = kind_of("rolling dip")
    size = kind.size(spot)
    assert size.dims["reverse_slope"] == pytest.approx(0.3 / 4.6)
    assert RULES.low("rolling_dip.reverse_grade") <= size.dims["reverse_slope"] <= 0.08
    cut = size.dims["cut_m"]
    top_above_old_grade = -cut + 0.3 + 0.08 * 4.6
    assert cut == pytest.approx(top_above_old_grade)
    assert total(kind.materials(spot, size), "fill") == pytest.approx(0.5 * cut * (6.0 + 2.3) * 4.0)


@pytest.mark.parametrize(
    ("d50", "item"),
    [(0.1, "stone_small"), (0.15, "stone_small"), (0.16, "stone_medium"), (0.23, "stone_medium"),
     (0.24, "stone_large"), (0.34, "stone_large")],
)  # fmt: skip
def test_size_classes(d50: float, item: str) -> None:
    assert amounts.stone_item(RULES, d50) == item
    assert amounts.stone(RULES, 2.0, d50_m=d50, note="x").amount == pytest.approx(3.2)


@pytest.mark.parametrize("d50", [k / 100 for k in range(10, 35)])
def test_the_class_that_is_ordered_holds_the_stone_that_is_asked_for(d50: float) -> None:
    """In both systems: median and largest lie within it, as they are written."""
    words = ITEMS[amounts.stone_item(RULES, d50)][1]
    asked = [centimetres(d50), centimetres(largest_m(RULES, d50))]
    for units in ("si", "us"):
        low, high = (float(n) for n in re.findall(r"[\d.]+", in_units(words, units)))
        for size in asked:
            number, unit = in_units(size, units).split()
            assert unit == {"si": "cm", "us": "in"}[units]
            assert low <= float(number) <= high


def test_pieces_along_a_line() -> None:
    assert [amounts.count(x, 2.0) for x in (0.5, 2.0, 2.1, 8.0)] == [2, 2, 3, 5]


def test_stone_is_sized_for_the_likely_flow() -> None:
    dam = kind_of("one-rock dam")
    sure = grade_spot(slope=0.025)
    unsure = grade_spot(slope=0.025, q_high_m3s=floods(0.9))
    assert bed_stone(unsure).d50_m == bed_stone(sure).d50_m
    assert dam.size(unsure).stone == dam.size(sure).stone
    notes = " ".join(dam.size(unsure).notes)
    assert "Made for the 10-year flow of 0.30 m3/s: " in notes
    assert "checked at the high end of its range, 0.90 m3/s." in notes
