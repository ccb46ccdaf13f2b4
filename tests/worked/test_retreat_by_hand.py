"""Headcut retreat and bank height worked by hand; the formulas are from memory."""

import pytest

from siting.effects.retreat import HA_PER_ACRE, M_PER_FOOT, retreat_m_per_yr


def test_retreat_of_technical_release_32() -> None:
    """USDA SCS TR-32, R = 1.5 A^0.46 P^0.20: 50 acres and 8 inches give 13.75 ft a year."""
    rate = retreat_m_per_yr(50.0 * HA_PER_ACRE, 8.0 * 25.4)
    assert float(rate) / M_PER_FOOT == pytest.approx(13.75, abs=0.005)
