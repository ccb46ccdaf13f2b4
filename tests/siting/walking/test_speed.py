"""The walking speed against the figures of Tobler's function."""

from __future__ import annotations

import numpy as np
import pytest

from siting.walking.speed import EASIEST_SLOPE, OFF_PATH, walking_speed_mps


def kmh(slope: float, *, off_path: bool = False) -> float:
    return float(walking_speed_mps(slope, off_path=off_path)) * 3.6


def test_the_published_figures() -> None:
    """Tobler 1993, NCGIA Technical Report 93-1: about 5 km/h on the level, 6 at a fall of 5 %."""
    assert kmh(0.0) == pytest.approx(5.036, abs=0.001)
    assert kmh(-0.05) == pytest.approx(6.0)
    # Slope angles of 10 and 30 degrees, from a table of the function (from memory).
    assert kmh(np.tan(np.radians(10))) == pytest.approx(2.72, abs=0.01)
    assert kmh(np.tan(np.radians(-30))) == pytest.approx(0.95, abs=0.01)


def test_the_fastest_slope_is_a_slight_fall() -> None:
    slopes = np.linspace(-1, 1, 2001)
    assert slopes[walking_speed_mps(slopes).argmax()] == pytest.approx(EASIEST_SLOPE)


def test_off_a_path_it_is_six_tenths() -> None:
    for slope in (-0.4, 0.0, 0.3):
        assert kmh(slope, off_path=True) == pytest.approx(OFF_PATH * kmh(slope))
    assert OFF_PATH == 0.6


def test_uphill_is_slower_than_downhill() -> None:
    assert kmh(0.2) < kmh(-0.2)
