"""Flow in channels and in jumps, against published and computed figures.

US examples are turned into metres and back, so that a figure is compared as it is printed.
"""

import math

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import (
    GRAVITY_MPS2,
    conjugate_depth_m,
    critical_unit_depth_m,
    normal_flow,
    shear_pa,
)

FT = 0.3048
CFS = FT**3
LB_FT2 = 47.880


def test_trapezoid_oc_1() -> None:
    """R. L. Mott, problem 14.19: bed 3 m, depth 1.5 m, sides 1.5, n 0.015, slope 0.001."""
    section = CrossSection.trapezoid(3.0, side=1.5, depth_m=2.0)
    wet = section.wetted(1.5)
    assert wet.area_m2 == pytest.approx(7.875, rel=1e-3)
    assert wet.perimeter_m == pytest.approx(8.408, rel=1e-3)
    flow = normal_flow(section, 15.89, slope=0.001, roughness=0.015)
    assert flow.depth_m == pytest.approx(1.5, rel=1e-3)
    assert flow.hydraulic_radius_m == pytest.approx(0.9366, rel=1e-3)
    assert flow.velocity_mps == pytest.approx(2.018, rel=1e-3)
    assert flow.froude == pytest.approx(0.629, rel=1e-3)
    assert not flow.overtops


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


def test_critical_slope_oc_6() -> None:
    """Printed course solution: rectangle of 10 ft, 600 cfs, n 0.025, critical depth and slope."""
    section = CrossSection.trapezoid(10 * FT, side=0.0, depth_m=10 * FT)
    critical = critical_unit_depth_m(600 * CFS / (10 * FT))
    assert critical / FT == pytest.approx(4.82, rel=0.01)
    wet = section.wetted(critical)
    conveyance = wet.area_m2 ** (5 / 3) * wet.perimeter_m ** (-2 / 3)
    assert (600 * CFS * 0.025 / conveyance) ** 2 == pytest.approx(0.0132, rel=0.01)
    flow = normal_flow(section, 600 * CFS, slope=0.0132, roughness=0.025)
    assert flow.depth_m == pytest.approx(critical, rel=0.01)
    assert flow.froude == pytest.approx(1.0, rel=0.01)


def test_critical_depth_of_a_unit_flow_oc_7() -> None:
    """V. M. Ponce, course CIVE 530, midterm: 50 m2/s."""
    assert critical_unit_depth_m(50.0) == pytest.approx(6.34, abs=0.005)


def test_hydraulic_jump_oc_10() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012): 1.0 ft deep at 54.7 ft/s."""
    froude = 54.7 * FT / math.sqrt(GRAVITY_MPS2 * 1.0 * FT)
    assert froude == pytest.approx(9.64, abs=0.01)
    assert conjugate_depth_m(1.0 * FT, froude) / FT == pytest.approx(13.14, abs=0.01)


def test_hydraulic_jump_oc_11() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012), in metres: 0.33 m, Froude number 8.34."""
    assert conjugate_depth_m(0.33, 8.34) == pytest.approx(3.73, abs=0.01)


def test_critical_depth_of_a_box_oc_12() -> None:
    """After FHWA HDS-5: box of 6 ft, 150 cfs; critical depth and energy, in ft."""
    depth = critical_unit_depth_m(150 * CFS / (6 * FT))
    assert depth / FT == pytest.approx(2.6875, abs=0.001)
    assert 1.5 * depth / FT == pytest.approx(4.031, abs=0.001)


def test_shear_oc_13() -> None:
    """Computed from FHWA HEC-15 equation 3.1: 1 ft and 0.3 m at a slope of 0.02."""
    assert shear_pa(1 * FT, 0.02) / LB_FT2 == pytest.approx(1.248, abs=0.01)
    assert shear_pa(0.3, 0.02) == pytest.approx(58.86, abs=0.01)
