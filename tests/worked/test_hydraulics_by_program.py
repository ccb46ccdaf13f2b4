"""Chutes, jumps and falls against values of a spreadsheet, a question bank and a package."""

import pytest

from siting.hydraulics.falls import (
    kolatus_d90_m,
    kolatus_depth_m,
    tschopp_bisaz_d90_m,
    tschopp_bisaz_depth_m,
)
from siting.hydraulics.open_channel import conjugate_depth_m
from siting.hydraulics.stone import rock_chute_d50_m


def test_rock_chute_by_a_spreadsheet() -> None:
    """A public spreadsheet after Robinson, Rice and Kadavy: 0.05 m2/s at 0.02 ask for 14 mm.

    It lays two diameters thick, 27.826 mm, which gives the diameter before it is rounded.
    """
    d50_mm = rock_chute_d50_m(0.05, 0.02) * 1000
    assert d50_mm == pytest.approx(14, abs=0.5)
    assert 2 * d50_mm == pytest.approx(27.826, abs=0.0005)


def test_hydraulic_jump_by_a_question_bank() -> None:
    """A question bank's answer: depths in the ratio of 10.30 ask for a Froude number of 7.63."""
    assert conjugate_depth_m(1.0, 7.63) == pytest.approx(10.30, abs=0.005)


@pytest.mark.parametrize(("fall_m", "depth_m"), [(3.0, 6.457918), (5.0, 7.722174)])
def test_scour_below_a_fall_by_a_package(fall_m: float, depth_m: float) -> None:
    """hydReng 0.1.0 and 1.0.0, check values of its tests, after Bezzola 2012 (not seen itself).

    4 m3/s over 1 m, stone of d90 0.15 m: depth of scour below the tailwater after Kolatus. Turned
    round, a pool so deep asks for that stone.
    """
    assert kolatus_depth_m(4.0, fall_m, 0.15) == pytest.approx(depth_m, abs=1e-6)
    assert kolatus_d90_m(4.0, fall_m, depth_m) == pytest.approx(0.15, rel=1e-6)


def test_scour_below_a_fall_after_tschopp_and_bisaz() -> None:
    """The same case by the other formula, worked by hand: 2.76 x 2 x 3^0.25 - 7.22 x 0.15."""
    assert tschopp_bisaz_depth_m(4.0, 3.0, 0.15) == pytest.approx(6.1817, abs=5e-5)
    assert tschopp_bisaz_d90_m(4.0, 3.0, 6.1817) == pytest.approx(0.15, abs=1e-5)
