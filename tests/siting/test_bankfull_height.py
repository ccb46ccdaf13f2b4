"""Bank top and bankfull kept apart, and how high a grade control may be."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from siting.channels.bankfull import WidthDepth, height_limit, settle_bankfull
from siting.floods.bankfull_curves import bankfull_geometry
from siting.hydraulics.bed_size import bed_width_m, manning_depth_m
from siting.values.rules import load_rules

RULES = load_rules()


def size(area=30.0, slope=0.02, width=8.0, depth=1.5, q2=1.5):
    values = np.broadcast_arrays(*(np.atleast_1d(v) for v in (area, slope, width, depth, q2)))
    area, slope, width, depth, q2 = (v.astype(float) for v in values)
    bed = bed_width_m(width, depth, bankfull_geometry(area).width_m)
    flow = manning_depth_m(q2, bed, slope, roughness=RULES.value("channel.roughness"))
    unknown = np.full(area.shape, np.nan)
    bankfull = settle_bankfull(
        drainage_area_ha=area,
        banks=WidthDepth(width, depth),
        bench=WidthDepth(unknown, unknown),
        flow=WidthDepth(bed + 2 * np.nan_to_num(flow), flow),
        rules=RULES,
    )
    limit = height_limit(bankfull, RULES)
    return SimpleNamespace(
        bankfull_depth_m=bankfull.depth_m,
        bank_depth_m=depth,
        bed_width_m=bed,
        height_m=limit.height_m,
        measure_first=limit.measure_first,
        why=limit.why,
    )


def test_manning_depth_by_hand() -> None:
    """d = (Q n / (w s^0.5))^0.6: 2 m3/s, n 0.045, 4 m wide, 1 % gives 0.409 m."""
    depth = manning_depth_m(np.array([2.0]), np.array([4.0]), np.array([0.01]), roughness=0.045)
    assert depth[0] == pytest.approx((2 * 0.045 / (4 * 0.1)) ** 0.6)
    assert depth[0] == pytest.approx(0.4087, abs=0.001)
    q = depth[0] * 4 / 0.045 * depth[0] ** (2 / 3) * 0.1
    assert q == pytest.approx(2.0)


def test_never_above_a_third_of_bankfull_but_for_the_smallest() -> None:
    rng = np.random.default_rng(8)
    n = 5000
    s = size(
        area=10 ** rng.uniform(-1, 3, n),
        slope=rng.uniform(0.001, 0.06, n),
        width=np.where(rng.random(n) < 0.3, np.nan, rng.uniform(1, 14, n)),
        depth=rng.uniform(0.2, 3.0, n),
        q2=np.where(rng.random(n) < 0.3, np.nan, 10 ** rng.uniform(-3, 1.5, n)),
    )
    none = s.height_m == 0
    assert (none | ((s.height_m >= 0.10 - 1e-9) & (s.height_m <= 0.30 + 1e-9))).all()
    assert (s.bankfull_depth_m[none] / 3 < 0.10).all()
    assert 0.1 < none.mean() < 0.9
    # the smallest where nothing higher is allowed before bankfull is measured
    assert all("no higher than 0.10 m, and measure" in w for w in s.why[none])
    assert s.height_m[s.measure_first & ~none] == pytest.approx(0.10)
    higher = s.height_m > 0.10 + 1e-9
    assert higher.any()
    assert (s.height_m[higher] <= s.bankfull_depth_m[higher] / 3 + 1e-9).all()
    assert not (higher & s.measure_first).any()
    assert all((w is None) == (not m) for w, m in zip(s.why, s.measure_first, strict=True))


def test_bank_height_does_not_raise_a_structure() -> None:
    """The same flow in a gully with higher banks gets no higher structure."""
    low, high = size(depth=0.9, width=8.0), size(depth=2.4, width=11.0)
    assert low.height_m == high.height_m
    assert high.bank_depth_m[0] == 2.4
    assert high.bankfull_depth_m[0] < 0.6


def test_bankfull_is_not_deeper_than_the_bank() -> None:
    s = size(depth=0.25, q2=6.0)
    assert s.bankfull_depth_m[0] <= 0.25


def test_a_curve_far_below_its_smallest_area_sets_no_height() -> None:
    """The national curve was fitted from 0.2 km2 (20 ha): below half of that it sets no height."""
    s = size(area=5.0, q2=np.nan)
    assert s.measure_first[0]
    assert s.height_m[0] == 0.10
    assert "not known" in s.why[0]
    # in reach of the curve its depth counts
    known = size(area=200.0, q2=np.nan)
    curve = float(bankfull_geometry([200.0]).depth_m[0])
    assert not known.measure_first[0]
    assert known.bankfull_depth_m[0] == pytest.approx(curve)
    assert known.height_m[0] == pytest.approx(np.floor(curve / 3 / 0.05) * 0.05)


def test_estimates_that_differ_more_than_twofold_call_for_a_measure() -> None:
    s = size(area=200.0, q2=0.1)
    assert s.measure_first[0]
    assert "differ" in s.why[0]
    assert s.height_m[0] == 0.10


def test_a_third_below_the_smallest_allows_nothing_by_itself_and_says_measure() -> None:
    s = size(area=2.0, q2=0.05)
    assert s.bankfull_depth_m[0] / 3 < 0.10
    assert s.height_m[0] == 0
    assert "no higher than 0.10 m, and measure bankfull on site" in s.why[0]


def test_valley_wide_banks_do_not_make_a_valley_wide_bed() -> None:
    curve = float(bankfull_geometry([30.0]).width_m[0])
    assert size(width=60.0, depth=4.0).bed_width_m[0] == pytest.approx(4 * curve)
    assert size(width=6.0, depth=1.0).bed_width_m[0] == pytest.approx(4.0)
