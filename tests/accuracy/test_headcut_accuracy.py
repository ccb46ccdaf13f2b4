"""Headcuts on generated ranches that were not used to settle the weights."""

from __future__ import annotations

import numpy as np
import pytest

from sample_dem import naive
from tests.accuracy.scoring import Score, match, pooled, score_ranch
from tests.ranches import kept_ranch

# The weights were fitted on ranches with seeds up to 310, other made grounds, and real marks.
# These ten were not looked at.
SEEDS = range(401, 411)


@pytest.fixture(scope="module")
def at_5_cm() -> Score:
    return pooled(score_ranch(seed) for seed in SEEDS)


# Round figures that a planner needs, not the results, which lie well inside ("Measured" in
# RESULTS.md: 0.996 and 0.941, 0.85 m, 3.7 %; at twice the noise 0.963 and 0.916).
@pytest.mark.slow
def test_enough_heads_are_found_and_few_are_false(at_5_cm: Score) -> None:
    print(at_5_cm.line())
    assert at_5_cm.found + at_5_cm.missed >= 200
    assert at_5_cm.recall >= 0.95
    assert at_5_cm.precision >= 0.90


@pytest.mark.slow
def test_place_and_height_are_right(at_5_cm: Score) -> None:
    assert np.median(at_5_cm.position_m) <= 2.0
    assert np.median(np.abs(at_5_cm.height_error)) <= 0.15


@pytest.mark.slow
def test_twice_the_noise_and_correlated_still_finds_most() -> None:
    total = pooled(score_ranch(s, noise_m=0.10, noise_correlation_m=3.0) for s in (401, 402, 403))
    print(total.line())
    assert total.recall >= 0.80
    assert total.precision >= 0.80


@pytest.mark.slow
def test_a_naive_drop_detector_fails_the_precision_asked() -> None:
    ranch = kept_ranch(401)
    right, wrong, missed, asked = naive.score(naive.naive_heads(ranch.elevation, 1.0), ranch)
    print(f"naive: {right} of {asked} found, {wrong} false, {missed} missed")
    assert right / (right + wrong) < 0.90


def test_matching_is_one_to_one() -> None:
    truth = np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 0.0]])
    height = np.array([1.0, 1.0, 0.5])
    found = np.array([[1.0, 0.0], [2.0, 0.0], [21.0, 0.0], [40.0, 1.0], [60.0, 0.0]])
    score = match(found, np.full(5, 1.1), truth, height)
    assert (score.found, score.missed, score.false, score.neutral) == (2, 0, 2, 1)
    np.testing.assert_allclose(score.height_error, 0.1)
