"""Headcut retreat and bank height worked by hand; the formulas are from memory."""

import pytest

from siting.effects.retreat import HA_PER_ACRE, M_PER_FOOT, critical_bank_height_m, retreat_m_per_yr


def test_retreat_of_technical_release_32() -> None:
    """USDA SCS TR-32, R = 1.5 A^0.46 P^0.20: 50 acres and 8 inches give 13.75 ft a year."""
    rate = retreat_m_per_yr(50.0 * HA_PER_ACRE, 8.0 * 25.4)
    assert float(rate) / M_PER_FOOT == pytest.approx(13.75, abs=0.005)


@pytest.mark.parametrize(("cracked", "height"), [(False, 3.36), (True, 2.24)])
def test_critical_height_of_an_upright_bank(cracked: bool, height: float) -> None:
    """Culmann: cohesion 10 kPa, 17 kN/m3, 20 degrees; with a tension crack 2.67 for 4."""
    found = critical_bank_height_m(10e3, unit_weight_n_m3=17e3, friction_deg=20.0, cracked=cracked)
    assert found == pytest.approx(height, abs=0.005)
