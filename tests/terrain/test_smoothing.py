"""Smoothing along a line: against a plain version, and on lines with noise and outliers."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.channels.line_smoothing import LEAST_ERROR_M, smooth_line


def plain(d: np.ndarray, z: np.ndarray, half: int, fits: int = 4) -> np.ndarray:
    """The same with weighted least squares by a library."""
    n = d.size
    k = min(2 * half + 1, n)
    trust, bed = np.ones(n), np.empty(n)
    for _ in range(fits):
        for i in range(n):
            first = min(max(i - half, 0), n - k)
            own = slice(first, first + k)
            t = d[own] - d[i]
            reach = np.abs(t).max() * 1.01 + 1e-9
            w = (1 - (np.abs(t) / reach) ** 3) ** 3 * trust[own]
            bed[i] = np.polynomial.polynomial.polyfit(t, z[own], 1, w=np.sqrt(w))[0]
        left = np.abs(z - bed)
        far = max(6 * np.median(left), 1e-6)
        trust = np.maximum(np.clip(1 - (left / far) ** 2, 0, None) ** 2, 1e-3)
    return bed


@pytest.mark.parametrize("n", [5, 11, 60])
def test_agrees_with_the_plain_version(n: int) -> None:
    rng = np.random.default_rng(n)
    d = np.cumsum(0.5 + rng.random(n))
    z = -0.03 * d + 0.05 * rng.standard_normal(n)
    smooth, _ = smooth_line(d, z, np.zeros(n, np.int64), half=5)
    np.testing.assert_allclose(smooth, plain(d, z, 5), atol=1e-9)


def test_a_straight_line_stays() -> None:
    d = np.arange(30.0)
    smooth, error = smooth_line(d, 5 - 0.02 * d, np.zeros(30, np.int64), half=5)
    np.testing.assert_allclose(smooth, 5 - 0.02 * d, atol=1e-9)
    np.testing.assert_array_equal(error, LEAST_ERROR_M)


def test_outliers_lose_their_weight() -> None:
    d = np.arange(60.0)
    z = -0.02 * d + 0.005 * np.random.default_rng(0).standard_normal(60)
    z[[10, 25, 26, 45]] += 0.5
    smooth, _ = smooth_line(d, z, np.zeros(60, np.int64), half=5)
    assert np.abs(smooth + 0.02 * d).max() < 0.02


def test_pieces_do_not_touch_each_other() -> None:
    d = np.arange(40.0)
    z = np.where(d < 20, 8.0, 7.0) - 0.02 * d
    piece = (d >= 20).astype(np.int64)
    apart, _ = smooth_line(d, z, piece, half=5)
    np.testing.assert_allclose(apart, z, atol=1e-9)
    together, _ = smooth_line(d, z, 0 * piece, half=5)
    assert np.abs(together - z).max() > 0.2


def test_errors_grow_towards_the_ends_and_with_noise() -> None:
    d = np.arange(80.0)
    noise = np.random.default_rng(4).standard_normal(80)
    whole = np.zeros(80, np.int64)
    _, small = smooth_line(d, 0.03 * noise, whole, half=5)
    _, large = smooth_line(d, 0.06 * noise, whole, half=5)
    np.testing.assert_allclose(large, 2 * small)
    assert small[0] > 1.5 * small[40]


def test_short_pieces_stay_as_they_are() -> None:
    z = np.array([3.0, 1.0, 2.0, 5.0])
    smooth, _ = smooth_line(np.arange(4.0), z, np.array([0, 0, 1, 1]), half=5)
    np.testing.assert_array_equal(smooth, z)
