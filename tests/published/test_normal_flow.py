"""Even flow by Manning's equation against worked examples of courses and design manuals.

US examples are turned into metres and back. Tolerances are half of the last digit that is printed
where a test does not say why they are wider.
"""

import numpy as np
import pytest

from siting.floods.travel_time import manning_velocity_m_s
from siting.hydraulics.bed_size import manning_depth_m
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow
from tests.published.printed import answer, cells

FT = 0.3048
CFS = FT**3


def test_rectangle_oc_17() -> None:
    """V. M. Ponce, course CIVE 530, midterm of spring 2008, page copy: 5 m wide, 1.5 m deep.

    n 0.015 and slope 0.003 give 3.498 m/s and 26.23 m3/s.
    """
    wet = CrossSection.trapezoid(5.0, side=0.0, depth_m=2.0).wetted(1.5)
    velocity = manning_velocity_m_s(wet.area_m2 / wet.perimeter_m, 0.003, roughness=0.015)
    answer(velocity, 3.498, of="OC-17", within=0.0005)
    answer(velocity * wet.area_m2, 26.23, of="OC-17", within=0.005)


def test_rectangle_oc_18() -> None:
    """V. M. Ponce, course CIVE 530, midterm of spring 2007, page copy: 5 m wide, 0.8 m deep.

    n 0.015 and slope 0.0025 give 2.387 m/s. The flow of 9.548 m3/s is printed as 2.387 x 4.0, so
    that half a millimetre a second of the velocity allows 0.002 m3/s.
    """
    wet = CrossSection.trapezoid(5.0, side=0.0, depth_m=2.0).wetted(0.8)
    velocity = manning_velocity_m_s(wet.area_m2 / wet.perimeter_m, 0.0025, roughness=0.015)
    answer(velocity, 2.387, of="OC-18", within=0.0005)
    answer(
        velocity * wet.area_m2,
        9.548,
        of="OC-18",
        within=0.002,
        why="the product of rounded factors",
    )


def test_rectangle_oc_19() -> None:
    """V. M. Ponce, course CIVE 530, midterm of fall 2008, page copy: 6 m wide, 1.6 m deep.

    n 0.015 and slope 0.0025 give 3.428 m/s and 32.91 m3/s from a hydraulic radius that the page
    rounds to 1.043 m before it goes on (unrounded they are 3.429 and 32.92).
    """
    wet = CrossSection.trapezoid(6.0, side=0.0, depth_m=2.0).wetted(1.6)
    answer(wet.area_m2 / wet.perimeter_m, 1.043, of="OC-19", within=0.0005)
    velocity = manning_velocity_m_s(1.043, 0.0025, roughness=0.015)
    answer(velocity, 3.428, of="OC-19", within=0.0005)
    answer(velocity * wet.area_m2, 32.91, of="OC-19", within=0.005)


def test_trapezoid_oc_20() -> None:
    """V. M. Ponce, course CIVE 444, homework 4 of fall 2009, problem 3, page copy.

    10 m3/s in a bed of 1.5 m with sides 1, n 0.013, slope 0.0006: critical 1.251 m and 2.905 m/s,
    even 1.763 m and 1.739 m/s.
    """
    section = CrossSection.trapezoid(1.5, side=1.0, depth_m=3.0)
    critical = section.lowest_wetted(10.0 / np.sqrt(9.81), area=1.5, width=-0.5)
    answer(critical.depth_m, 1.251, of="OC-20", within=0.0005)
    answer(10.0 / critical.area_m2, 2.905, of="OC-20", within=0.0005)
    flow = normal_flow(section, 10.0, slope=0.0006, roughness=0.013)
    answer(flow.depth_m, 1.763, of="OC-20", within=0.0005)
    answer(flow.velocity_mps, 1.739, of="OC-20", within=0.0005)


def test_rectangle_oc_24() -> None:
    """University of Leeds, CIVE3415, example sheet 2 (2024), question E2.2, page copy: 1.215 m."""
    section = CrossSection.trapezoid(3.0, side=0.0, depth_m=3.0)
    flow = normal_flow(section, 5.0, slope=1 / 500, roughness=0.025)
    answer(flow.depth_m, 1.215, of="OC-24", within=0.0005)


