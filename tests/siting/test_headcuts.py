"""Headcuts on small hand-made grounds: what is one and what is none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from siting.channels.headcuts import Headcuts, HeadcutSettings, find_headcuts
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

ROWS, COLS = 100, 200
SURE = 0.5

#: Metres up the valley (0 at the western edge, where water leaves) and across it.
UP, ACROSS = np.meshgrid(np.arange(COLS) + 0.5, np.arange(ROWS) - 50.0)


def valley(slope: float = 0.03) -> FloatArray:
    """Smooth valley that falls to the west, its bottom along row 50."""
    return 100.0 + slope * UP + 0.05 * np.abs(ACROSS)


def gully(
    z: FloatArray, depth: Callable[[FloatArray], FloatArray], half: float = 2.0
) -> FloatArray:
    """Cut a gully along the valley's bottom: depth by metres up, walls one cell wide."""
    bed = z[50][None, :] - depth(UP)
    return np.minimum(z, bed + 3.0 * np.maximum(np.abs(ACROSS) - half, 0.0))


def noise(seed: int, size_m: float = 0.05) -> FloatArray:
    return size_m * np.random.default_rng(seed).normal(size=(ROWS, COLS))


def search(z: FloatArray, *, cell_m: float = 1.0, **settings: float) -> Headcuts:
    raster = Raster.from_array(z, cell_m=cell_m)
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    area = default_channel_area_ha(cell_m)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area)
    chosen = HeadcutSettings(**settings) if settings else None
    return find_headcuts(raster, conditioned, counts, network, settings=chosen)


def sure(heads: Headcuts) -> Headcuts:
    return heads.take(heads.confidence >= SURE)


def step(at: float = 90.0, height: float = 1.0) -> Callable[[FloatArray], FloatArray]:
    """Depth below the valley's bottom: nothing above ``at``."""
    return lambda up: np.where(up < at, height, 0.0)


@pytest.mark.parametrize("height", [0.7, 1.2, 2.2])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_clean_step_is_found_at_its_place_with_its_height(height: float, seed: int) -> None:
    heads = sure(search(gully(valley(), step(90.0, height)) + noise(seed)))
    assert heads.size == 1
    assert heads.x_m[0] == pytest.approx(90.5, abs=2.0)
    assert heads.y_m[0] == pytest.approx(49.5, abs=2.0)
    assert heads.headcut_height_m[0] == pytest.approx(height, rel=0.15)
    assert heads.face_slope[0] > 0.3
    assert heads.incision_below_m[0] > heads.incision_above_m[0] + 0.4 * height
    # all land above the lip, less what the sides shed past it into the gully
    assert 0.6 * 110 * ROWS / 10_000 < heads.drainage_area_ha[0] <= 110 * ROWS / 10_000
    assert not heads.is_side[0]
    assert "drops" in heads.evidence[0]


def test_a_step_without_a_channel_below_it_is_one_with_a_wide_floor() -> None:
    heads = sure(search(gully(valley(), step(), half=4.0) + noise(3)))
    assert heads.size == 1
    assert heads.x_m[0] == pytest.approx(90.5, abs=2.0)


@pytest.mark.parametrize("depth", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("length", [3.0, 6.0])
def test_a_plunge_pool_does_not_change_the_height(depth: float, length: float) -> None:
    def deep(up: FloatArray) -> FloatArray:
        pool = np.sin(np.pi * np.clip((90.0 - up) / length, 0.0, 1.0))
        return step(90.0, 1.2)(up) + depth * pool

    heads = sure(search(gully(valley(), deep) + noise(4)))
    assert heads.size == 1
    assert heads.headcut_height_m[0] == pytest.approx(1.2, rel=0.15)
    assert heads.x_m[0] == pytest.approx(90.5, abs=2.0)


def test_nested_heads_ten_metres_apart_are_both_found() -> None:
    def twice(up: FloatArray) -> FloatArray:
        return step(90.0, 0.9)(up) + step(80.0, 1.1)(up)

    heads = sure(search(gully(valley(), twice) + noise(5)))
    assert heads.size == 2
    np.testing.assert_allclose(np.sort(heads.x_m), [80.5, 90.5], atol=2.0)
    high = heads.headcut_height_m[np.argsort(heads.x_m)]
    np.testing.assert_allclose(high, [1.1, 0.9], rtol=0.2)


def road(z: FloatArray) -> FloatArray:
    """A fill across the valley: 4 m wide on top, sides of 1 in 1.5, no culvert."""
    crest = z[50, 100] + 1.5
    return np.maximum(z, crest - np.maximum(np.abs(UP - 100.0) - 2.0, 0.0) / 1.5)


def pond(z: FloatArray) -> FloatArray:
    """A bank with level water behind it, higher than the valley's bottom below the bank."""
    level = z[50, 100] + 1.0
    bank = z[50, 100] + 1.8 - np.maximum(np.abs(UP - 100.0) - 1.5, 0.0) / 2.0
    water = np.where((UP > 100.0) & (UP < 150.0), level, -np.inf)
    return np.maximum(np.maximum(z, bank), water)


def steep(z: FloatArray) -> FloatArray:
    """A smooth reach of 15 % between flatter ones."""
    return z + 0.12 * np.clip(UP - 80.0, 0.0, 35.0)


def knickzone(z: FloatArray) -> FloatArray:
    """A fall of 1.5 m more over 20 m, gentle at both ends."""
    share = np.clip((UP - 80.0) / 20.0, 0.0, 1.0)
    return z + 1.5 * share * share * (3.0 - 2.0 * share)


def scarp(z: FloatArray) -> FloatArray:
    """A ramp of 20 % across the whole valley."""
    return z + np.clip(UP - 90.0, 0.0, 5.0) * 0.2


def jam(z: FloatArray) -> FloatArray:
    """A bump of half a metre, a metre and a half long, across the bed."""
    return z + 0.5 * (np.abs(UP - 90.0) < 0.8) * (np.abs(ACROSS) < 4.0)


def same(z: FloatArray) -> FloatArray:
    return z


@pytest.mark.parametrize("seed", [6, 7, 8])
@pytest.mark.parametrize("make", [road, pond, steep, knickzone, scarp, jam, same])
def test_what_is_no_headcut_is_not_taken_for_one(
    make: Callable[[FloatArray], FloatArray], seed: int
) -> None:
    heads = search(make(valley(0.04)) + noise(seed))
    assert sure(heads).size == 0, list(
        zip(heads.x_m, heads.confidence, heads.evidence, strict=True)
    )


def beside(retreat: float) -> FloatArray:
    """A gully along the whole valley and a swale from the north, whose notch goes back so far."""
    z = gully(valley(), lambda up: np.full_like(up, 1.5))
    from_wall = -ACROSS - 2.5
    # a wide hollow that gathers the northern side's water at 100 m
    z = z + np.where(from_wall > 0, 0.10 * np.abs(UP - 100.0), 0.0)
    bed = z[50, 100] + 0.05 * np.maximum(from_wall, 0.0)
    notch = bed + 3.0 * np.maximum(np.abs(UP - 100.0) - 1.5, 0.0)
    return np.where((from_wall > 0) & (from_wall < retreat), np.minimum(z, notch), z)


@pytest.mark.parametrize("seed", [9, 10])
def test_a_path_over_a_gullys_side_is_no_headcut(seed: int) -> None:
    assert sure(search(beside(0.0) + noise(seed, 0.03))).size == 0


@pytest.mark.parametrize("seed", [9, 10])
def test_a_side_head_is_reported_once(seed: int) -> None:
    heads = sure(search(beside(12.0) + noise(seed, 0.03)))
    assert heads.size == 1
    assert heads.is_side[0]
    assert heads.x_m[0] == pytest.approx(100.5, abs=2.5)
    assert heads.y_m[0] == pytest.approx(49.5 + 2.5 + 12.0, abs=2.5)


TURNS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "east-west": np.fliplr,
    "north-south": np.flipud,
    "quarter": np.rot90,
    "transposed": np.transpose,
}


