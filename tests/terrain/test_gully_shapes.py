"""Gullies on made-up ground: what is cut between edges, measured, and what is not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from terrain.channels.network import channel_network
from terrain.flow.conditioning import CarveLimits
from terrain.flow.engines import get_engine
from terrain.incision.gully_shapes import Gullies, find_gullies
from terrain.incision.height_noise import height_noise_m
from terrain.incision.incised_ground import IncisionLimits, find_incised
from terrain.values.raster import Raster

ROWS, COLS = 260, 200
SLOPE = 0.03


def found(z: np.ndarray) -> Gullies:
    raster = Raster.from_array(z)
    flow = get_engine("native").condition(raster, limits=CarveLimits()).flow
    counts = flow.accumulate()
    lines = channel_network(flow, counts, channel_area_ha=0.03)
    incised = find_incised(raster, lines)
    return find_gullies(raster, flow, counts, flow_lines=lines, incised=incised)


def middle(bends: float) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each cell from a line down the ground, and its row from the top."""
    rows, cols = np.indices((ROWS, COLS)).astype(float)
    return np.abs(cols - 100 - bends * np.sin(rows / 25)), rows


def ground(rng: np.random.Generator | None = None) -> np.ndarray:
    """A shallow trough that falls down the rows, smooth or with 3 cm of noise."""
    away, rows = middle(0.0)
    z = 60 - SLOPE * rows + 0.02 * away
    return z if rng is None else z + 0.03 * rng.standard_normal(z.shape)


def cut(bends: float = 6.0, *, floor: float = 4.0, depth: float = 1.5) -> np.ndarray:
    """How much a gully takes: 2 m of wall on both sides of its floor, a head at row 100."""
    away, rows = middle(bends)
    return np.where(rows >= 100, depth * np.clip((floor / 2 + 2 - away) / 2, 0, 1), 0.0)


@pytest.mark.parametrize("noisy", [False, True])
def test_a_gully_is_found_and_measured(*, noisy: bool) -> None:
    rng = np.random.default_rng(1) if noisy else None
    gone = cut()
    gullies = found(ground(rng) - gone)
    assert gullies.size == 1
    planted = gone > 0.15
    cells = shapely.points(*Raster.from_array(gone).grid.xy(*np.indices(gone.shape)))
    inside = shapely.contains(gullies.outline[0], cells)
    assert (inside & planted).sum() / (inside | planted).sum() > 0.8
    assert gullies.outline[0].is_valid
    assert gullies.void_m3[0] == pytest.approx(gone.sum(), rel=0.1)
    assert gullies.void_low_m3[0] < gone.sum() < gullies.void_high_m3[0]
    assert gullies.length_m[0] == pytest.approx(185, rel=0.1)  # of the bends, not of the rows
    assert gullies.mean_width_m[0] == pytest.approx(8, abs=1.5)
    assert gullies.greatest_depth_m[0] == pytest.approx(1.5, abs=0.3)
    assert not gullies.ditch[0]
    assert gullies.confidence[0] > 0.8


def test_a_long_straight_one_may_be_a_ditch() -> None:
    gullies = found(ground() - cut(bends=0.0))
    assert gullies.size == 1
    assert gullies.ditch[0]
    assert gullies.confidence[0] <= 0.3


def hollow(kind: str) -> np.ndarray:
    away, rows = middle(6.0)
    if kind == "plain":
        return ground()
    if kind == "valley":  # rises on beyond any reach
        return 60 - SLOPE * rows + 0.25 * away
    if kind == "swale":  # 1 m deep and 30 m wide, without walls
        return ground() - 1.0 * np.exp(-((away / 10) ** 2))
    if kind == "pit":
        z = ground()
        z[150, 100] -= 3
        return z
    if kind == "pond":
        r, c = np.indices((ROWS, COLS))
        return ground() - 2.0 * (np.hypot(r - 150, c - 100) < 9)
    raise AssertionError(kind)


@pytest.mark.parametrize("kind", ["plain", "valley", "swale", "pit", "pond"])
def test_what_is_no_gully(kind: str) -> None:
    assert found(hollow(kind)).size == 0


def test_noise_alone_makes_none() -> None:
    assert found(ground(np.random.default_rng(2)) * 1.0).size == 0


def test_a_raster_without_cut_ground_gives_empty_arrays() -> None:
    gullies = found(np.zeros((5, 5)))
    assert gullies.size == 0
    assert gullies.outline.shape == gullies.lowest_cell.shape == (0,)


@pytest.mark.parametrize("workers", ["1", "3"])
def test_it_does_not_matter_how_many_work(workers: str, monkeypatch: pytest.MonkeyPatch) -> None:
    z = ground(np.random.default_rng(3)) - cut()
    once = found(z)
    monkeypatch.setenv("GULLYWALK_WORKERS", workers)
    again = found(z)
    for name in ("area_m2", "void_m3", "void_low_m3", "length_m", "confidence", "lowest_cell"):
        np.testing.assert_array_equal(getattr(again, name), getattr(once, name))
    assert shapely.equals(again.outline, once.outline).all()


@pytest.mark.parametrize("noise_m", [0.0, 0.02, 0.1])
def test_noise_is_estimated_from_the_raster(noise_m: float) -> None:
    z = ground() + noise_m * np.random.default_rng(4).standard_normal((ROWS, COLS))
    assert height_noise_m(Raster.from_array(z)) == pytest.approx(noise_m, rel=0.1, abs=1e-4)


def test_wide_cells_do_not_make_valleys_of_gullies() -> None:
    limits = IncisionLimits()
    assert limits.reaches_m(1.0) == [4, 8, 16, 32, 64]
    assert limits.reaches_m(4.0) == [8, 16, 32, 64]
    assert limits.reaches_m(5.0) == [10, 20, 40]
    assert limits.widest_m(0.5) == limits.widest_m(4.0) == 64
