"""Stone on banks and the height of banks, worked by hand from the form named."""

import math

import pytest

from siting.hydraulics.bank_height import critical_height_m, standing_height
from siting.hydraulics.resistance import of_stone
from siting.hydraulics.stone import isbash_d_m, shear_d50_m
from siting.hydraulics.stone_on_slopes import (
    bank_factor,
    bank_pull_d50_m,
    bank_pull_share,
    bank_speed_d50_m,
    bank_stability_number,
    hec11_correction,
    hec11_d50_m,
)
from terrain.values.errors import ParameterError

FT = 0.3048


def test_permissible_pull_of_stone() -> None:
    """FHWA HEC-15 equation 6.7 (0.047 from memory): stone of 6 in, 165 lb/ft3: 2.41 lb/ft2."""
    found = of_stone(0.1524, density=165 / 62.4 * 1000)
    assert found.pull_pa[0] / 47.880 == pytest.approx(2.41, abs=0.01)
    assert shear_d50_m(found.pull_pa[0], density=165 / 62.4 * 1000) == pytest.approx(0.1524)
    assert isbash_d_m(found.speed_mps[0], density=165 / 62.4 * 1000, coefficient=1.20) == (
        pytest.approx(0.1524)
    )


def test_hec_11_corrections() -> None:
    """From the forms in FHWA HEC-11: density 2650 and 2500 kg/m3; safety 1.5."""
    assert hec11_correction(density=2650, safety=1.2) == pytest.approx(1.000, abs=0.001)
    assert hec11_correction(density=2500, safety=1.2) == pytest.approx(1.154, abs=0.001)
    assert hec11_correction(density=2650, safety=1.5) == pytest.approx(1.398, abs=0.001)


def test_hec_11_riprap() -> None:
    """The main relation of FHWA HEC-11: 8 ft/s in 4 ft."""
    d50 = hec11_d50_m(8 * FT, 4 * FT, bank=1.0)
    assert d50 / FT == pytest.approx(0.001 * 512 / 2, rel=1e-3)
    larger = hec11_d50_m(8 * FT, 4 * FT, bank=0.72, safety=1.5, density=2500)
    assert larger / d50 == pytest.approx(1.154 * 1.398 / 0.72**1.5, rel=2e-3)


def test_bank_factor() -> None:
    """2 along for 1 up, repose 40 degrees: (1 - 0.2 / 0.4132)^0.5 = 0.718."""
    assert bank_factor(math.degrees(math.atan(0.5)), 40) == pytest.approx(0.718, abs=0.001)


def test_stone_on_a_bank_is_larger_than_on_a_level_bed() -> None:
    """HDS-6: with eta near 1 the pull asks for about what Shields 0.047 asks for."""
    level = bank_pull_d50_m(60.0, 0.01, safety=1.0)
    assert level == pytest.approx(shear_d50_m(60.0), rel=0.02)
    assert bank_pull_d50_m(60.0, 26.6, safety=1.0) > 1.6 * level
    assert bank_speed_d50_m(2.0, 26.6) / bank_speed_d50_m(1.0, 26.6) == pytest.approx(4.0)


@pytest.mark.parametrize(("along", "share"), [(0.0, 0.77), (1.5, 0.77), (3.0, 0.868), (6.0, 1.0)])
def test_share_of_the_pull_on_a_bank(along: float, share: float) -> None:
    """FHWA HEC-15 section 3.2 (from memory): 0.066 x 3 + 0.67 = 0.868."""
    assert bank_pull_share(along) == pytest.approx(share)


def test_impossible_banks() -> None:
    with pytest.raises(ParameterError, match="Lay the bank back"):
        bank_stability_number(35, 40, safety=1.5)
    with pytest.raises(ParameterError, match="angle of repose"):
        bank_factor(41, 40)
    with pytest.raises(ParameterError, match="a bank of -1"):
        bank_pull_share(-1.0)


@pytest.mark.parametrize(("cracked", "height"), [(False, 3.36), (True, 2.24)])
def test_critical_height_of_an_upright_bank(cracked: bool, height: float) -> None:
    """Culmann: cohesion 10 kPa, 17 kN/m3, 20 degrees; with a tension crack 2.67 for 4."""
    found = critical_height_m(10e3, unit_weight_n_m3=17e3, friction_deg=20.0, cracked=cracked)
    assert found == pytest.approx(height, abs=0.005)


def test_a_soaked_bank_stands_without_friction() -> None:
    """2.67 x 10 / 17 = 1.57 m soaked and cracked; 3.36 m drained and whole."""
    wet, drained = standing_height(10e3, unit_weight_n_m3=17e3, friction_deg=20.0)
    assert wet == pytest.approx(1.57, abs=0.005)
    assert drained == pytest.approx(3.36, abs=0.005)


@pytest.mark.parametrize(
    "soil",
    [
        {"cohesion_pa": -1.0, "unit_weight_n_m3": 17e3, "friction_deg": 20.0},
        {"cohesion_pa": 1.0, "unit_weight_n_m3": 0.0, "friction_deg": 20.0},
        {"cohesion_pa": 1.0, "unit_weight_n_m3": 17e3, "friction_deg": 90.0},
    ],
)
def test_impossible_soil(soil: dict[str, float]) -> None:
    with pytest.raises(ParameterError, match="soil of"):
        critical_height_m(soil.pop("cohesion_pa"), **soil)
