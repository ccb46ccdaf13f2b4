"""Flow in channels, over weirs and in jumps, against printed figures.

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
)
from tests.published.printed import answer

FT = 0.3048
CFS = FT**3


def test_trapezoid_oc_1() -> None:
    """R. L. Mott, problem 14.19: bed 3 m, depth 1.5 m, sides 1.5, n 0.015, slope 0.001."""
    section = CrossSection.trapezoid(3.0, side=1.5, depth_m=2.0)
    wet = section.wetted(1.5)
    answer(wet.area_m2, 7.875, of="OC-1", rel=1e-3)
    answer(wet.perimeter_m, 8.408, of="OC-1", rel=1e-3)
    answer(wet.area_m2 / wet.perimeter_m, 0.9366, of="OC-1", rel=1e-3)
    flow = normal_flow(section, 15.89, slope=0.001, roughness=0.015)
    assert flow.depth_m == pytest.approx(1.5, rel=1e-3)
    answer(flow.velocity_mps, 2.018, of="OC-1", rel=1e-3)
    answer(flow.froude, 0.629, of="OC-1", rel=1e-3)
    assert not flow.overtops


def test_critical_slope_oc_6() -> None:
    """Printed course solution: rectangle of 10 ft, 600 cfs, n 0.025, critical depth and slope."""
    section = CrossSection.trapezoid(10 * FT, side=0.0, depth_m=10 * FT)
    critical = critical_unit_depth_m(600 * CFS / (10 * FT))
    answer(critical / FT, 4.82, of="OC-6", rel=0.01)
    wet = section.wetted(critical)
    conveyance = wet.area_m2 ** (5 / 3) * wet.perimeter_m ** (-2 / 3)
    answer((600 * CFS * 0.025 / conveyance) ** 2, 0.0132, of="OC-6", rel=0.01)
    flow = normal_flow(section, 600 * CFS, slope=0.0132, roughness=0.025)
    assert flow.depth_m == pytest.approx(critical, rel=0.01)
    assert flow.froude == pytest.approx(1.0, rel=0.01)


def test_critical_depth_of_a_unit_flow_oc_7() -> None:
    """V. M. Ponce, course CIVE 530, midterm: 50 m2/s."""
    answer(critical_unit_depth_m(50.0), 6.34, of="OC-7", abs=0.005)


def test_hydraulic_jump_oc_10() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012): 1.0 ft deep at 54.7 ft/s."""
    froude = 54.7 * FT / math.sqrt(GRAVITY_MPS2 * 1.0 * FT)
    assert froude == pytest.approx(9.64, abs=0.01)  # our own arithmetic
    answer(conjugate_depth_m(1.0 * FT, froude) / FT, 13.14, of="OC-10", abs=0.01)


def test_hydraulic_jump_oc_11() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012), in metres: 0.33 m, Froude number 8.34."""
    answer(conjugate_depth_m(0.33, 8.34), 3.73, of="OC-11", abs=0.01)
