"""The second generator: the same each time, and its truth is what its surface shows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from tests.second_ground.ground import KINDS, NORTH_M, WEST_M, Ground, make_ground
from tests.second_ground.telling import APART_M, measure_drop
from tests.second_ground.wear import flood_order, gather

SIZE_M = 480


@pytest.fixture(scope="module", params=KINDS)
def land(request: pytest.FixtureRequest) -> Ground:
    return make_ground(31, request.param, size_m=SIZE_M)


def _heads(land: Ground) -> list[dict]:
    return [h for h in land.truth["headcuts"] if h["counted"]]


def _fine(land: Ground, x: float, y: float) -> float:
    at = [[(NORTH_M - y) / 0.5 - 0.5], [(x - WEST_M) / 0.5 - 0.5]]
    return float(ndimage.map_coordinates(land.fine, at, order=1, mode="nearest")[0])


def test_the_same_seed_gives_the_same_ground_and_another_seed_another() -> None:
    one, again, other = (make_ground(s, "swales", size_m=320) for s in (5, 5, 9))
    assert one.elevation.shape == (320, 320)
    assert one.elevation.tobytes() == again.elevation.tobytes()
    assert one.fine.tobytes() == again.fine.tobytes()
    assert one.truth == again.truth
    assert one.elevation.tobytes() != other.elevation.tobytes()


def test_arrays_are_read_only_finite_and_as_noisy_as_said(land: Ground) -> None:
    for array in (land.elevation, land.clean, land.fine, land.uncut, land.gully, land.water):
        assert not array.flags.writeable
        assert np.isfinite(array).all()
    off = (land.elevation - land.clean)[~land.water[::2, ::2]]
    assert off.std() == pytest.approx(0.05, rel=0.1)


def test_every_planned_head_has_the_height_that_its_surface_shows(land: Ground) -> None:
    heads = [h for h in land.truth["headcuts"] if h["line"] is not None]
    assert len(heads) >= 3
    for head in heads:
        fall = _fine(land, head["x"], head["y"]) - _fine(land, head["foot_x"], head["foot_y"])
        assert fall == pytest.approx(head["height_m"], abs=0.05 + 0.1 * head["height_m"])
        apart = np.hypot(head["x"] - head["foot_x"], head["y"] - head["foot_y"])
        assert apart <= head["drop_length_m"] + 0.3
        assert head["face_slope"] == pytest.approx(
            head["height_m"] / head["drop_length_m"], rel=0.01
        )


def test_heads_are_apart_and_lie_at_the_edge_of_a_gully_or_in_it(land: Ground) -> None:
    heads = land.truth["headcuts"]
    spots = np.array([(h["x"] - WEST_M, NORTH_M - h["y"]) for h in heads])
    gap = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    assert (gap + 99 * np.eye(len(heads))).min() >= APART_M - 0.1
    far = ndimage.distance_transform_edt(land.gully == 0)
    for head, (x, y) in zip(heads, spots, strict=True):
        assert far[int(y), int(x)] <= 5.0
        assert head["gully"] in {g["id"] for g in land.truth["gullies"]}


def test_void_of_each_gully_is_what_the_uncut_surface_has_more(land: Ground) -> None:
    gone = (land.uncut - land.clean).astype(float)
    assert len(land.truth["gullies"]) >= 1
    for told in land.truth["gullies"]:
        inside = land.gully == told["id"]
        assert told["area_m2"] == inside.sum()
        assert told["void_m3"] == pytest.approx(gone[inside].sum(), rel=1e-3)
        assert told["max_depth_m"] == pytest.approx(gone[inside].max(), abs=1e-2)
    outside = land.gully == 0
    assert gone[outside].sum() < 0.05 * gone.sum()


def test_counted_heads_lie_where_water_runs(land: Ground) -> None:
    edge = np.ones(land.clean.shape, bool)
    edge[1:-1, 1:-1] = False
    _, receiver, order = flood_order(land.clean.astype(np.float64), edge, 1e-5)
    area = gather(receiver, order, 1.0).reshape(land.clean.shape)
    wet = []
    for head in _heads(land):
        r, c = int(NORTH_M - head["foot_y"]), int(head["foot_x"] - WEST_M)
        wet.append(area[max(r - 3, 0) : r + 4, max(c - 3, 0) : c + 4].max() >= 300)
    assert all(wet)


def test_a_land_has_gully_heads_side_heads_and_traps(land: Ground) -> None:
    kinds = {h["kind"] for h in land.truth["headcuts"]}
    assert kinds <= {"gully_head", "side_head", "step"}
    assert "gully_head" in kinds or "side_head" in kinds
    assert len({t["kind"] for t in land.truth["traps"]}) >= 3


def test_some_heads_are_sharp_and_some_spread_over_metres() -> None:
    lengths = [
        h["drop_length_m"]
        for kind in ("dissected", "tableland")
        for h in _heads(make_ground(31, kind, size_m=SIZE_M))
    ]
    assert np.percentile(lengths, 15) < 2.5
    assert np.percentile(lengths, 85) > 4.0


def test_a_drop_is_measured_from_lip_to_foot() -> None:
    station = np.arange(0, 40, 0.25)
    level = 0.02 * station + np.clip((station - 20) / 4, 0, 1) * 2.0
    drop = measure_drop(station, level, 12, 30)
    assert drop is not None
    lip, foot, usual = drop
    assert lip == pytest.approx(24, abs=0.5)
    assert foot == pytest.approx(20, abs=0.5)
    assert usual == pytest.approx(0.02, abs=0.005)
