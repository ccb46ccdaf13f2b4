"""Flow in channels, over weirs and in jumps, against printed figures.

US examples are turned into metres and back, so that a figure is compared as it is printed.
"""

import math

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.falls import drop_number, landing_m
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
    answer(wet.area_m2, 7.875, of="OC-1", within=0.0005)
    answer(wet.perimeter_m, 8.408, of="OC-1", within=0.0005)
    answer(wet.area_m2 / wet.perimeter_m, 0.9366, of="OC-1", within=0.00005)
    flow = normal_flow(section, 15.89, slope=0.001, roughness=0.015)
    assert flow.depth_m == pytest.approx(1.5, rel=1e-3)
    answer(flow.velocity_mps, 2.018, of="OC-1", within=0.0005)
    answer(flow.froude, 0.629, of="OC-1", within=0.0005)
    assert not flow.overtops


def test_critical_slope_oc_6() -> None:
    """Printed course solution: rectangle of 10 ft, 600 cfs, n 0.025, critical depth and slope."""
    section = CrossSection.trapezoid(10 * FT, side=0.0, depth_m=10 * FT)
    critical = critical_unit_depth_m(600 * CFS / (10 * FT))
    answer(critical / FT, 4.82, of="OC-6", within=0.005)
    wet = section.wetted(critical)
    conveyance = wet.area_m2 ** (5 / 3) * wet.perimeter_m ** (-2 / 3)
    slope = (600 * CFS * 0.025 / conveyance) ** 2
    answer(slope, 0.0132, of="OC-6", within=0.00012, why="computed there with 1.49 for 1.486")
    flow = normal_flow(section, 600 * CFS, slope=0.0132, roughness=0.025)
    assert flow.depth_m == pytest.approx(critical, rel=0.01)
    assert flow.froude == pytest.approx(1.0, rel=0.01)


def test_critical_depth_of_a_unit_flow_oc_7() -> None:
    """V. M. Ponce, course CIVE 530, midterm: 50 m2/s."""
    answer(critical_unit_depth_m(50.0), 6.34, of="OC-7", within=0.005)


def test_hydraulic_jump_oc_10() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012): 1.0 ft deep at 54.7 ft/s."""
    froude = 54.7 * FT / math.sqrt(GRAVITY_MPS2 * 1.0 * FT)
    assert froude == pytest.approx(9.64, abs=0.01)  # our own arithmetic
    answer(conjugate_depth_m(1.0 * FT, froude) / FT, 13.14, of="OC-10", within=0.005)


def test_hydraulic_jump_oc_11() -> None:
    """FHWA HDS-4, example 4.8 (errata 2012), in metres: 0.33 m, Froude number 8.34."""
    answer(conjugate_depth_m(0.33, 8.34), 3.73, of="OC-11", within=0.005)


@pytest.mark.parametrize(("unit_flow_ft2s", "feet"), [(50.0, 4.27), (10.0, 1.46)])
def test_critical_depth_over_a_dam_oc_15(unit_flow_ft2s: float, feet: float) -> None:
    """FHWA HDS-6 (2001) p. 2.88, page copy: a check dam at 5,000 and 1,000 cfs on 100 ft."""
    answer(critical_unit_depth_m(unit_flow_ft2s * FT**2) / FT, feet, of="OC-15", within=0.005)


@pytest.mark.parametrize(("unit_flow_m2s", "metres"), [(4.65, 1.30), (0.93, 0.45)])
def test_critical_depth_over_a_dam_oc_16(unit_flow_m2s: float, metres: float) -> None:
    """FHWA HDS-6 (2001) p. 2.78, page copy: the same dam in metres, inputs rounded anew."""
    answer(critical_unit_depth_m(unit_flow_m2s), metres, of="OC-16", within=0.005)


def test_hydraulic_jump_oc_21() -> None:
    """V. M. Ponce, course CIVE 444, homework 4 of fall 2009, problem 4, page copy: 1.166 m."""
    froude = 1.25 / 0.2 / math.sqrt(GRAVITY_MPS2 * 0.2)
    assert froude == pytest.approx(4.462, abs=0.0005)  # our own arithmetic
    answer(conjugate_depth_m(0.2, froude), 1.166, of="OC-21", within=0.0005)


def test_hydraulic_jump_oc_22() -> None:
    """V. M. Ponce, course CIVE 530, midterm 2 of spring 2004, problem 2, page copy: 1.53 m.

    0.568 m before the jump, as the page rounds it, at a squared Froude number of 5.
    """
    answer(conjugate_depth_m(0.568, math.sqrt(5.0)), 1.53, of="OC-22", within=0.005)


def test_hydraulic_jump_oc_30() -> None:
    """A GATE examination question with its answer, page copy: depths 10.30 to 1 ask for 7.63.

    Turned round: a jump at 7.63 makes the water 10.30 times as deep.
    """
    answer(conjugate_depth_m(1.0, 7.63), 10.3, of="OC-30", within=0.005)


def test_critical_depth_of_a_trapezoid_oc_23() -> None:
    """University of Leeds, CIVE3415, example sheet 2 (2024), question E2.1, page copy: 0.86 m.

    10 m3/s in a bed of 3 m with sides 2.
    """
    section = CrossSection.trapezoid(3.0, side=2.0, depth_m=2.0)
    critical = section.lowest_wetted(10.0 / math.sqrt(GRAVITY_MPS2), area=1.5, width=-0.5)
    answer(critical.depth_m, 0.86, of="OC-23", within=0.005)


def test_straight_drop_of_a_canal_oc_40() -> None:
    """Design sheet of a vertical drop, after Rand 1955, page copy of a project's record.

    0.57 m2/s fall 2.36 m to the floor: drop number 0.0025, drop length 2.02 m, critical depth
    0.32 m.
    """
    answer(drop_number(0.57, 2.36), 0.0025, of="OC-40", within=5e-5)
    answer(landing_m(0.57, 2.36), 2.02, of="OC-40", within=0.005)
    answer(critical_unit_depth_m(0.57), 0.32, of="OC-40", within=0.005)


def test_straight_drop_at_a_lower_flow_oc_41() -> None:
    """The same design sheet of a vertical drop, case II: 0.33 m2/s fall 2.36 m, length 1.51 m.

    The flow is 0.3333 m2/s before it was rounded; 0.33 gives 1.50.
    """
    answer(landing_m(1 / 3, 2.36), 1.51, of="OC-41", within=0.005)
