"""Structures from the side and in section: to scale, by the sizes that are told."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from siting.places.spot import Spot
from siting.structures.outlines import rectangle
from siting.structures.structure_type import Outline, Size, Symbol
from siting.structures.type_looks import (
    SIZE_WORDS,
    label_of,
    look_first_of,
    section_of,
    side_of,
    size_words_of,
    symbol_fault,
)
from terrain.values.plugins import PluginError
from tests.siting.structures.example_spots import (
    FITTING,
    floods,
    grade_spot,
    head_spot,
    kind_of,
)

BUILT = sorted(FITTING)


def of(name: str) -> tuple[Spot, Size]:
    spot = FITTING[name]()
    return spot, kind_of(name).size(spot)


def side(name: str) -> dict[str, Outline]:
    view = side_of(kind_of(name), *of(name))
    assert not view.as_box
    return {part.name: part for part in view.outlines}


def bounds(*parts: Outline) -> tuple[float, float, float, float]:
    """From and to along or across, lowest and highest."""
    x, height = np.array([corner for part in parts for corner in part.corners]).T
    return x.min(), x.max(), height.min(), height.max()


def area(part: Outline) -> float:
    return float(shapely.Polygon(part.corners).area)


@pytest.mark.parametrize("name", BUILT)
def test_every_type_gives_both_views_and_valid_outlines(name: str) -> None:
    spot, size = of(name)
    for view in (side_of(kind_of(name), spot, size), section_of(kind_of(name), spot, size)):
        assert view.outlines
        assert not view.as_box
        assert all(shapely.Polygon(part.corners).is_valid for part in view.outlines)


@pytest.mark.parametrize("name", BUILT)
def test_a_side_view_is_as_long_as_its_footprint(name: str) -> None:
    """All parts together; a dip is let out along the road on either side of it."""
    spot, size = of(name)
    seen = bounds(*side_of(kind_of(name), spot, size).outlines)
    along = [corner[0] for part in size.parts for corner in part.outline]
    if name == "crescent spreader":  # its tips lie downhill of what is seen in the middle
        assert seen[:2] == pytest.approx((0.0, size.length_m))
    elif name == "rolling dip":
        assert seen[0] == pytest.approx(min(along))
        assert seen[1] == pytest.approx(max(along) + size.dims["approach_m"])
    else:
        assert seen[:2] == pytest.approx((min(along), max(along)))


@pytest.mark.parametrize("name", BUILT)
def test_a_section_is_as_wide_as_it_is_built(name: str) -> None:
    spot, size = of(name)
    left, right, _, _ = bounds(*section_of(kind_of(name), spot, size).outlines)
    # The keys of a bowl are those of its sill, which are not seen.
    wide = size.dims["width_m"] if name == "rock bowl" else size.crest_m
    assert right - left == pytest.approx(wide)
    assert left == pytest.approx(-right)


def test_a_one_rock_dam_is_one_stone_thick_and_its_apron_lies_flush() -> None:
    _, size = of("one-rock dam")
    assert size.stone is not None
    parts = side("one-rock dam")
    thick, (_, end, low, high) = size.dims["thickness_m"], bounds(parts["body"])
    assert thick == pytest.approx(max(size.height_m, size.stone.d100_m))
    # one stone thick all along, and down its lower face to the bed
    assert area(parts["body"]) == pytest.approx(size.length_m * thick)
    assert (low, high) == pytest.approx((-thick, size.height_m))
    assert (end, 0.0) in [pytest.approx(corner) for corner in parts["body"].corners]
    assert size.dims["face_m"] == pytest.approx(5 * size.height_m)
    apron = bounds(parts["apron"])
    assert apron[3] == 0.0
    assert apron[1] - apron[0] == pytest.approx(size.dims["apron_m"])
    assert {part.level for part in parts.values()} == {"ground"}


@pytest.mark.parametrize("name", ["one-rock dam", "wicker weir"])
def test_a_crest_is_lowest_in_the_middle_and_keyed_in(name: str) -> None:
    spot, size = of(name)
    body, left, right = section_of(kind_of(name), spot, size).outlines
    tops = {x: height for x, height in body.corners if height > 0}
    half = size.dims["bed_width_m"] / 2
    assert tops[0.0] == pytest.approx(size.height_m)
    assert tops[half] == tops[-half] == pytest.approx(size.height_m + size.dims["crest_dip_m"])
    for key in (left, right):
        a, b, _, top = bounds(key)
        assert b - a == pytest.approx(size.dims["key_m"])
        assert top == pytest.approx(tops[half])


def test_pickets_are_driven_as_deep_as_they_are_long() -> None:
    _, size = of("wicker weir")
    parts = side("wicker weir")
    driven = -bounds(parts["picket"])[2]
    assert driven + size.height_m == pytest.approx(size.dims["picket_length_m"])
    # The apron holds the brush that is counted for it.
    assert area(parts["apron"]) == pytest.approx(size.dims["apron_m"] * size.height_m / 2)


def test_nothing_of_a_log_mat_stands_above_its_crest_and_its_logs_are_let_in() -> None:
    _, size = of("log mat")
    low, high = bounds(*side("log mat").values())[2:]
    assert (low, high) == pytest.approx((-size.dims["inset_m"], size.height_m))


def test_a_bowl_reaches_from_the_lip_to_its_sill() -> None:
    _, size = of("rock bowl")
    assert size.stone is not None
    parts, drop, dims = side("rock bowl"), size.height_m, size.dims
    floor = -drop + dims["sill_height_m"] - dims["pool_depth_m"]
    assert bounds(parts["wall"])[2:] == pytest.approx((floor - size.stone.d100_m, 0.0))
    assert bounds(parts["floor"])[3] == pytest.approx(floor)
    assert bounds(parts["sill"])[3] == pytest.approx(-drop + dims["sill_height_m"])
    assert {part.level for part in parts.values()} == {"site"}


def test_a_split_bowl_goes_down_in_two_walls_with_a_pool_below_each() -> None:
    spot = head_spot(q_m3s=floods(0.5), drop_m=1.0)
    size = kind_of("rock bowl").size(spot)
    assert size.dims["bowls_count"] == 2
    parts = {p.name: bounds(p) for p in side_of(kind_of("rock bowl"), spot, size).outlines}
    sill = size.dims["sill_height_m"]
    crest = -(size.height_m - sill) / 2
    # the upper bowl is dug back: its sill ends where the lip was, at the lip of the lower one
    assert parts["upper wall"][3] == pytest.approx(0.0)
    assert parts["upper sill"][1] == parts["wall"][0] == pytest.approx(0.0)
    assert parts["upper sill"][3] == parts["wall"][3] == pytest.approx(crest)
    assert parts["sill"][3] == pytest.approx(-size.height_m + sill)
    for name in ("", "upper "):
        pool = parts[f"{name}sill"][3] - parts[f"{name}floor"][3]
        assert pool == pytest.approx(size.dims["pool_depth_m"])
    assert parts["upper wall"][0] == pytest.approx(-size.length_m / 2)


def test_stone_of_a_rundown_is_as_much_as_is_counted() -> None:
    """Face and apron are as thick as their layer, upright."""
    _, size = of("rock rundown")
    parts = side("rock rundown")
    assert area(parts["face"]) == pytest.approx(size.dims["face_m"] * size.dims["layer_m"])
    assert area(parts["apron"]) == pytest.approx(size.dims["apron_m"] * size.dims["layer_m"])
    assert bounds(parts["face"])[3] == 0.0
    # laid back: the face ends where the foot of the drop was
    assert bounds(parts["face"])[:2] == pytest.approx((-size.dims["face_m"], 0.0))


def test_logs_go_down_in_steps_from_the_lip_to_the_foot() -> None:
    spot, size = of("log drop")
    view = side_of(kind_of("log drop"), spot, size).outlines
    logs = [bounds(part) for part in view if part.name == "log"]
    assert len(logs) == round(size.dims["steps_count"])
    tops = [high for *_, high in logs]
    assert tops == pytest.approx([-i * size.dims["step_m"] for i in range(len(logs))])
    # Filled up to the lip: no log stands free of the next by more than its own thickness.
    assert logs[-1][2] == pytest.approx(-size.height_m, abs=size.dims["log_diameter_m"])
    seen = section_of(kind_of("log drop"), spot, size).outlines
    assert [bounds(part)[3] for part in seen] == pytest.approx([size.height_m + t for t in tops])


def test_cut_and_rise_of_a_dip_are_equal() -> None:
    """The earth of the cut is all that the rise is made of."""
    parts = side("rolling dip")
    dims = of("rolling dip")[1].dims
    assert area(parts["cut"]) == pytest.approx(area(parts["rise"]))
    expected = 0.5 * dims["cut_m"] * (dims["approach_m"] + dims["reverse_length_m"] / 2)
    assert area(parts["cut"]) == pytest.approx(expected)


def test_nothing_is_drawn_where_nothing_is_built() -> None:
    kind = kind_of("engineer")
    spot = head_spot()
    assert side_of(kind, spot, kind.size(spot)).outlines == ()
    assert section_of(kind, spot, kind.size(spot)).outlines == ()


@pytest.mark.parametrize("name", BUILT)
def test_every_size_has_words_and_they_fit_their_line(name: str) -> None:
    _, size = of(name)
    for dim in ("height_m", "length_m", "crest_m", *size.dims):
        assert 0 < len(size_words_of(kind_of(name), dim)) <= 36, dim
    assert set(kind_of(name).size_words) <= {"height_m", "length_m", "crest_m", *size.dims}
    assert max(map(len, SIZE_WORDS.values())) <= 36


@pytest.mark.parametrize("name", [*sorted(FITTING), "engineer"])
def test_every_type_says_what_to_look_at_first(name: str) -> None:
    texts = look_first_of(kind_of(name))
    assert len(texts) >= 3
    assert all(text.endswith(".") for text in texts)


class Silent:
    """A type that follows the protocol without the base class, and says nothing of its looks."""

    name = "silent"
    control = "grade"


SIZE = Size(0.4, 2.0, 5.0, parts=(rectangle("body", (-0.5, 1.5), (-2.5, 2.5)),))


def test_a_type_without_views_is_drawn_as_the_box_of_its_footprint() -> None:
    kind: Any = Silent()
    view = side_of(kind, grade_spot(), SIZE)
    assert view.as_box
    assert bounds(*view.outlines) == pytest.approx((-0.5, 1.5, 0.0, 0.4))
    across = section_of(kind, grade_spot(), SIZE)
    assert across.as_box
    assert bounds(*across.outlines) == pytest.approx((-2.5, 2.5, 0.0, 0.4))
    # At a drop it hangs from the lip; without parts its length and crest must do.
    kind.control = "vertical"
    bare = replace(SIZE, parts=())
    assert bounds(*side_of(kind, head_spot(), bare).outlines) == pytest.approx((-1, 1, -0.4, 0))
    assert bounds(*section_of(kind, head_spot(), bare).outlines)[:2] == pytest.approx((-2.5, 2.5))
    assert side_of(kind, head_spot(), replace(SIZE, height_m=np.nan)).outlines == ()
    assert (label_of(kind), look_first_of(kind)) == ("silent", ())
    assert size_words_of(kind, "height_m") == "Height"
    assert size_words_of(kind, "bulge_m") == ""


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ((Outline("body", ((0, 0), (1, 0))),), "no outline of three known corners"),
        ((Outline("body", ((0, 0), (1, 0), (1, np.nan))),), "no outline of three known corners"),
        ((Outline("body", ((0, 0), (1, 0), (1, 1)), "moon"),), "count from 'moon'"),
        (("body",), "no attribute 'corners'"),
    ],
)
def test_what_is_no_outline_is_refused_and_the_type_named(given: Any, why: str) -> None:
    kind: Any = Silent()
    kind.side_view = lambda spot, size: given
    with pytest.raises(PluginError, match=f"'silent' failed: .*{why}"):
        side_of(kind, grade_spot(), SIZE)


def test_a_part_without_area_is_left_out() -> None:
    kind: Any = Silent()
    flat = Outline("apron", ((0, 0), (1, 0), (2, 0)))
    body = Outline("body", ((0, 0), (1, 0), (1, 1)))
    kind.side_view = lambda spot, size: (body, flat)
    assert side_of(kind, grade_spot(), SIZE).outlines == (body,)


@pytest.mark.parametrize(
    ("symbol", "why"),
    [
        (None, ""),
        (Symbol("Words", (((0, 0), (1, 0), (1, 1)),)), ""),
        (Symbol(" ", (((0, 0), (1, 0), (1, 1)),)), "no words"),
        (Symbol("Words", ()), "three corners"),
        (Symbol("Words", (((0, 0), (1, 0)),)), "three corners"),
        (Symbol("Words", (((0, 0), (1, 0), (1, 4)),)), "reaches beyond"),
        (Symbol("Words", (((0, 0), (1, 0), (1, np.nan)),)), "reaches beyond"),
    ],
)
def test_shapes_that_cannot_be_drawn_are_told(symbol: Symbol | None, why: str) -> None:
    fault = symbol_fault(symbol)
    assert (why in fault) if why else fault == ""
