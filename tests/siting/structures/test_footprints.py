"""Footprints are valid polygons, to scale, and do not overlap."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from siting.structures.outlines import area_m2
from siting.structures.structure_type import Part, Size
from tests.siting.structures.example_spots import FITTING, kind_of


def size_of(name: str, **changes: float) -> Size:
    return kind_of(name).size(FITTING[name](**changes))


def polygon(part: Part) -> Polygon:
    return Polygon(part.outline)


@pytest.mark.parametrize("name", FITTING)
@given(
    width=st.floats(0.8, 12.0), bed=st.floats(0.3, 1.0), drop=st.floats(0.3, 1.2),
    bankfull=st.floats(0.3, 8.0),
)  # fmt: skip
@settings(max_examples=25)
def test_valid_and_apart_at_any_size(
    name: str, width: float, bed: float, drop: float, bankfull: float
) -> None:
    changes = {"bank_width_m": width, "bed_width_m": bed * width, "bankfull_width_m": bankfull}
    parts = size_of(name, drop_m=drop, **changes).parts
    assert parts
    assert len({p.name for p in parts}) == len(parts)
    shapes = [polygon(p) for p in parts]
    for part, shape in zip(parts, shapes, strict=True):
        assert shape.is_valid, part
        assert shape.area > 0
        assert area_m2(part) == pytest.approx(shape.area)
    for a, b in itertools.combinations(shapes, 2):
        assert a.intersection(b).area < 0.01 * min(a.area, b.area) + 1e-9


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("one-rock dam", ("body", "left key", "right key")),
        ("log mat", ("body", "left wing", "right wing")),
        ("wicker weir", ("body", "left key", "right key")),
        ("crescent spreader", ("band",)),
    ],
)
def test_area_is_length_times_crest(name: str, parts: tuple[str, ...]) -> None:
    size = size_of(name)
    area = sum(polygon(p).area for p in size.parts if p.name in parts)
    assert area == pytest.approx(size.length_m * size.crest_m, rel=0.02)


def test_a_rolling_dip_covers_its_road() -> None:
    size = size_of("rolling dip")
    assert polygon(size.parts[0]).area == pytest.approx(size.length_m * size.crest_m)


def test_steps_and_apron_of_a_log_drop() -> None:
    size = size_of("log drop")
    run = size.length_m - size.dims["apron_m"]
    steps = sum(polygon(p).area for p in size.parts if p.name != "apron")
    assert steps == pytest.approx(run * size.crest_m)


def test_a_rundown_narrows_to_its_chute() -> None:
    size = size_of("rock rundown")
    face, apron = (polygon(p) for p in size.parts)
    foot = size.dims["chute_width_m"] + 2 * size.dims["edge_m"]
    assert face.area == pytest.approx(size.dims["face_m"] * (size.crest_m + foot) / 2)
    assert apron.area == pytest.approx(size.dims["apron_m"] * foot)
    assert face.bounds[2] == apron.bounds[0] == pytest.approx(0.0)
    assert apron.bounds[2] - face.bounds[0] == pytest.approx(size.length_m)


def test_a_bowl_lies_below_the_lip_and_ends_with_its_sill() -> None:
    size = size_of("rock bowl")
    wall, pool, sill = (polygon(p) for p in size.parts)
    assert [p.name for p in size.parts] == ["wall", "pool", "sill"]
    run = size.dims["wall_m"] + size.dims["pool_m"]
    assert wall.bounds[0] == pytest.approx(0.0)
    assert wall.bounds[2] == pytest.approx(run)
    assert sill.bounds[2] == pytest.approx(size.length_m)
    # wall and pool together are half an ellipse
    half_ellipse = 3.141593 / 4 * size.dims["width_m"] * run
    assert wall.area + pool.area == pytest.approx(half_ellipse, rel=0.01)
    # the channel is narrower where the sill stands than at the bank tops, which the wall joins
    sill_m = size.dims["sill_width_m"] + 2 * size.dims["key_m"]
    assert sill.bounds[3] - sill.bounds[1] == pytest.approx(sill_m)
    assert size.dims["sill_width_m"] < size.dims["width_m"]
    assert size.crest_m == pytest.approx(size.dims["width_m"] + 2 * size.dims["key_m"])


def test_the_tips_of_a_spreader_point_downhill() -> None:
    size = size_of("crescent spreader")
    corners = size.parts[0].outline
    tips = [along for along, across in corners if abs(abs(across) - size.crest_m / 2) < 1e-9]
    middle = [along for along, across in corners if abs(across) < 1e-9]
    assert min(tips) == pytest.approx(min(middle) + size.dims["bow_m"])
    across = polygon(size.parts[0]).bounds
    assert across[3] - across[1] == pytest.approx(size.crest_m)


def test_parts_lie_on_both_sides_of_the_middle() -> None:
    for name in ("one-rock dam", "log mat", "wicker weir", "crescent spreader", "log drop"):
        shapes = [polygon(p).bounds for p in size_of(name).parts]
        assert min(s[1] for s in shapes) == pytest.approx(-max(s[3] for s in shapes))
