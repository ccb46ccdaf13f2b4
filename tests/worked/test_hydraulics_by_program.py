"""Chutes and jumps against values of a spreadsheet and of a question bank; versions not kept."""

import pytest

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
