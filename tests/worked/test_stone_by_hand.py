"""Stone sizes worked by hand from the form named, apart from the code under test.

US figures are turned into metres and back.
"""

import math

import pytest

from siting.hydraulics.stone import (
    STONE_KG_M3,
    abt_johnson_d50_m,
    isbash_d_m,
    rock_chute_d50_m,
    shear_d50_m,
    steep_d30_m,
)
from terrain.values.errors import ParameterError

FT = 0.3048
INCH = 0.0254
LB_FT2 = 47.880
#: Stone of 165 lb/ft3 in water of 62.4 lb/ft3.
STONE_165 = 165 / 62.4 * 1000

# flow per metre m2/s, slope, median stone mm
CHUTE_ROWS = [
    (0.05, 0.02, 13.9),
    (0.10, 0.05, 41.5),
    (0.20, 0.05, 60.0),
    (0.70, 0.06, 134.4),
    (0.20, 0.10, 104.2),
    (0.20, 0.20, 129.0),
    (0.10, 1 / 3, 104.5),
    (0.20, 1 / 3, 150.8),
    (0.50, 1 / 3, 245.0),
    (0.93, 0.40, 359.7),
]


def chute_us_in(q_ft2s: float, slope: float) -> float:
    """Robinson, Rice and Kadavy in the U.S. form: inches from ft2/s."""
    if slope < 0.10:
        return (q_ft2s * slope**1.5 / 4.75e-3) ** (1 / 1.89)
    return (q_ft2s * slope**0.58 / 3.93e-2) ** (1 / 1.89)


@pytest.mark.parametrize(("flow", "slope", "stone_mm"), CHUTE_ROWS)
def test_rock_chute_rows(flow: float, slope: float, stone_mm: float) -> None:
    """Computed from Robinson, Rice and Kadavy 1998, metric constants from memory."""
    near = 0.6 if stone_mm == 245.0 else 0.06
    assert rock_chute_d50_m(flow, slope) * 1000 == pytest.approx(stone_mm, abs=near)


def test_rock_chute_rk_15() -> None:
    """Computed from Robinson, Rice and Kadavy 1998 (U.S. form): 5 ft2/s at a slope of 0.05."""
    assert rock_chute_d50_m(5 * FT**2, 0.05) / INCH == pytest.approx(3.69, abs=0.01)


def test_rock_chute_rk_16() -> None:
    """Computed from Robinson, Rice and Kadavy 1998 (U.S. form): 5 ft2/s at a slope of 0.20."""
    assert rock_chute_d50_m(5 * FT**2, 0.20) / INCH == pytest.approx(7.93, abs=0.01)


def test_rock_chute_rk_17() -> None:
    """Computed from Robinson, Rice and Kadavy 1998 (U.S. form): 2 ft2/s at 0.33; 3 at 0.10."""
    assert rock_chute_d50_m(2 * FT**2, 0.33) / INCH == pytest.approx(5.69, abs=0.01)
    below, above = (rock_chute_d50_m(3 * FT**2, s) for s in (math.nextafter(0.10, 0), 0.10))
    assert below / INCH == pytest.approx(4.87, abs=0.01)
    assert above / INCH == pytest.approx(4.89, abs=0.01)


def test_rock_chute_rk_18() -> None:
    """Computed: the metric form (from memory) gives the stone of the U.S. form to 0.1 %."""
    assert rock_chute_d50_m(5 * FT**2, 0.05) / INCH == pytest.approx(3.686, abs=0.01)
    assert rock_chute_d50_m(5 * FT**2, 0.20) / INCH == pytest.approx(7.930, abs=0.01)
    for q in (0.5, 3.0, 10.0):
        for slope in (0.02, 0.05, 0.0999, 0.10, 0.25, 0.40):
            metric = rock_chute_d50_m(q * FT**2, slope) / INCH
            assert metric == pytest.approx(chute_us_in(q, slope), rel=1e-3)


