"""Invented grounds by name, and how finds on them are counted."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from affine import Affine

from tests.accuracy.ground_scoring import HeadCount, count_heads, match_gullies, pooled
from tests.accuracy.grounds import (
    FITTING,
    HELD_BACK,
    NAMES,
    SCORING,
    MadeGround,
    made_ground,
    survey_of,
)
from tests.accuracy.naive_on_grounds import score


def _head(x: float, y: float, counted: bool = True) -> dict[str, object]:
    return {"x": x, "y": y, "height_m": 1.0, "kind": "gully_head", "counted": counted}


def _flat() -> MadeGround:
    gully = np.zeros((60, 60), np.int32)
    gully[10:20, 10:20] = 1
    truth = {
        "headcuts": [_head(10, 50), _head(30, 30), _head(50, 10, counted=False)],
        "gullies": [{"id": 1, "area_m2": 100.0, "void_m3": 80.0}],
        "traps": [{"kind": "terrace", "x": 40.0, "y": 50.0}],
    }
    z = np.zeros((60, 60), np.float32)
    return MadeGround("flat", 0, z, Affine(1, 0, 0, 0, -1, 60), "EPSG:26913", truth, gully, z)


def test_heads_are_counted_one_to_one_and_what_does_not_count_is_left_out() -> None:
    found = np.array([[11.0, 50.0], [13.0, 50.0], [50.0, 12.0], [42.0, 50.0], [20.0, 5.0]])
    got = count_heads(found, _flat())
    assert (got.found, got.missed, got.doubles, got.aside) == (1, 1, 1, 1)
    assert got.wrong == Counter({"terrace": 1, "open ground": 1})
    assert got.recall == 0.5
    assert got.precision == 0.25
    assert got.position_m == (1.0,)
    nothing = count_heads(np.zeros((0, 2)), _flat())
    assert (nothing.found, nothing.missed, nothing.wrong.total()) == (0, 2, 0)
    both = pooled([got, nothing])
    assert (both.found, both.missed, both.wrong.total()) == (1, 3, 2)
    empty = count_heads(found, replace(_flat(), truth={"headcuts": [], "traps": []}))
    assert empty.wrong.total() == 5
    assert isinstance(empty, HeadCount)


def test_gullies_are_matched_by_the_ground_they_share() -> None:
    drawn = np.zeros((60, 60), np.int32)
    drawn[10:20, 12:20] = 4
    drawn[40:50, 40:50] = 5
    (one,) = match_gullies(drawn, {4: 70.0, 5: 9.0}, _flat())
    assert one.overlap == pytest.approx(0.8)
    assert one.void_m3 == 70.0
    assert one.planted_void_m3 == 80.0


def test_seeds_for_fitting_scoring_and_holding_back_share_none() -> None:
    seeds = [*FITTING, *SCORING, *HELD_BACK]
    assert len(set(seeds)) == len(seeds)
    assert {(s % 5) for s in SCORING} == set(range(5))
    assert survey_of(1101) == survey_of(1101)
    assert survey_of(1101) != survey_of(1102)


@pytest.mark.parametrize("name", ["ranch_full", "second", "terraces"])
def test_a_ground_comes_with_its_truth_and_the_same_from_the_disk(name: str) -> None:
    assert name in NAMES
    first, again = made_ground(name, 1102), made_ground(name, 1102)
    assert first.elevation.tobytes() == again.elevation.tobytes()
    assert first.truth == again.truth
    assert first.raster().grid.cell_m == 1.0
    rows, cols = first.elevation.shape
    assert first.gully.shape == first.cut_m.shape == (rows, cols)
    heads = first.heads()
    assert (len(heads) >= 15) == (name != "terraces")
    for x, y, height in heads:
        c, r = ~first.transform @ (x, y)
        assert 0 <= r < rows
        assert 0 <= c < cols
        assert height >= 0.6
    outlines = first.outlines()
    assert set(outlines) == {g["id"] for g in first.truth["gullies"]}
    for told in first.truth["gullies"]:
        assert outlines[told["id"]].area == pytest.approx(told["area_m2"])
    void = sum(g["void_m3"] for g in first.truth["gullies"])
    assert void == pytest.approx(first.cut_m[first.gully > 0].sum(), rel=1e-3)


def test_a_ground_without_lidar_has_cells_of_one_metre() -> None:
    with pytest.raises(ValueError, match="1 m"):
        made_ground("second", 1102, cell_m=2.0)


def test_a_coarser_survey_covers_the_same_land() -> None:
    fine, coarse = (made_ground("second_lidar", 1103, cell_m=c) for c in (1.0, 5.0))
    assert coarse.elevation.shape == (160, 160)
    assert coarse.truth == fine.truth
    assert coarse.cell_m == 5.0
    means = fine.elevation.reshape(160, 5, 160, 5).mean(axis=(1, 3))
    assert abs(np.median(coarse.elevation - means)) < 0.05


def test_neither_naive_detector_finds_most_heads_with_few_wrong() -> None:
    for detector in ("falls along paths", "slope steps in hollows"):
        got = score("second", detector, [1102])
        assert got.found + got.missed > 50
        assert min(got.recall, got.precision) < 0.7
    assert score("terraces", "falls along paths", [1102]).wrong.total() > 50