@pytest.mark.parametrize(
    ("roughness", "depth_ft", "velocity_fps"),
    [(0.034, 10.6, 7.9), (0.036, 11.0, 7.6), (0.038, 11.3, 7.3)],
)
def test_riprap_channel_oc_25(roughness: float, depth_ft: float, velocity_fps: float) -> None:
    """USACE EM 1110-2-1601, appendix H, table H-1 (PDF p. 179), read in a typed copy.

    13,500 cfs in a bed of 140 ft with sides 2, slope 0.0017.
    """
    section = CrossSection.trapezoid(140 * FT, side=2.0, depth_m=20 * FT)
    flow = normal_flow(section, 13_500 * CFS, slope=0.0017, roughness=roughness)
    answer(flow.depth_m / FT, depth_ft, of="OC-25", within=0.05)
    answer(flow.velocity_mps / FT, velocity_fps, of="OC-25", within=0.05)


def test_trapezoid_oc_27() -> None:
    """Drainage of Delmiro Gouveia, design sheet 1521:120 of a public project, read in a typed copy.

    0.518 m3/s in a bed of 0.60 m with sides 1.5, n 0.025, slope 0.00368: 0.43 m deep, 0.962 m/s,
    Froude number 0.576.
    """
    section = CrossSection.trapezoid(0.60, side=1.5, depth_m=1.0)
    flow = normal_flow(section, 0.518, slope=0.00368, roughness=0.025)
    answer(flow.depth_m, 0.43, of="OC-27", within=0.005)
    answer(flow.velocity_mps, 0.962, of="OC-27", within=0.0005)
    answer(flow.froude, 0.576, of="OC-27", within=0.0005)


def test_trapezoid_oc_28() -> None:
    """Drainage of Delmiro Gouveia, design sheet 1521:165, read in a typed copy: 0.331 m deep."""
    section = CrossSection.trapezoid(0.20, side=1.0, depth_m=1.0)
    flow = normal_flow(section, 0.120, slope=0.00352, roughness=0.025)
    answer(flow.depth_m, 0.331, of="OC-28", within=0.0005)


def test_rectangle_oc_29() -> None:
    """Sheet of a channel of gabions, a public project, read in a typed copy: 1.0784 m3/s.

    1.59 m wide, 0.80 m deep, n 0.035, slope 0.003.
    """
    wet = CrossSection.trapezoid(1.59, side=0.0, depth_m=2.0).wetted(0.80)
    velocity = manning_velocity_m_s(wet.area_m2 / wet.perimeter_m, 0.003, roughness=0.035)
    answer(velocity * wet.area_m2, 1.0784, of="OC-29", within=0.00005)


def wide_velocity_mps(unit_flow_m2s: list[float], slope: float, roughness: float) -> list[float]:
    """Velocity down a plane: flow over the depth of a very wide bed."""
    flow = np.array(unit_flow_m2s)
    width, fall = np.ones_like(flow), np.full_like(flow, slope)
    found: list[float] = (flow / manning_depth_m(flow, width, fall, roughness=roughness)).tolist()
    return found


def test_floodway_oc_26() -> None:
    """Main Roads Western Australia, Floodway Design Guide 2006, example 1, read in a typed copy.

    1.443 m2/s run down a batter of 1 in 3, n 0.04, at 5.75 m/s; 0.50 m2/s over a pavement of 3 %,
    n 0.015, at 3.29 m/s.
    """
    (batter,) = wide_velocity_mps([1.443], 1 / 3, 0.04)
    answer(batter, 5.75, of="OC-26", within=0.005)
    (pavement,) = wide_velocity_mps([0.50], 0.03, 0.015)
    answer(pavement, 3.29, of="OC-26", within=0.005)


@pytest.mark.parametrize(
    ("roughness", "mps"),
    [(0.04, [1.98, 2.61, 3.07, 3.44, 3.76]), (0.03, [2.35, 3.10, 3.64, 4.09, 4.47])],
)
def test_floodway_tables(roughness: float, mps: list[float]) -> None:
    """Floodway Design Guide 2006, tables D1 and D2, read in a typed copy: batters of 1 in 3."""
    found = wide_velocity_mps([0.1, 0.2, 0.3, 0.4, 0.5], 1 / 3, roughness)
    cells(found, mps, of="Floodway Design Guide 2006, tables D1 and D2", within=0.005)
