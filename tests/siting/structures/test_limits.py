"""Each type's limits, just inside and just outside, at the unfavourable end of the error."""

from __future__ import annotations

import math
from typing import Any

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow
from siting.places.spot import PURPOSES, Stock
from siting.structures.limit_checks import AREA_RULE, STOCK_RULE, at_least, at_most
from siting.structures.structure_type import Check
from tests.siting.structures.example_spots import FITTING, RULES, TYPES, UNKNOWN, floods, kind_of

NAMES = tuple(FITTING)
IN_CHANNELS = tuple(n for n in NAMES if n != "rolling dip")
VERTICAL = ("rock bowl", "log drop", "rock rundown")
GRADE = ("one-rock dam", "log mat", "wicker weir")


def failing(name: str, **changes: Any) -> list[Check]:
    spot = FITTING[name](**changes)
    return [check for check in kind_of(name).checks(spot) if not check.passed]


@pytest.mark.parametrize("name", NAMES)
def test_each_fits_its_place(name: str) -> None:
    assert failing(name) == []
    assert kind_of(name).fits(FITTING[name]())
    assert kind_of(name).why_not(FITTING[name]()) == ()


#: type, limit, what changes just inside, just outside; errors are 0.08 (drop), 0.002 (slope) and
#: 0.08 or 0.05 (depth) as in the example places
EDGES: tuple[tuple[str, str, dict[str, Any], dict[str, Any]], ...] = (
    *((n, "hand_work.drainage_area", {"drainage_area_ha": 40.0}, {"drainage_area_ha": 40.1})
      for n in ("rock bowl", "log drop", *GRADE)),
    *((n, "hand_work.drop", {"drop_m": 1.12}, {"drop_m": 1.13}) for n in ("rock bowl", "log drop")),
    *((n, "hand_work.gradient", {"slope": 0.058}, {"slope": 0.0585})
      for n in (*VERTICAL, "one-rock dam")),
    *((n, "hand_work.channel_width", {"bank_width_m": 12.0}, {"bank_width_m": 12.1})
      for n in ("rock bowl", "log drop", "one-rock dam", "log mat")),
    *((n, "one_rock_dam.channel_depth", {"bank_depth_m": 1.72}, {"bank_depth_m": 1.73})
      for n in VERTICAL),
    *((n, "one_rock_dam.channel_depth", {"bank_depth_m": 1.12}, {"bank_depth_m": 1.13})
      for n in ("one-rock dam", "wicker weir")),
    ("rock rundown", "rock_rundown.drop", {"drop_m": 0.85}, {"drop_m": 0.86}),
    ("rock rundown", "rock_rundown.drainage_area", {"drainage_area_ha": 2.0},
     {"drainage_area_ha": 2.1}),
    ("log mat", "log_mat.bank_depth", {"bank_depth_m": 0.55}, {"bank_depth_m": 0.56}),
    ("log mat", "log_mat.width_over_depth", {"bank_width_m": 5.41}, {"bank_width_m": 5.39}),
    ("log mat", "log_mat.gradient", {"slope": 0.028}, {"slope": 0.0285}),
    ("wicker weir", "wicker_weir.width", {"bank_width_m": 3.0}, {"bank_width_m": 3.01}),
    ("wicker weir", "wicker_weir.gradient", {"slope": 0.028}, {"slope": 0.0285}),
    ("crescent spreader", "spreader.slope", {"slope": 0.028}, {"slope": 0.0285}),
    ("crescent spreader", "spreader.slope", {"slope": 0.007}, {"slope": 0.0065}),
    ("crescent spreader", "spreader.drainage_area", {"drainage_area_ha": 10.0},
     {"drainage_area_ha": 10.1}),
    ("rolling dip", "road_dip.grade", {"slope": 0.118}, {"slope": 0.1185}),
)  # fmt: skip


@pytest.mark.parametrize(("name", "rule", "inside", "outside"), EDGES)
def test_just_inside_and_just_outside(
    name: str, rule: str, inside: dict[str, Any], outside: dict[str, Any]
) -> None:
    # little water, so that only the limit in question decides
    little = {} if name == "rolling dip" else {"q_m3s": floods(0.02)}
    assert rule not in [check.rule for check in failing(name, **little, **inside)]
    assert rule in [check.rule for check in failing(name, **little, **outside)]


