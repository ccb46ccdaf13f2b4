"""The invented ranch: the same each time, true to its own truth, and hard enough."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from sample_dem import checking, export, naive
from sample_dem.generator import NORTH_M, SAMPLE_SEED, WEST_M, Ranch, make_ranch

SEEDS = (21, 22)
SAMPLE = Path(__file__).parents[2] / "sample_dem"


@pytest.fixture(scope="module")
def ranches() -> dict[int, Ranch]:
    return {seed: make_ranch(seed, 900, 900) for seed in SEEDS}


def _lips(ranch: Ranch) -> np.ndarray:
    heads = ranch.truth["headcuts"]
    return np.array([(h["x"] - WEST_M, NORTH_M - h["y"]) for h in heads]).reshape(-1, 2)


def test_the_same_seed_gives_the_same_ranch_and_another_seed_another() -> None:
    one, again, other = make_ranch(5, 620, 640), make_ranch(5, 620, 640), make_ranch(6, 620, 640)
    assert one.elevation.shape == (620, 640)
    assert one.elevation.tobytes() == again.elevation.tobytes()
    assert one.truth == again.truth
    assert one.elevation.tobytes() != other.elevation.tobytes()


def test_elevations_are_read_only_finite_and_differ_from_clean_by_the_noise(
    ranches: dict[int, Ranch],
) -> None:
    for ranch in ranches.values():
        assert ranch.elevation.dtype == np.float32
        assert not ranch.elevation.flags.writeable
        assert np.isfinite(ranch.elevation).all()
        noise = ranch.elevation - ranch.clean
        assert np.median(np.abs(noise - np.median(noise))) * 1.4826 == pytest.approx(0.05, rel=0.15)


def test_correlated_noise_is_as_large_as_asked_and_alike_next_door() -> None:
    ranch = make_ranch(5, 620, 620, noise_m=0.10, noise_correlation_m=4.0)
    noise = (ranch.elevation - ranch.clean).astype(float)
    noise = np.where(noise > np.percentile(noise, 99), 0, noise)
    assert noise.std() == pytest.approx(0.10, rel=0.25)
    assert np.corrcoef(noise[:, 1:].ravel(), noise[:, :-1].ravel())[0, 1] > 0.6


def test_planted_drops_are_really_in_the_ground(ranches: dict[int, Ranch]) -> None:
    for ranch in ranches.values():
        heads = ranch.truth["headcuts"]
        assert len(heads) >= 8
        off = [abs(h["realised_height_m"] / h["height_m"] - 1) for h in heads]
        assert max(off) <= 0.12
        assert all(0.4 <= h["height_m"] <= 2.6 for h in heads)


def test_water_runs_over_every_lip_with_the_stated_drainage_area(ranches: dict[int, Ranch]) -> None:
    for ranch in ranches.values():
        flow = checking.route(ranch.clean, 1.0)
        cols = ranch.clean.shape[1]
        count = flow.count.reshape(ranch.clean.shape)
        for head, (x, y) in zip(ranch.truth["headcuts"], _lips(ranch), strict=True):
            near = count[int(y) - 2 : int(y) + 3, int(x) - 2 : int(x) + 3]
            assert near.max() / 1e4 >= 0.95 * head["drainage_area_ha"], (ranch.seed, head["id"])
            assert head["drainage_area_ha"] >= 0.3
            assert head["flow_path_miss_m"] <= 1.5
        assert cols == 900


def test_heads_are_far_enough_apart_to_be_told_from_each_other(ranches: dict[int, Ranch]) -> None:
    for ranch in ranches.values():
        lips = _lips(ranch)
        gap = np.hypot(lips[:, None, 0] - lips[:, 0], lips[:, None, 1] - lips[:, 1])
        assert (gap + 99 * np.eye(len(lips))).min() >= 11.9


def test_no_channel_holds_an_abrupt_drop_that_is_not_in_the_truth(
    ranches: dict[int, Ranch],
) -> None:
    for ranch in ranches.values():
        flow = checking.route(ranch.clean, 1.0)
        built = [ranch.truth[k] for k in ("road_fill", "stock_pond") if ranch.truth[k]]
        spots = np.array([(b["x"] - WEST_M, NORTH_M - b["y"]) for b in built]).reshape(-1, 2)
        assert checking.unrecorded(ranch.clean, flow, ranch.plans, _lips(ranch), spots) == []


def test_the_self_check_sees_a_head_that_the_truth_leaves_out(ranches: dict[int, Ranch]) -> None:
    ranch = ranches[SEEDS[0]]
    flow = checking.route(ranch.clean, 1.0)
    none = np.zeros((0, 2))
    assert len(checking.unrecorded(ranch.clean, flow, ranch.plans, none, none)) >= 5


def test_most_land_drains_inward_through_one_outlet(ranches: dict[int, Ranch]) -> None:
    for ranch in ranches.values():
        flow = checking.route(ranch.clean, 1.0)
        outlets = np.sort(flow.count[flow.rec < 0])[::-1]
        assert outlets[0] / ranch.clean.size > 0.7
        complete = [h["area_complete"] for h in ranch.truth["headcuts"]]
        assert np.mean(complete) > 0.6


def test_a_naive_drop_detector_falls_short_of_the_precision_asked(
    ranches: dict[int, Ranch],
) -> None:
    for ranch in ranches.values():
        right, wrong, _, _ = naive.score(naive.naive_heads(ranch.elevation, 1.0), ranch)
        assert right / (right + wrong) < 0.6


def test_the_committed_sample_is_what_the_generator_makes() -> None:
    ranch = make_ranch(SAMPLE_SEED)
    with rasterio.open(SAMPLE / "ranch_dem.tif") as dem:
        assert dem.crs == rasterio.crs.CRS.from_string(ranch.crs)
        assert dem.transform == ranch.transform
        kept = dem.read(1)
    # A last-bit difference of another machine's arithmetic may round to the next centimetre.
    assert np.abs(kept - ranch.elevation).max() <= 0.0151
    settings = {r["setting"] for c in ranch.truth["channels"] for r in c["reaches"]}
    assert {
        "incised",
        "widening_swale",
        "alluvial_fan",
        "smooth_chute",
        "gradual_knickzone",
    } <= settings
    assert ranch.truth["road_fill"]
    assert ranch.truth["stock_pond"]
    pairable = [h["pairable"] for h in ranch.truth["headcuts"]]
    assert True in pairable
    assert False in pairable
    assert any(h["height_m"] > 2.3 for h in ranch.truth["headcuts"])
    assert min(h["road_distance_m"] for h in ranch.truth["headcuts"]) < 25


def test_rainfall_table_grows_with_duration_and_return_period() -> None:
    lines = export.rainfall_csv().splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("by duration for ARI"))
    table = np.array(
        [
            [float(v) for v in line.split(":,")[1].split(",")]
            for line in lines[start + 1 : start + 20]
        ]
    )
    assert table.shape == (19, 10)
    assert (np.diff(table, axis=0) > 0).all()
    assert (np.diff(table, axis=1) > 0).all()
    assert "Invented" in next(line for line in lines if line.startswith("Location name"))
