"""More than the plain ranch: the ground holds what is told, and the plain one stays as it was."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from sample_dem.extras import Extras
from sample_dem.generator import NORTH_M, WEST_M, Ranch, make_ranch

SEEDS = (31, 34)
CELLS = 800


@pytest.fixture(scope="module", params=SEEDS)
def full(request: pytest.FixtureRequest) -> Ranch:
    return make_ranch(request.param, CELLS, CELLS, extras=Extras())


def _ground(ranch: Ranch, x: float, y: float) -> float:
    at = [[NORTH_M - y - 0.5], [x - WEST_M - 0.5]]
    return float(ndimage.map_coordinates(ranch.clean, at, order=1, mode="nearest")[0])


def test_details_tell_more_of_the_same_ground() -> None:
    plain, told = make_ranch(31, 620, 620), make_ranch(31, 620, 620, details=True)
    assert plain.elevation.tobytes() == told.elevation.tobytes()
    assert "gullies" not in plain.truth
    assert len(told.truth["gullies"]) >= 1
    first = {k: v for k, v in plain.truth["headcuts"][0].items() if k != "kind"}
    assert first.items() <= told.truth["headcuts"][0].items()
    assert plain.truth["channels"] == told.truth["channels"]


def test_the_same_seed_gives_the_same_full_ranch(full: Ranch) -> None:
    again = make_ranch(full.seed, CELLS, CELLS, extras=Extras())
    assert full.elevation.tobytes() == again.elevation.tobytes()
    assert full.truth == again.truth


def test_every_asked_kind_of_trap_and_reach_is_there() -> None:
    kinds: set[str] = set()
    reaches: set[str] = set()
    for seed in SEEDS:
        ranch = make_ranch(seed, CELLS, CELLS, extras=Extras())
        kinds |= {t["kind"] for t in ranch.truth["traps"]}
        reaches |= {r["setting"] for c in ranch.truth["channels"] for r in c["reaches"]}
    assert {
        "terrace", "diversion_bank", "ledge", "hollow", "trail", "road_ditch", "culvert_fill",
        "stock_pond_bank", "pond_outlet", "dugout", "gully_wall", "road_fill",
    } <= kinds  # fmt: skip
    assert {"meadow_creek", "widening", "arroyo", "headless_start"} <= reaches


def test_planned_heads_fall_as_told_over_the_length_told(full: Ranch) -> None:
    heads = [h for h in full.truth["headcuts"] if h["id"].startswith("H")]
    assert len(heads) >= 6
    lengths = []
    for head in heads:
        plan = full.plans[head["channel"]]
        metre = np.arange(plan.line.x.size)
        at = np.array([head["station_m"] + 1.2, head["station_m"] - head["drop_length_m"] - 1.2])
        at[1] -= 1.8 + 0.8 * head["height_m"] if head["plunge_pool_m"] > 0 else 0.0
        x, y = np.interp(at, metre, plan.line.x), np.interp(at, metre, plan.line.y)
        fall = _ground(full, WEST_M + x[0], NORTH_M - y[0]) - _ground(
            full, WEST_M + x[1], NORTH_M - y[1]
        )
        bed = plan.bed_at(float(at[0])) - plan.bed_at(float(at[1]))
        assert fall == pytest.approx(bed, abs=0.3), head["id"]
        assert head["fall_m"] == pytest.approx(
            head["height_m"], abs=0.08 * head["drop_length_m"] + 0.08
        )
        lengths.append(head["drop_length_m"])
    assert min(lengths) < 2
    assert max(lengths) > 3.4


def test_short_gullies_fall_as_told(full: Ranch) -> None:
    fingers = [h for h in full.truth["headcuts"] if h["id"].startswith("F")]
    assert len(fingers) >= 5
    assert sum(h["counted"] for h in fingers) >= 3
    for head in fingers:
        fall = _ground(full, head["x"], head["y"]) - _ground(full, head["foot_x"], head["foot_y"])
        assert fall == pytest.approx(head["height_m"], abs=0.2), head["id"]
        assert head["drop_length_m"] <= 9.0


def test_void_of_each_gully_is_the_sum_of_what_is_missing(full: Ranch) -> None:
    assert full.cut_m is not None
    assert full.gully is not None
    assert (full.cut_m >= 0).all()
    for told in full.truth["gullies"]:
        inside = full.gully == told["id"]
        assert told["area_m2"] == inside.sum()
        assert told["void_m3"] == pytest.approx(full.cut_m[inside].sum(), rel=1e-3)
        assert told["mean_depth_m"] <= told["max_depth_m"]
    held = full.cut_m[full.gully > 0].sum()
    assert held > 0.9 * full.cut_m.sum()


def test_counted_heads_belong_to_gullies(full: Ranch) -> None:
    known = {g["id"] for g in full.truth["gullies"]}
    heads = [h for h in full.truth["headcuts"] if h["counted"]]
    assert np.mean([h["gully"] in known for h in heads]) > 0.9
    assert {h["kind"] for h in heads} <= {"gully_head", "side_head", "step"}


def test_still_water_is_flat(full: Ranch) -> None:
    assert full.water is not None
    label, n = ndimage.label(full.water)
    assert n >= 1
    for k in range(1, n + 1):
        assert np.ptp(full.elevation[label == k]) < 1e-3