@pytest.mark.parametrize("name", IN_CHANNELS)
def test_a_larger_error_makes_the_limit_stricter(name: str) -> None:
    assert failing(name, slope=0.025, slope_error=0.05)
    assert failing(name, depth_error_m=1.5)


@pytest.mark.parametrize("name", NAMES)
def test_an_incomplete_area_is_refused(name: str) -> None:
    (check,) = failing(name, area_complete=False)
    assert check.rule == AREA_RULE
    assert "complete the DEM" in check.why_not


@pytest.mark.parametrize("name", NAMES)
def test_only_its_own_purpose(name: str) -> None:
    kind = kind_of(name)
    for purpose in PURPOSES:
        spot = FITTING[name](purpose=purpose, drop_m=0.5)
        assert (not kind.why_not(spot)) == (purpose in kind.purposes)


@pytest.mark.parametrize("name", NAMES)
def test_what_the_ranch_lacks_is_named(name: str) -> None:
    needed = kind_of(name).materials_needed
    found = failing(name, stock=Stock(have=frozenset()))
    if needed:
        assert [c.why_not for c in found] == [
            f"A {name} needs {next(iter(needed))}, which the ranch does not have."
        ]
    else:
        assert found == []


@pytest.mark.parametrize("name", IN_CHANNELS)
def test_a_width_that_is_not_known_fails_and_nothing_breaks(name: str) -> None:
    unknown = {"bank_width_m": math.nan, "bankfull_width_m": math.nan, "bed_width_m": math.nan}
    assert "hand_work.channel_width" in [c.rule for c in failing(name, **unknown)]


@pytest.mark.parametrize("name", [n for n in IN_CHANNELS if n != "log mat"])
def test_banks_that_do_not_show_are_measured_on_site(name: str) -> None:
    changes: dict[str, Any] = {
        "bank_width_m": math.nan,
        "bank_depth_m": math.nan,
        "depth_error_m": 0.0,
    }
    if kind_of(name).control == "grade":
        # what passes over a crest may leave them, unless it spreads in a swale
        (check,) = failing(name, **changes)
        assert "do not show the banks" in check.why_not
        assert "measure their height on site" in check.why_not
        changes["setting"] = "swale"
    assert failing(name, **changes) == []
    if name != "crescent spreader":
        spot, kind = FITTING[name](**changes), kind_of(name)
        assert any("do not show the banks" in s for s in kind.cautions(spot, kind.size(spot)))


def test_a_log_mat_needs_banks_that_were_measured() -> None:
    assert failing("log mat", bank_width_m=math.nan, bank_depth_m=math.nan)


@pytest.mark.parametrize("name", ["one-rock dam", "wicker weir"])
def test_channel_structures_keep_off_a_fan(name: str) -> None:
    (check,) = failing(name, setting="fan")
    assert "spread it instead" in check.why_not


def test_a_spreader_needs_open_ground() -> None:
    (check,) = failing("crescent spreader", opens=False)
    assert check.why_not.startswith("Banks hold the water together")


def test_a_pair_may_stand_in_a_deeper_channel() -> None:
    deep = {"bank_depth_m": 1.5}
    assert failing("one-rock dam", **deep)
    assert failing("one-rock dam", needed_height_m=0.08, **deep) == []


def test_a_strong_flow_is_for_stone_that_nobody_lifts() -> None:
    strong = {"q_m3s": floods(30.0), "slope": 0.03}
    found = {c.rule: c.why_not for c in failing("rock bowl", **strong)}
    assert found["hand_work.lift"].startswith("The flow is too strong for stone that people")


