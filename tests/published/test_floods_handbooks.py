"""Runoff and travel time against worked examples of handbooks and textbooks.

NEH is the USDA National Engineering Handbook, part 630; McCuen is R. H. McCuen, "Hydrologic
Analysis and Design", second edition, 1998. Both were read in a typed copy that names their
pages, not on the pages. Tolerances are half of the last digit that is printed.
"""

import pytest

from siting.floods.antecedent_runoff import antecedent_curve_number
from siting.floods.runoff import initial_abstraction_mm, retention_mm, runoff_depth_mm
from siting.floods.travel_time import (
    LAG_PER_TC,
    kirpich_h,
    manning_velocity_m_s,
    nrcs_lag_h,
    shallow_velocity_m_s,
    sheet_flow_h,
)
from tests.published.printed import answer, cells

IN, FT = 25.4, 0.3048


@pytest.mark.parametrize(("number", "runoff_in"), [(75, 2.53), (69, 2.03)])
def test_runoff_cn_9(number: float, runoff_in: float) -> None:
    """NEH chapter 10, example 10-3 (PDF pp. 17-19): 5.1 in of rain on two curve numbers."""
    answer(runoff_depth_mm(5.1 * IN, number) / IN, runoff_in, of="CN-9", within=0.005)


def test_runoff_cn_10() -> None:
    """McCuen, example 7-15 (PDF pp. 405-406): 7 in on curve number 75."""
    answer(retention_mm(75) / IN, 3.333, of="CN-10", within=0.0005)
    answer(initial_abstraction_mm(75) / IN, 0.667, of="CN-10", within=0.0005)
    answer(runoff_depth_mm(7.0 * IN, 75) / IN, 4.15, of="CN-10", within=0.005)


@pytest.mark.parametrize(("number", "runoff_in"), [(55, 2.12), (70, 3.62), (83, 5.03)])
def test_runoff_cn_11(number: float, runoff_in: float) -> None:
    """McCuen, example 7-18 (pp. 408-409): 7 in on three curve numbers."""
    answer(runoff_depth_mm(7.0 * IN, number) / IN, runoff_in, of="CN-11", within=0.005)


def test_runoff_cn_12() -> None:
    """McCuen, example 7-19 (p. 415): 4.8 in on curve number 66."""
    answer(runoff_depth_mm(4.8 * IN, 66) / IN, 1.59, of="CN-12", within=0.005)


def test_runoff_cn_13() -> None:
    """A lecture for the Fundamentals of Engineering examination, page copy: 7.43 in.

    8 in of rain where 0.5 in can be held back at most.
    """
    number = 1000 / (10 + 0.5)
    answer(runoff_depth_mm(8.0 * IN, number) / IN, 7.43, of="CN-13", within=0.005)


def test_retention_table_10_1() -> None:
    """NEH chapter 10, table 10-1: S of curve number 74."""
    cells(retention_mm(74) / IN, 3.51, of="NEH chapter 10, table 10-1", within=0.005)


@pytest.mark.parametrize(
    ("number", "dry", "wet"),
    [
        (100, 100, 100), (95, 87, 98), (90, 78, 96), (85, 70, 94), (80, 63, 91), (79, 62, 91),
        (75, 57, 88), (74, 55, 88), (70, 51, 85), (65, 45, 82), (60, 40, 78), (55, 35, 74),
        (51, 31, 70), (50, 31, 70), (45, 26, 65), (40, 22, 60), (36, 19, 56), (30, 15, 50),
    ],
)  # fmt: skip
def test_antecedent_conditions_table_10_1(number: float, dry: float, wet: float) -> None:
    """NEH chapter 10, table 10-1: conditions I and III for II.

    Seen in a copy inside a public curve-number program; the pair of 74 also on PDF p. 12 of the
    chapter in a typed copy.
    """
    found = [antecedent_curve_number(number, c) for c in ("I", "III")]
    cells(found, [dry, wet], of="NEH chapter 10, table 10-1")


def test_lag_tc_13() -> None:
    """NEH chapter 15 (2010), Mawney Brook by the lag equation (PDF p. 18): Tc 1.14 h."""
    lag = nrcs_lag_h(3865 * FT, curve_number=63, mean_slope=0.0479)
    answer(lag / LAG_PER_TC, 1.14, of="TC-13", within=0.005)


def test_sheet_flow_tc_14() -> None:
    """NEH chapter 15 (2010), Mawney Brook by the velocity method (PDF pp. 18-21): 0.09 h."""
    hours = sheet_flow_h(100 * FT, 0.08, rain_2yr_24h_mm=3.6 * IN, roughness=0.15)
    answer(hours, 0.09, of="TC-14", within=0.005)


def test_shallow_velocity_table_15_3() -> None:
    """NEH chapter 15, table 15-3: ft/s over the square root of the slope, grassed way and paved."""
    found = [float(shallow_velocity_m_s(1.0, paved=p)) / FT for p in (False, True)]
    cells(found, [16.135, 20.328], of="NEH chapter 15, table 15-3", within=0.0005 + 1e-9)


def test_full_pipe_tc_15() -> None:
    """McCuen, example 3-13: a full pipe of 15 in, n 0.011, slope 0.009, runs at 5.9 ft/s."""
    radius = 15 * IN / 1000 / 4  # a full round pipe: area over perimeter
    velocity = manning_velocity_m_s(radius, 0.009, roughness=0.011)
    answer(velocity / FT, 5.9, of="TC-15", within=0.05)


def test_kirpich_tc_16() -> None:
    """ABDER drainage course notes p. 67, read in a typed copy: 0.49 km at 7 %, 0.106 h."""
    answer(kirpich_h(490.0, 0.07), 0.106, of="TC-16", within=0.0005)


def test_kirpich_tc_17() -> None:
    """IME drainage course notes p. 29, read in a typed copy: 5 km that fall 300 m, 41 min.

    The notes give it as the formula of the California culvert practice, 57 (L^3 / H)^0.385 in km
    and m, which is Kirpich's with the slope written as H / L.
    """
    answer(kirpich_h(5000.0, 300 / 5000) * 60, 41, of="TC-17", within=0.5)
