"""What is sized for the likely flow is checked at the high end of its range, and only cautioned."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from siting.places.spot import Spot
from siting.structures.catalogue import structure_types
from siting.structures.channel_sizes import bed_width_m
from siting.structures.decisions import decide
from siting.structures.design_flow import at_high_end
from siting.structures.rock_sizing import asked_by, bed_stone, overflow_stone
from siting.values.rules import load_rules
from siting.values.wording import centimetres
from tests.siting.structures.example_spots import (
    FITTING,
    UNKNOWN,
    floods,
    grade_spot,
    head_spot,
    kind_of,
    narrow_spot,
    small_head_spot,
    wide_spot,
)

TYPES = structure_types()
RULES = load_rules()


def with_high(spot: Spot, times: float) -> Spot:
    """The same place, with a range that ends so many times above the likely flow."""
    high = tuple(times * q for q in spot.floods.q_m3s)
    return replace(spot, floods=replace(spot.floods, high_m3s=high))


def decided(name: str, spot: Spot) -> Any:
    return decide(spot, [kind_of(name)])


@pytest.mark.parametrize("name", [n for n in FITTING if n != "rolling dip"])
def test_a_wide_range_changes_no_size_and_refuses_nothing(name: str) -> None:
    spot = with_high(FITTING[name](), 1.0)
    sure = decided(name, spot)
    assert sure.type is not None
    assert sure.at_high == ()
    assert sure.fails_at_high == ()
    for times in (1.5, 4.0, 40.0):
        wide = decided(name, with_high(spot, times))
        assert wide.type is sure.type
        assert wide.at_high
        for a, b in (
            (wide.size.height_m, sure.size.height_m),
            (wide.size.stone, sure.size.stone),
            (dict(wide.size.dims), dict(sure.size.dims)),
        ):
            assert a == b
        assert wide.chosen.checks == sure.chosen.checks
    # forty times the flow moves whatever is laid for it
    assert wide.fails_at_high
    # what fails at some flow fails at every larger one
    failing = [{c.rule for c in decided(name, with_high(spot, t)).fails_at_high}
               for t in (1.2, 2.0, 4.0, 10.0, 40.0)]  # fmt: skip
    assert all(a <= b for a, b in itertools.pairwise(failing))


def test_stone_holds_as_long_as_the_factor_takes_it() -> None:
    """By the pull on the bed and over the lower face: it stays until more is asked than is laid."""
    spot = grade_spot(slope=0.025, height_limit_m=0.1, bankfull_depth_m=0.31)
    laid = decided("one-rock dam", spot).size.stone.d50_m
    for times in (1.1, 1.3, 1.8, 2.5, 4.0):
        high = at_high_end(with_high(spot, times))
        assert high is not None
        face = 1 / RULES.value("one_rock_dam.face")
        over = overflow_stone(high, crest_m=bed_width_m(high), slope=face)
        needed = asked_by(bed_stone(high), over).d50_m / RULES.value("stone.safety")
        fails = decided("one-rock dam", with_high(spot, times)).fails_at_high
        moved = [c for c in fails if c.rule == "stone.safety_high_end"]
        assert bool(moved) == (needed > laid)
    [check] = moved
    assert check.why_not.startswith("At the high end of its range, 1.2 m3/s, the design flow moves")
    assert f"moves the stone of {centimetres(laid)}; " in check.why_not
    assert " cm would stay: look after such a flow, and mend it." in check.why_not


def test_the_crest_is_held_against_the_bank() -> None:
    spot = grade_spot(bank_depth_m=0.45, depth_error_m=0.05)
    sure = decided("one-rock dam", spot)
    fails = decided("one-rock dam", with_high(spot, 8.0)).fails_at_high
    [check] = [c for c in fails if c.rule == "grade_control.height"]
    assert "it may go round an end." in check.why_not
    assert "which the lower bank (0.45 m, error 0.050 m) may not hold" in check.why_not
    assert sure.builds
    # in a swale what spills may spread
    swale = decided("one-rock dam", with_high(replace_setting(spot, "swale"), 8.0))
    assert all(c.rule != "grade_control.height" for c in swale.at_high)


def replace_setting(spot: Spot, setting: str) -> Spot:
    return replace(spot, form=replace(spot.form, setting=setting))


def test_ballast_is_held_against_lift_and_pull() -> None:
    """Bags are weighed for the logs alone: a factor of 1.5 is used up where the pull rules."""
    mat = wide_spot()
    bags = replace(mat, stock=replace(mat.stock, have=frozenset({"logs"})))
    laid = decided("log mat", bags).size.dims["ballast_kg"]
    assert laid > 0
    by_flow = {t: decided("log mat", with_high(bags, t)).at_high for t in (1.05, 20.0, 400.0)}
    for checks in by_flow.values():
        assert "logs.hold_down_high_end" in {c.rule for c in checks}
        # the stones of bags do not lie loose
        assert "stone.safety_high_end" not in {c.rule for c in checks}
    held = {t: checks[0].passed for t, checks in by_flow.items()}
    assert held[1.05]
    assert not held[400.0]
    assert "lifts or moves the logs" in by_flow[400.0][0].why_not
    # loose ballast has to stay as well
    loose = decided("log mat", with_high(mat, 20.0)).fails_at_high
    assert [c.rule for c in loose if "moves the ballast" in c.why_not] == ["stone.safety_high_end"]


def test_brush_is_held_against_the_pull() -> None:
    [*_, check] = [
        c for c in decided("wicker weir", with_high(narrow_spot(), 30.0)).fails_at_high
        if c.rule == "wicker_weir.shear"
    ]  # fmt: skip
    assert check.why_not.startswith("At the high end of its range, 3.0 m3/s, the design flow: The")


@pytest.mark.parametrize("make", [head_spot, small_head_spot, grade_spot])
@pytest.mark.parametrize("high", [UNKNOWN, floods(0.01)])
def test_without_a_range_above_the_flow_nothing_is_checked(make: Any, high: Any) -> None:
    spot = make(q_high_m3s=high)
    assert at_high_end(spot) is None
    found = decide(spot, [k for k in TYPES if spot.task.purpose in k.purposes])
    assert found.at_high == ()


def test_what_fails_at_the_likely_flow_is_refused_as_before() -> None:
    strong = grade_spot(slope=0.025, q_m3s=floods(40.0))
    found = decided("one-rock dam", with_high(strong, 1.4))
    assert found.type is None
    assert found.at_high == ()
    assert not found.builds
