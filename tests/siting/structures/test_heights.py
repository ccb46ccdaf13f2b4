"""A grade control is never higher than allowed, and no higher than a pair needs."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from siting.structures.grade_height import (
    build_height_m,
    height_cautions,
    height_checks,
    height_limit_m,
    height_note,
)
from tests.siting.structures.example_spots import RULES, grade_spot, kind_of, narrow_spot, wide_spot

#: Rounding of a third.
TOLERANCE_M = 1e-6
GRADE = {"one-rock dam": grade_spot, "log mat": wide_spot, "wicker weir": narrow_spot}
depths = st.floats(0.02, 3.0)
limits = st.floats(0.0, 0.6)
needs = st.one_of(st.just(math.nan), st.floats(0.0, 0.6))


@given(depth=depths, sure=st.booleans(), limit=limits, needed=needs)
@pytest.mark.parametrize("name", GRADE)
def test_never_above_any_limit(
    name: str, depth: float, sure: bool, limit: float, needed: float
) -> None:
    spot = GRADE[name](
        bankfull_depth_m=depth, bankfull_sure=sure, height_limit_m=limit, needed_height_m=needed
    )
    height = kind_of(name).size(spot).height_m
    assert height <= limit + TOLERANCE_M
    assert height <= 0.30 + TOLERANCE_M
    if sure:
        assert height <= depth / 3 + TOLERANCE_M
    else:
        assert height <= 0.10 + TOLERANCE_M
    # nothing between flush and one stone
    assert height == 0 or height >= 0.10 - TOLERANCE_M


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
        # in steps of 5 cm, from one stone up, and the lowest that does
        assert height / 0.05 == pytest.approx(round(height / 0.05))
        assert height >= 0.10
        assert height - 0.05 < max(needed, 0.10)
    else:
        assert not kind_of(name).fits(spot)
        flush = min(limit, round(depth / 3, 6)) < 0.10 - TOLERANCE_M
        assert height == 0 if flush else needed > height_limit_m(spot) - 0.05


@pytest.mark.parametrize(
    ("needed", "limit", "height"),
    [(0.0, 0.3, 0.10), (0.11, 0.3, 0.15), (0.15, 0.15, 0.15), (0.151, 0.20, 0.20), (0.3, 0.3, 0.3)],
)
def test_steps_of_a_pair(needed: float, limit: float, height: float) -> None:
    spot = grade_spot(bankfull_depth_m=0.9, height_limit_m=limit, needed_height_m=needed)
    assert build_height_m(spot) == pytest.approx(height)


@pytest.mark.parametrize(
    ("depth", "height"),
    [(0.60, 0.20), (0.45, 0.15), (0.44, 0.10), (0.30, 0.10), (0.29, 0.0), (0.2, 0.0), (3.0, 0.30)],
)
def test_a_third_of_bankfull_where_it_stands_alone(depth: float, height: float) -> None:
    """Practice notes 2.1: a bankfull depth of 0.60 m gives 0.20 m; hard cap 0.30 m."""
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


#: Spots where one stone may not stand above the bed: by bankfull, and by the spot's own limit.
FLUSH = ({"bankfull_depth_m": 0.29}, {"height_limit_m": 0.09}, {"height_limit_m": 0.0})


@pytest.mark.parametrize("low", FLUSH)
@pytest.mark.parametrize("name", ["one-rock dam", "log mat"])
def test_less_than_one_stone_is_laid_flush(name: str, low: dict[str, float]) -> None:
    kind, spot = kind_of(name), GRADE[name](q_m3s=(0.02,) * 6, **low)
    assert kind.fits(spot)
    size = kind.size(spot)
    assert size.height_m == 0
    assert any("flush with the bed" in note for note in size.notes)
    assert any("backs no water" in text for text in kind.cautions(spot, size))
    told = " ".join(kind.build_steps(spot, size))
    assert "flush with the bed" in told
    assert "m above the bed in the middle" not in told
    assert "filled with sediment" not in told
    [dug] = [a.amount for a in kind.materials(spot, size) if a.item == "fill"]
    # the bed is dug out for what stands in it, one stone at least
    assert dug >= 0.10 * size.length_m * spot.banks.bed_width_m - TOLERANCE_M
    assert "holds no sediment back" in kind.flush_summary


def test_a_flush_dam_is_one_stone_thick_and_a_raised_one_is_not_dug_in() -> None:
    dam = kind_of("one-rock dam")
    flush, raised = (dam.size(grade_spot(bankfull_depth_m=d)) for d in (0.29, 0.45))
    assert flush.dims["thickness_m"] == pytest.approx(0.10)
    assert raised.dims["thickness_m"] == raised.height_m == pytest.approx(0.15)
    spot = grade_spot(bankfull_depth_m=0.45)
    assert "fill" not in {a.item for a in dam.materials(spot, raised)}
    assert "filled with sediment" in " ".join(dam.build_steps(spot, raised))


def test_a_wicker_weir_is_never_flush() -> None:
    spot = narrow_spot(bankfull_depth_m=0.29)
    [why] = kind_of("wicker weir").why_not(spot)
    assert "it cannot be laid flush" in why
    assert kind_of("wicker weir").fits(narrow_spot(bankfull_depth_m=0.31))


@pytest.mark.parametrize("needed", [0.0, 0.05, 0.2])
def test_what_is_flush_backs_no_water_to_a_drop(needed: float) -> None:
    spot = grade_spot(bankfull_depth_m=0.29, needed_height_m=needed)
    [check] = height_checks(spot)
    assert not check.passed
    assert f"A crest of {max(needed, 0.10):.2f} m is needed to back water" in check.why_not
    assert "nothing above the bed is allowed here" in check.why_not


@pytest.mark.parametrize("depth", [0.05, 0.2, 0.29, 0.9])
def test_an_unsure_bankfull_allows_one_stone_and_says_measure(depth: float) -> None:
    spot = grade_spot(bankfull_depth_m=depth, bankfull_sure=False, height_limit_m=0.3)
    assert build_height_m(spot) == pytest.approx(0.10)
    assert "one stone until bankfull is measured on site" in height_note(spot, 0.10)
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
    assert size.stone.d50_m <= size.height_m + TOLERANCE_M
    assert size.stone.d100_m >= size.height_m - TOLERANCE_M


@given(height=st.floats(0.10, 0.30), q=st.floats(0.01, 2.0))
def test_nothing_of_a_log_mat_stands_above_its_crest(height: float, q: float) -> None:
    spot = wide_spot(bankfull_depth_m=0.9, height_limit_m=height, q_m3s=(q,) * 6)
    size = kind_of("log mat").size(spot)
    thick = size.dims["log_diameter_m"] + size.dims["ballast_layer_m"]
    assert thick - size.dims["inset_m"] <= size.height_m + 1e-9
    limit = RULES["log_mat.log_diameter"]
    assert limit.low <= size.dims["log_diameter_m"] <= limit.high
