"""Bankfull from three estimates, and how high a grade control may be."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.bankfull import Bankfull, WidthDepth, height_limit, settle_bankfull
from siting.floods.bankfull_curves import bankfull_geometry
from siting.values.rules import load_rules

RULES = load_rules()
NONE = np.nan


def settled(area=200.0, width=8.0, depth=1.5, bench=NONE, flow=NONE) -> Bankfull:
    values = np.broadcast_arrays(*(np.atleast_1d(v) for v in (area, width, depth, bench, flow)))
    area, width, depth, bench, flow = (v.astype(float) for v in values)
    return settle_bankfull(
        drainage_area_ha=area,
        banks=WidthDepth(width, depth),
        bench=WidthDepth(5.0 * bench, bench),
        flow=WidthDepth(10.0 * flow, flow),
        rules=RULES,
    )


CURVE = bankfull_geometry([200.0])


def test_the_lowest_estimate_rules() -> None:
    curve = float(CURVE.depth_m[0])
    b = settled(bench=[0.9 * curve, 1.5 * curve, NONE], flow=[1.2 * curve, 0.8 * curve, NONE])
    assert list(b.source) == ["bench", "flow", "curve"]
    np.testing.assert_allclose(b.depth_m, [0.9 * curve, 0.8 * curve, curve])
    np.testing.assert_allclose(b.width_m, [4.5 * curve, 8.0 * curve, float(CURVE.width_m[0])])
    assert b.sure.all()


def test_more_than_twofold_apart_is_not_sure() -> None:
    curve = float(CURVE.depth_m[0])
    b = settled(bench=[0.6 * curve, 0.4 * curve, NONE], flow=[1.1 * curve, NONE, 2.1 * curve])
    assert list(b.sure) == [True, False, False]
    assert b.depth_m[1] == pytest.approx(0.4 * curve)
    limit = height_limit(b, RULES)
    assert list(limit.measure_first[1:]) == [True, True]
    np.testing.assert_allclose(limit.height_m[1:], 0.10)
    assert "differ more than twofold" in limit.why[1]


def test_with_nothing_known_there_is_no_bankfull_and_one_stone() -> None:
    b = settled(area=2.0)  # far below the areas of the curve
    assert np.isnan(b.depth_m[0])
    assert np.isnan(b.curve_m[0])
    assert b.source[0] == "none"
    assert not b.sure[0]
    limit = height_limit(b, RULES)
    assert limit.height_m[0] == pytest.approx(0.10)
    assert "not known" in limit.why[0]
    # a bench alone is enough
    assert settled(area=2.0, bench=0.5).source[0] == "bench"


def test_bankfull_never_passes_the_bank_top() -> None:
    b = settled(width=2.0, depth=0.15, flow=0.3)
    assert b.depth_m[0] == 0.15
    assert b.width_m[0] == 2.0


def test_height_is_a_third_in_steps_and_capped() -> None:
    b = settled(area=2.0, width=20.0, depth=3.0, bench=[0.29, 0.46, 0.62, 1.6])
    limit = height_limit(b, RULES)
    np.testing.assert_allclose(limit.height_m, [0.0, 0.15, 0.20, 0.30])
    assert list(limit.measure_first) == [True, False, False, False]
    assert "less than 0.10 m" in limit.why[0]
    assert limit.why[1] is None
    # the unfavourable end of a bench's error counts
    np.testing.assert_allclose(
        height_limit(b, RULES, bench_error_m=0.05).height_m, [0.0, 0.10, 0.15, 0.30]
    )
    # 0.10 m is a third of 0.30 m exactly
    exact = height_limit(settled(area=2.0, width=20.0, depth=3.0, bench=[0.30, 0.45]), RULES)
    np.testing.assert_allclose(exact.height_m, [0.10, 0.15])
    assert list(exact.why) == [None, None]


def test_never_above_a_third_of_the_lowest_estimate() -> None:
    rng = np.random.default_rng(4)
    n = 4000

    def some(values: np.ndarray) -> np.ndarray:
        return np.where(rng.random(n) < 0.4, np.nan, values)

    b = settled(
        area=10 ** rng.uniform(-1, 3, n),
        width=rng.uniform(2, 15, n),
        depth=rng.uniform(0.3, 3, n),
        bench=some(rng.uniform(0.15, 1.5, n)),
        flow=some(rng.uniform(0.02, 1.5, n)),
    )
    limit = height_limit(b, RULES)
    lowest = np.fmin(np.fmin(b.bench_m, b.flow_m), b.curve_m)
    # the smallest only where bankfull is not sure; else nothing above a third of it
    assert (limit.height_m[~b.sure] == 0.10).all()
    assert (limit.height_m[b.sure] <= lowest[b.sure] / 3 + 1e-6).all()
    assert (limit.height_m[b.sure] == 0).any()
    higher = limit.height_m > 0.10 + 1e-9
    assert 100 < higher.sum() < n
    assert (limit.height_m[higher] <= lowest[higher] / 3 + 1e-9).all()
    assert b.sure[higher].all()


def test_taking_some() -> None:
    b = settled(bench=[0.3, 0.4, 0.5])
    np.testing.assert_allclose(b.take(np.array([2, 0])).bench_m, [0.5, 0.3])
