"""A grade control is never higher than allowed, and no higher than a pair needs."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from siting.hydraulics.crest_flow import level_over_crest_m
from siting.places.spot import Spot
from siting.structures.grade_height import (
    build_height_m,
    crest_level_m,
    height_cautions,
    height_checks,
    height_limit_m,
    height_note,
)
from siting.structures.rock_sizing import bed_stone
from siting.values.wording import metres
from tests.siting.structures.example_spots import (
    RULES,
    UNKNOWN,
    floods,
    grade_spot,
    kind_of,
    narrow_spot,
    wide_spot,
)

#: Rounding of a third.
TOLERANCE_M = 1e-6
GRADE = {"one-rock dam": grade_spot, "log mat": wide_spot, "wicker weir": narrow_spot}
depths = st.floats(0.02, 3.0)
limits = st.floats(0.0, 0.6)
needs = st.one_of(st.just(math.nan), st.floats(0.0, 0.6))


flows = st.one_of(st.just(math.nan), st.floats(0.001, 20.0))
banks = st.one_of(st.just(math.nan), st.floats(0.05, 1.5))
settings_of = st.sampled_from(["", "swale", "wet-meadow candidate", "incised channel", "fan"])
places = st.fixed_dictionaries(
    {
        "bankfull_depth_m": depths,
        "bankfull_sure": st.booleans(),
        "height_limit_m": limits,
        "needed_height_m": needs,
        "q": flows,
        "bank_depth_m": banks,
        "depth_error_m": st.floats(0.0, 0.3),
        "setting": settings_of,
        "slope": st.floats(0.0, 0.05),
    }
)


def place_of(name: str, given: dict[str, Any]) -> Spot:
    changes = dict(given)
    changes["q_m3s"] = (changes.pop("q"),) * 6
    return GRADE[name](**changes)


@given(drawn=places)
@pytest.mark.parametrize("name", GRADE)
def test_none_stands_flush_or_above_its_rule(name: str, drawn: dict[str, Any]) -> None:
    spot, kind = place_of(name, drawn), kind_of(name)
    if not kind.fits(spot):
        return
    height = kind.size(spot).height_m
    assert 0.10 - TOLERANCE_M <= height <= 0.30 + TOLERANCE_M
    third = min(drawn["bankfull_depth_m"] / 3, drawn["height_limit_m"])
    if height > 0.10 + TOLERANCE_M:
        assert drawn["bankfull_sure"]
        assert height <= third + TOLERANCE_M
    if drawn["setting"] in ("swale", "wet-meadow candidate"):
        return
    if math.isnan(drawn["q"]):
        assert drawn["bankfull_sure"]
        assert height <= third + TOLERANCE_M
    else:
        # the level over that very crest, worked out again
        level = level_over_crest_m(
            spot.section,
            drawn["q"],
            crest_height_m=height,
            slope=max(spot.slope, 0.001),
            roughness=spot.roughness,
        )
        assert level <= drawn["bank_depth_m"] - drawn["depth_error_m"] + TOLERANCE_M


@given(drawn=places)
@pytest.mark.parametrize("name", GRADE)
def test_where_none_may_stand_the_limit_is_zero_and_one_check_says_why(
    name: str, drawn: dict[str, Any]
) -> None:
    spot = place_of(name, drawn)
    limit = height_limit_m(spot)
    assert limit == 0 or 0.10 - TOLERANCE_M <= limit <= 0.30 + TOLERANCE_M
    failed = [c for c in kind_of(name).checks(spot) if c.rule == "grade_control.height"]
    [check] = failed
    assert check.passed == (limit > 0)
    assert bool(check.why_not) == (limit == 0)
    assert check.asks
    assert check.found


@given(depth=depths, limit=limits, needed=st.floats(0.0, 0.6))
@pytest.mark.parametrize("name", GRADE)
def test_what_fits_is_as_high_as_the_pair_needs(
    name: str, depth: float, limit: float, needed: float
) -> None:
    spot = GRADE[name](
        bankfull_depth_m=depth, height_limit_m=limit, needed_height_m=needed, q_m3s=(0.02,) * 6
    )
    height = build_height_m(spot)
    if all(check.passed for check in height_checks(spot)):
        assert height >= needed - TOLERANCE_M
        # in steps of 5 cm, from the smallest up, and the lowest that does
        assert height / 0.05 == pytest.approx(round(height / 0.05))
        assert height >= 0.10
        assert height - 0.05 < max(needed, 0.10)
    else:
        assert not kind_of(name).fits(spot)
        assert needed > height_limit_m(spot) - 0.05


@pytest.mark.parametrize(
    ("needed", "limit", "height"),
    [(0.0, 0.3, 0.10), (0.11, 0.3, 0.15), (0.15, 0.15, 0.15), (0.151, 0.20, 0.20), (0.3, 0.3, 0.3)],
)
def test_steps_of_a_pair(needed: float, limit: float, height: float) -> None:
    spot = grade_spot(bankfull_depth_m=0.9, height_limit_m=limit, needed_height_m=needed)
    assert build_height_m(spot) == pytest.approx(height)


@pytest.mark.parametrize(
    ("depth", "height"),
    [
        (0.60, 0.20),
        (0.45, 0.15),
        (0.44, 0.10),
        (0.30, 0.10),
        (0.29, 0.10),
        (0.2, 0.10),
        (3.0, 0.30),
    ],
)
def test_a_third_of_bankfull_where_it_stands_alone(depth: float, height: float) -> None:
    """Practice notes 2.1: a bankfull depth of 0.60 m gives 0.20 m; from 0.10 to 0.30 m."""
    spot = grade_spot(bankfull_depth_m=depth, height_limit_m=0.30)
    assert build_height_m(spot) == pytest.approx(height)


def test_banks_never_set_a_height() -> None:
    low = grade_spot(bank_depth_m=0.5, bankfull_depth_m=0.3, height_limit_m=0.3)
    high = grade_spot(bank_depth_m=1.1, bankfull_depth_m=0.3, height_limit_m=0.3)
    assert build_height_m(low) == build_height_m(high) == pytest.approx(0.10)


def test_a_pair_that_needs_more_than_is_allowed_is_told() -> None:
    spot = grade_spot(needed_height_m=0.22)
    (why,) = kind_of("one-rock dam").why_not(spot)
    assert "0.22 m is needed" in why
    assert "0.15 m is allowed here (a third of bankfull depth)" in why
    assert "bankfull measured on site may allow more" in why


def level_m(height_m: float) -> float:
    """Level of the flow of 0.3 m3/s over a crest in the trapezoid of `grade_spot`, by hand.

    Q = 1.65 L h^1.5 with L = 2 + 2 (height + h), the width of the water there.
    """
    h = 0.2
    for _ in range(60):
        h = (0.3 / (1.65 * (2.0 + 2 * (height_m + h)))) ** (2 / 3)
    return height_m + h


def test_the_level_over_a_crest_by_hand() -> None:
    assert crest_level_m(grade_spot(), 0.10) == pytest.approx(level_m(0.10), abs=1e-5)
    assert level_m(0.10) == pytest.approx(0.272, abs=0.001)


@pytest.mark.parametrize("sure", [True, False])
@pytest.mark.parametrize("error_m", [0.0, 0.08])
def test_the_smallest_stands_where_the_bank_just_holds_the_flow(sure: bool, error_m: float) -> None:
    just = {"bankfull_depth_m": 0.2, "bankfull_sure": sure, "depth_error_m": error_m}
    for above, held in ((1e-4, True), (-1e-4, False)):
        spot = grade_spot(bank_depth_m=level_m(0.10) + error_m + above, **just)
        assert height_limit_m(spot) == (pytest.approx(0.10) if held else 0.0)
        [check] = height_checks(spot)
        assert check.passed == held
        assert f"it stands {level_m(0.10):.2f} m above the bed there" in check.found
        assert kind_of("one-rock dam").fits(spot) == held
    [why] = kind_of("one-rock dam").why_not(spot)
    assert "does not hold the 10-year flow as it passes over a crest of 0.10 m" in why
    assert "no grade control stands here" in why


def test_the_likely_flow_counts_not_the_high_end_of_its_range() -> None:
    spot = grade_spot(bank_depth_m=0.45, depth_error_m=0.05, q_high_m3s=floods(5.0))
    assert height_limit_m(spot) > 0


@pytest.mark.parametrize("setting", ["swale", "wet-meadow candidate"])
@pytest.mark.parametrize("bank_m", [0.15, math.nan])
def test_in_a_swale_what_spills_may_spread(setting: str, bank_m: float) -> None:
    changes = {"bank_depth_m": bank_m, "bankfull_sure": False}
    spot = grade_spot(setting=setting, **changes)
    kind = kind_of("one-rock dam")
    assert kind.fits(spot)
    size = kind.size(spot)
    assert size.height_m == pytest.approx(0.10)
    assert any("spreads on the floor of the swale" in note for note in size.notes)
    assert any("comes back without a drop" in text for text in kind.cautions(spot, size))
    for other in ("incised channel", "widening reach", "discontinuous gully", ""):
        assert not kind.fits(grade_spot(setting=other, **changes))


def test_banks_that_hold_only_a_lower_crest_bound_what_bankfull_allows() -> None:
    deep = {"bankfull_depth_m": 0.9, "height_limit_m": 0.3, "depth_error_m": 0.0}
    for height in (0.10, 0.15, 0.20, 0.25, 0.30):
        spot = grade_spot(bank_depth_m=level_m(height) + 1e-4, **deep)
        assert build_height_m(spot) == pytest.approx(height)
    low = grade_spot(bank_depth_m=level_m(0.10) + 1e-4, needed_height_m=0.2, **deep)
    [why] = kind_of("one-rock dam").why_not(low)
    assert "0.10 m is allowed here (more would lift the likely flow over the lower bank)." in why


@pytest.mark.parametrize(
    ("sure", "depth", "limit", "height"),
    [
        (True, 0.45, 0.15, 0.15),
        (True, 0.30, 0.10, 0.10),
        (True, 0.29, 0.0, 0.0),
        # a bench whose error takes it below
        (True, 0.33, 0.09, 0.0),
        (False, 0.90, 0.10, 0.0),
    ],
)
def test_without_a_flow_only_bankfull_can_tell(
    sure: bool, depth: float, limit: float, height: float
) -> None:
    unknown = {"q_m3s": UNKNOWN, "bankfull_sure": sure}
    spot = grade_spot(bankfull_depth_m=depth, height_limit_m=limit, **unknown)
    assert height_limit_m(spot) == pytest.approx(height)
    [check] = height_checks(spot)
    assert "no flow known" in check.found
    assert check.passed == (height > 0)
    if not height:
        assert check.why_not.endswith("give rain.")
    # a swale needs none
    assert height_limit_m(
        grade_spot(setting="swale", bankfull_depth_m=depth, height_limit_m=limit, **unknown)
    ) == pytest.approx(max(height, 0.10))


def test_stone_taller_than_the_dam_is_let_in() -> None:
    dam = kind_of("one-rock dam")
    low, raised = (dam.size(grade_spot(bankfull_depth_m=d, slope=0.03)) for d in (0.29, 0.45))
    assert low.height_m == pytest.approx(0.10)
    assert raised.height_m == pytest.approx(0.15)
    assert low.stone is not None
    # a flow that asks for stone of 0.10 m, whose largest are 0.13 m
    wet = grade_spot(bankfull_depth_m=0.29, slope=0.03, q_m3s=floods(0.5))
    size = dam.size(wet)
    assert size.height_m == pytest.approx(0.10)
    assert size.stone is not None
    assert size.stone.d100_m > size.height_m
    assert size.dims["thickness_m"] == pytest.approx(size.stone.d100_m)
    let_in = size.stone.d100_m - size.height_m
    [dug] = [a.amount for a in dam.materials(wet, size) if a.item == "fill"]
    face = size.height_m / 2 * size.dims["face_m"]
    assert dug == pytest.approx(size.dims["bed_width_m"] * (let_in * size.length_m + face))
    told = " ".join(dam.build_steps(wet, size))
    assert "let in, so that none stands higher than the crest" in told
    assert "its top 0.10 m above the bed in the middle" in told
    # stone of 15 cm and more, whose largest are 0.20 m, is let in under a crest of 0.15 m as well
    assert raised.dims["thickness_m"] == pytest.approx(0.20)
    # as high as its largest stones: nothing but the lower face is let in
    spot = grade_spot(bankfull_depth_m=0.9, height_limit_m=0.3)
    tall = dam.size(spot)
    assert tall.dims["thickness_m"] == pytest.approx(tall.height_m)
    [dug] = [a.amount for a in dam.materials(spot, tall) if a.item == "fill"]
    assert dug == pytest.approx(tall.dims["bed_width_m"] * 0.15 * tall.dims["face_m"])


def test_the_ends_are_keyed_in_to_the_level_of_the_flow() -> None:
    for name in GRADE:
        spot, kind = GRADE[name](), kind_of(name)
        size = kind.size(spot)
        level = crest_level_m(spot, size.height_m)
        told = " ".join(kind.build_steps(spot, size))
        assert f"The keys reach up to {metres(level)} above the bed at least" in told, name


@pytest.mark.parametrize("needed", [0.11, 0.2])
def test_a_shallow_bankfull_allows_no_more_than_the_smallest(needed: float) -> None:
    spot = grade_spot(bankfull_depth_m=0.29, needed_height_m=needed)
    [stands_here, check] = height_checks(spot)
    assert stands_here.passed
    assert not check.passed
    assert f"A crest of {needed:.2f} m is needed to back water" in check.why_not
    assert "0.10 m is allowed here (the smallest, since a third of bankfull" in check.why_not
    assert "measure bankfull on site" in height_cautions(spot)[0]


@pytest.mark.parametrize("depth", [0.05, 0.2, 0.29, 0.9])
def test_an_unsure_bankfull_allows_the_smallest_and_says_measure(depth: float) -> None:
    spot = grade_spot(bankfull_depth_m=depth, bankfull_sure=False, height_limit_m=0.3)
    assert build_height_m(spot) == pytest.approx(0.10)
    assert "the smallest, until bankfull is measured on site" in height_note(spot, 0.10)
    assert "measure it on site" in height_cautions(spot)[0]


@given(depth=st.floats(0.3, 1.5), needed=st.floats(0.0, 0.25), q=st.floats(0.01, 0.5))
def test_a_pair_stands_no_lower_than_its_stone(depth: float, needed: float, q: float) -> None:
    spot = grade_spot(
        bankfull_depth_m=depth, height_limit_m=0.3, needed_height_m=needed, q_m3s=(q,) * 6
    )
    dam = kind_of("one-rock dam")
    assume(dam.fits(spot))
    size = dam.size(spot)
    assert size.stone is not None
    asked = bed_stone(spot)
    assert asked is not None
    assert asked.d50_m <= size.height_m + TOLERANCE_M
    assert size.stone.d100_m >= size.height_m - TOLERANCE_M


@given(height=st.floats(0.10, 0.30), q=st.floats(0.01, 2.0))
def test_nothing_of_a_log_mat_stands_above_its_crest(height: float, q: float) -> None:
    spot = wide_spot(bankfull_depth_m=0.9, height_limit_m=height, q_m3s=(q,) * 6)
    size = kind_of("log mat").size(spot)
    thick = size.dims["log_diameter_m"] + size.dims["ballast_layer_m"]
    assert thick - size.dims["inset_m"] <= size.height_m + 1e-9
    limit = RULES["log_mat.log_diameter"]
    assert limit.low <= size.dims["log_diameter_m"] <= limit.high