@pytest.mark.parametrize("turn", TURNS)
def test_turned_ground_gives_the_same_heads(turn: str) -> None:
    z = gully(valley(), lambda up: step(60.0, 0.9)(up) + step(120.0, 1.3)(up)) + noise(11)
    turned = TURNS[turn]
    before, after = sure(search(z)), sure(search(turned(z)))
    assert before.size == after.size == 2
    number = np.arange(z.size).reshape(z.shape).astype(np.float64)
    moved = turned(number).reshape(-1)[after.cell].astype(np.int64)
    one, two = np.sort(before.cell), np.sort(moved)
    for a, b in zip(one, two, strict=True):
        (r1, c1), (r2, c2) = divmod(int(a), COLS), divmod(int(b), COLS)
        assert np.hypot(r1 - r2, c1 - c2) <= 2.0
    np.testing.assert_allclose(
        np.sort(before.headcut_height_m), np.sort(after.headcut_height_m), rtol=0.12
    )


def test_coarse_cells_show_none() -> None:
    z = gully(valley(), step(90.0, 2.0))
    assert search(z).size >= 1
    assert search(z, cell_m=10.0).size == 0


def test_heads_are_sorted_by_reach_and_station() -> None:
    z = gully(valley(), lambda up: step(60.0, 0.9)(up) + step(120.0, 1.3)(up)) + noise(12)
    heads = search(z, least_confidence=0.01)
    assert heads.size >= 2
    assert (np.lexsort((heads.station_m, heads.reach)) == np.arange(heads.size)).all()
    found = sure(heads)
    assert (found.reach >= 0).all()
    # the way of cells winds over the gully's floor, so a station is more than metres up the valley
    assert (np.diff(found.x_m) > 0).all()
    assert ((found.station_m > 0.95 * found.x_m) & (found.station_m < 1.5 * found.x_m)).all()


def test_fewer_are_reported_when_more_is_asked() -> None:
    z = gully(valley(), lambda up: step(60.0, 0.9)(up) + step(120.0, 1.6)(up)) + noise(13)
    assert sure(search(z)).size == 2
    only = sure(search(z, least_height_m=1.3))
    assert only.size == 1
    assert only.x_m[0] == pytest.approx(120.5, abs=2.0)


@pytest.mark.parametrize("name", ["walk_area_ha", "least_height_m", "apart_m", "largest_cell_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan")])
def test_settings_must_be_above_nothing(name: str, value: float) -> None:
    with pytest.raises(ParameterError, match=name):
        HeadcutSettings(**{name: value})


def test_heights_in_whole_metres_show_no_sure_head() -> None:
    z = np.round(gully(valley(), step(90.0, 4.0)))
    heads = search(z)
    assert not sure(heads).size
    assert (heads.headcut_height_m >= 3.0).all()
    assert sure(search(gully(valley(), step(90.0, 4.0)))).size == 1


def test_a_head_at_the_end_of_known_ground_is_a_place_to_look_at() -> None:
    z = gully(valley(), step(90.0, 1.2)) + noise(5)
    assert sure(search(z)).size == 1
    z[40:60, 93:] = np.nan
    heads = search(z)
    assert not sure(heads).size