def test_the_sign_of_the_exponent_of_slope_on_steep_chutes() -> None:
    """Computed: with +0.58 the branches meet at 0.10; with -0.58 they would be fourfold apart."""
    # d50^1.89 in mm for 1 m2/s
    assert (rock_chute_d50_m(1, math.nextafter(0.10, 0)) * 1000) ** 1.89 == pytest.approx(
        32_400, rel=1e-3
    )
    assert (rock_chute_d50_m(1, 0.10) * 1000) ** 1.89 == pytest.approx(32_590, rel=1e-3)
    for flow in (0.05, 0.2, 0.9):
        below, above = (rock_chute_d50_m(flow, s) for s in (math.nextafter(0.10, 0), 0.10))
        assert above / below == pytest.approx(1.0, abs=0.01)
        wrong = (flow * 0.10**-0.58 / 8.07e-6) ** (1 / 1.89) / 1000
        assert wrong / above == pytest.approx(4.1, abs=0.05)
        at_40 = (flow * 0.40**-0.58 / 8.07e-6) ** (1 / 1.89) / 1000
        assert at_40 / rock_chute_d50_m(flow, 0.40) == pytest.approx(1.8, abs=0.05)
        stones = [rock_chute_d50_m(flow, s / 100) for s in range(2, 41)]
        assert stones == sorted(stones), "stone grows with the slope"


@pytest.mark.parametrize("slope", [0.0199, 0.401, 0.0, -0.1, float("nan")])
def test_no_chute_stone_outside_the_slopes_tested(slope: float) -> None:
    with pytest.raises(ParameterError, match=r"expected 0\.02 to 0\.4"):
        rock_chute_d50_m(0.2, slope)


def test_shear_rk_2() -> None:
    """Computed from FHWA HEC-15 equation 6.8: 1 ft of water at a slope of 0.02."""
    d50 = shear_d50_m(9810 * 1 * FT * 0.02, density=STONE_165)
    assert d50 / FT == pytest.approx(0.259, abs=0.001)


def test_shear_rk_3() -> None:
    """Computed from FHWA HEC-15 equation 6.8: 0.3 m at 0.02, stone of 25 900 N/m3."""
    d50 = shear_d50_m(9810 * 0.3 * 0.02, density=25_900 / 9.81)
    assert d50 == pytest.approx(0.0778, abs=0.0005)


def test_shear_of_the_large_stone_check() -> None:
    """Computed: 0.5 m of water at 3 % pulls with 147 Pa and asks for stone of 193 mm."""
    tau = 9810 * 0.5 * 0.03
    assert tau == pytest.approx(147, abs=0.5)
    assert shear_d50_m(tau) * 1000 == pytest.approx(193, abs=1)


def test_steep_bed_rk_14() -> None:
    """Computed from USACE EM 1110-2-1601 equation 3-5 (from memory): 3 ft2/s at 0.10."""
    assert steep_d30_m(3 * FT**2, 0.10) / FT == pytest.approx(0.412, abs=0.001)
    for slope in (0.019, 0.21):
        with pytest.raises(ParameterError, match="range of the method"):
            steep_d30_m(0.2, slope)


def test_isbash_rk_19() -> None:
    """Computed from USACE HDC 712-1 (from memory): 8 ft/s, coefficients 0.86 and 1.20."""
    sizes = [isbash_d_m(8 * FT, coefficient=c) / FT for c in (0.86, 1.20)]
    assert sizes == pytest.approx([0.814, 0.418], abs=0.002)


def test_isbash_rk_20() -> None:
    """Computed from USACE HDC 712-1 (from memory): 2 m/s."""
    assert isbash_d_m(2.0) == pytest.approx(0.167, abs=0.001)
    assert isbash_d_m(2.0, coefficient=1.20) == pytest.approx(0.0858, abs=0.001)


def test_overtopping_rk_21() -> None:
    """Computed from Abt and Johnson 1991 (from memory): 3 ft2/s at 0.10; design at 0.20."""
    failing = abt_johnson_d50_m(3 * FT**2, 0.10, flow_factor=1.0)
    assert failing / INCH == pytest.approx(3.59, abs=0.01)
    assert abt_johnson_d50_m(3 * FT**2, 0.20) / INCH == pytest.approx(5.73, abs=0.01)
    rounded = abt_johnson_d50_m(3 * FT**2, 0.10, flow_factor=1.0, rounded=True)
    assert rounded / failing == pytest.approx(1.4)


def test_what_is_no_stone_is_refused() -> None:
    for density in (1000, 620, 25_000, float("nan")):
        with pytest.raises(ParameterError, match="stone density"):
            shear_d50_m(50.0, density=density)
    with pytest.raises(ParameterError, match=r"flow per metre of width of -0\.1"):
        rock_chute_d50_m(-0.1, 0.05)
    assert shear_d50_m(0.0) == 0.0
    assert pytest.approx(2650) == STONE_KG_M3