def test_a_flow_that_outgrows_the_height_is_refused() -> None:
    """Decision: by Shields 0.047 stone passes a third of the depth above about 2 to 2.5 %."""
    wide = CrossSection.trapezoid(6.0, side=1.0, depth_m=1.0)
    base = {"section": wide, "height_limit_m": 0.15, "bank_width_m": 8.0, "bed_width_m": 6.0}
    # the design flow is as deep as bankfull, 0.45 m; the larger rule is the pull on the bed
    for slope, fits in ((0.019, True), (0.023, False)):
        q = 4.94 * math.sqrt(slope / 0.02)
        found = [c.rule for c in failing("one-rock dam", slope=slope, q_m3s=floods(q), **base)]
        depth_m = _depth(wide, q, slope)
        assert depth_m == pytest.approx(0.45, abs=0.005)
        assert ("stone.safety" not in found) == fits


def _depth(section: CrossSection, q: float, slope: float) -> float:
    return normal_flow(section, q, slope=slope, roughness=0.045).depth_m


def test_brush_stands_only_a_weak_pull() -> None:
    # 48 Pa on the deepest part at 2 %: 0.245 m of water, between these two flows
    assert failing("wicker weir", q_m3s=floods(0.579)) == []
    (check,) = failing("wicker weir", q_m3s=floods(0.620))
    assert check.rule == "wicker_weir.shear"


@pytest.mark.parametrize("name", ["log mat", "log drop"])
def test_logs_that_would_take_too_much_ballast_are_refused(name: str) -> None:
    logs = frozenset({"logs"})
    # in a swale, where such a flow may leave the banks
    big = {"q_m3s": floods(40.0), "setting": "swale"}
    # such a flow also shoots over the steps of a log drop, and its bags do not stay
    falls = {"log_drop.tread", "logs.bag_stone"} if name == "log drop" else set()
    rules = {check.rule for check in failing(name, **big, stock=Stock(have=logs))}
    assert rules == {"logs.ballast"} | falls
    # a tested hold of posts counts
    held = Stock(have=logs, anchor_n_per_post=20_000.0)
    assert {check.rule for check in failing(name, **big, stock=held)} == falls


@pytest.mark.parametrize("name", IN_CHANNELS)
def test_without_a_flow_it_fits_and_says_that_nothing_is_checked(name: str) -> None:
    spot, kind = FITTING[name](q_m3s=UNKNOWN), kind_of(name)
    assert kind.fits(spot)
    size = kind.size(spot)
    assert any("No flow is known here" in s for s in kind.cautions(spot, size))
    assert any("nothing is checked" in note for note in size.notes)
    if size.stone is not None:
        assert size.stone.basis == "common practice"
        assert "not checked: no flow" in size.stone.method
        assert "Stone not checked: no flow." in kind.cautions(spot, size)


@pytest.mark.parametrize("name", NAMES)
def test_every_check_names_its_source(name: str) -> None:
    for check in kind_of(name).checks(FITTING[name]()):
        assert check.asks
        assert check.found
        assert check.source
        assert check.basis in ("published", "common practice", "from memory")
        assert check.rule in (*RULES.limits, AREA_RULE, STOCK_RULE, "")


def test_a_value_within_its_error_of_the_limit_is_told_apart() -> None:
    limit = RULES["hand_work.drop"]
    words: dict[str, Any] = {"what": "the drop", "so": "that hands should build"}
    far = at_most(limit, 1.5, error=0.1, **words)
    near = at_most(limit, 1.15, error=0.1, **words)
    assert far.why_not == "The drop, 1.5 m, is above the 1.2 m that hands should build."
    assert "may be above" in near.why_not
    assert near.why_not.endswith("measure it first.")
    assert at_most(limit, 1.1, error=0.1, **words).passed
    assert at_least(limit, 1.0, error=0.1, **words).passed
    assert not at_least(limit, 1.0, error=0.11, **words).passed
    assert at_most(limit, math.nan, **words).why_not.endswith("measure it on site.")
    assert at_most(limit, math.nan, unknown_passes=True, **words).passed


def test_the_engineer_takes_any_place() -> None:
    engineer = TYPES["engineer"]
    assert engineer.control == "refer"
    for name in NAMES:
        spot = FITTING[name](area_complete=False, slope=0.5)
        assert engineer.fits(spot)
        assert engineer.suits(spot) == 0
        assert engineer.build_steps(spot, engineer.size(spot))
