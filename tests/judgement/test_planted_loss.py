"""What ranks are judged by, worked by hand on a channel with two heads."""

from __future__ import annotations

from typing import Any

import pytest

from tests.judgement.plan_saved import Unit, bought, reached, saved
from tests.judgement.planted_loss import PlantedLoss, planted_losses, whole_above_m


def channel(**changes: Any) -> dict[str, Any]:
    """A channel of 200 m, 1 m deep and 4 m wide up to 60 m, a swale 10 m wide above."""
    along = list(range(0, 205, 5))
    plan = {
        "channel": 0,
        "station_m": along,
        "depth_m": [1.0 if s <= 60 else 0.3 for s in along],
        "bank_width_m": [4.0 if s <= 60 else 10.0 for s in along],
        "bed_m": [100.0 + 0.02 * s for s in along],
    }
    return {**plan, **changes}


def head(at_m: float) -> dict[str, Any]:
    """A planted head with 5 ha above it."""
    return {
        "x": 0.0, "y": at_m, "channel": 0, "station_m": at_m, "drainage_area_ha": 5.0,
        "realised_height_m": 0.9,
    }  # fmt: skip


def test_the_whole_channel_above_ends_at_the_next_head() -> None:
    assert whole_above_m(channel(), 60.0, [60.0, 110.0]) == 50.0


def test_it_ends_where_the_channel_is_cut_already() -> None:
    deep = [0.3 if 60 < s < 120 else 1.0 for s in range(0, 205, 5)]
    assert whole_above_m(channel(depth_m=deep), 60.0, [60.0]) == 60.0


def test_it_ends_where_the_channel_ends() -> None:
    assert whole_above_m(channel(), 60.0, [60.0]) == 140.0


def test_a_loss_is_section_and_floor_times_length() -> None:
    (lost,) = planted_losses({"seed": 1, "headcuts": [head(60.0)], "channels": [channel()]})
    length = min(lost.retreat_m, 140.0)
    # 0.7 x 4 m x 1 m of soil a metre, 10 m of floor
    assert lost.soil_m3 == pytest.approx(2.8 * length)
    assert lost.swale_ha == pytest.approx(10.0 * length / 1e4)
    assert lost.slope_below == pytest.approx(0.02)
    # 0.9 m a year for 20 years, times an activity that lies within four deviations
    assert 18.0 / 31.2 < lost.retreat_m < 18.0 * 31.2


def test_a_lower_head_left_alone_halves_what_is_saved_above_it() -> None:
    lower = PlantedLoss(0, 0, 0, 60.0, 0.9, 5.0, 0.02, 50.0, 80.0, 100.0, 0.0)
    upper = PlantedLoss(0, 50, 0, 110.0, 0.9, 5.0, 0.02, 90.0, 20.0, 60.0, 0.0)
    unit = Unit("2", ((1, 0.8),), 1000.0, 1, True, True, 5.0, 0.9)
    base = Unit("1", ((0, 0.8),), 1000.0, 2, True, True, 5.0, 0.9)
    assert reached(1, (lower, upper), [1])
    assert saved([unit], (lower, upper)).soil_m3 == pytest.approx(0.5 * 0.8 * 60.0)
    assert saved([unit, base], (lower, upper)).soil_m3 == pytest.approx(0.8 * (60.0 + 100.0))


def test_money_takes_drops_in_order_while_it_lasts() -> None:
    dear = Unit("a", (), 900.0, 1, False, True, 9.0, 1.0)
    cheap = Unit("b", (), 300.0, 2, False, True, 1.0, 0.5)
    series = Unit("c", (), 100.0, 3, False, False, 20.0, 0.0)
    by_area = bought([cheap, dear, series], 1000.0, lambda u: -u.drainage_area_ha)
    assert [u.name for u in by_area] == ["a"]
