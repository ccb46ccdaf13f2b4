"""Flow in channels worked by hand from formulas, apart from the code under test."""

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow, shear_pa

FT = 0.3048
CFS = FT**3
LB_FT2 = 47.880


def test_trapezoid_oc_2() -> None:
    """Computed for the inputs of T. W. Sturm, exercise 4.1: 40 ft, sides 3, 3000 cfs, n 0.025."""
    section = CrossSection.trapezoid(40 * FT, side=3.0, depth_m=10 * FT)
    flow = normal_flow(section, 3000 * CFS, slope=0.002, roughness=0.025)
    assert flow.depth_m / FT == pytest.approx(6.603, abs=0.005)


def test_triangle_oc_3() -> None:
    """Computed: Sturm's exercise 4.1 with a triangle, sides 3."""
    section = CrossSection.trapezoid(0.0, side=3.0, depth_m=15 * FT)
    flow = normal_flow(section, 3000 * CFS, slope=0.002, roughness=0.025)
    assert flow.depth_m / FT == pytest.approx(11.137, abs=0.005)


def test_triangle_oc_4() -> None:
    """Computed: after Sturm's exercise 4.5, sides 2, 950 m3/s, n 0.023, slope 0.022."""
    section = CrossSection.trapezoid(0.0, side=2.0, depth_m=8.0)
    flow = normal_flow(section, 950.0, slope=0.022, roughness=0.023)
    assert flow.depth_m == pytest.approx(6.132, abs=0.005)


def test_trapezoid_oc_5() -> None:
    """Computed: bed 20 ft, sides 2, 500 cfs, n 0.025, slope 0.0016."""
    section = CrossSection.trapezoid(20 * FT, side=2.0, depth_m=6 * FT)
    flow = normal_flow(section, 500 * CFS, slope=0.0016, roughness=0.025)
    assert flow.depth_m / FT == pytest.approx(3.802, abs=0.005)


def test_shear_oc_13() -> None:
    """Computed from FHWA HEC-15 equation 3.1: 1 ft and 0.3 m at a slope of 0.02."""
    assert shear_pa(1 * FT, 0.02) / LB_FT2 == pytest.approx(1.248, abs=0.01)
    assert shear_pa(0.3, 0.02) == pytest.approx(58.86, abs=0.01)
