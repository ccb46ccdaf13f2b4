"""Runoff, travel time and peak flow against the printed tables and examples of TR-55 and others.

TR-55 is USDA Soil Conservation Service, "Urban Hydrology for Small Watersheds", Technical Release
55, second edition, 1986.
"""

import numpy as np
import pytest

from siting.floods.graphical import graphical_peak_m3s, pond_factor, unit_peak_csm_in
from siting.floods.runoff import initial_abstraction_mm, retention_mm, runoff_depth_mm
from siting.floods.travel_time import (
    channel_flow_h,
    manning_velocity_m_s,
    nrcs_lag_h,
    shallow_flow_h,
    shallow_velocity_m_s,
    sheet_flow_h,
)
from tests.published.printed import answer, cells

IN, FT, MI2, CFS = 25.4, 0.3048, 258.9988110336, 0.028316846592

# TR-55 table 2-1: runoff depth in inches.
CURVE_NUMBERS = [40, 50, 60, 65, 70, 75, 80, 85, 90, 95]
TABLE_2_1 = {
    1.0: [0.00, 0.00, 0.00, 0.00, 0.00, 0.03, 0.08, 0.17, 0.32, 0.56],
    1.4: [0.00, 0.00, 0.00, 0.02, 0.06, 0.13, 0.24, 0.39, 0.61, 0.92],
    2.0: [0.00, 0.00, 0.06, 0.14, 0.24, 0.38, 0.56, 0.80, 1.09, 1.48],
    3.0: [0.00, 0.09, 0.33, 0.51, 0.71, 0.96, 1.25, 1.59, 1.98, 2.45],
    4.0: [0.06, 0.33, 0.76, 1.03, 1.33, 1.67, 2.04, 2.46, 2.92, 3.43],
    5.0: [0.24, 0.69, 1.30, 1.65, 2.04, 2.45, 2.89, 3.37, 3.88, 4.42],
    6.0: [0.50, 1.14, 1.92, 2.35, 2.81, 3.28, 3.78, 4.30, 4.85, 5.41],
    8.0: [1.25, 2.25, 3.33, 3.89, 4.46, 5.04, 5.63, 6.21, 6.81, 7.40],
    12.0: [3.38, 5.00, 6.56, 7.32, 8.05, 8.76, 9.45, 10.11, 10.76, 11.39],
}


@pytest.mark.parametrize("rain_in", TABLE_2_1)
def test_runoff_table_2_1(rain_in: float) -> None:
    """TR-55 table 2-1, to 0.005 in.

    The row of 7.0 in is left out whole: its cell for curve number 50 is faulty (1.68 where the
    equation gives 1.667).
    """
    runoff_in = runoff_depth_mm(rain_in * IN, CURVE_NUMBERS) / IN
    cells(runoff_in, TABLE_2_1[rain_in], of="TR-55 table 2-1", within=0.005 + 1e-9)


def test_initial_abstraction_table_4_1() -> None:
    """TR-55 table 4-1, to 0.0005 in."""
    numbers = [40, 50, 60, 65, 70, 75, 80, 85, 90, 95, 98]
    printed = [3.000, 2.000, 1.333, 1.077, 0.857, 0.667, 0.500, 0.353, 0.222, 0.105, 0.041]
    found = initial_abstraction_mm(numbers) / IN
    cells(found, printed, of="TR-55 table 4-1", within=0.0005 + 1e-9)


def test_runoff_cn_1() -> None:
    """TR-55 example 4-1 and table 2-1: 6.0 in on curve number 75."""
    answer(retention_mm(75) / IN, 3.333, of="CN-1", within=0.0005)
    answer(initial_abstraction_mm(75) / IN, 0.667, of="CN-1", within=0.0005)
    answer(runoff_depth_mm(6.0 * IN, 75) / IN, 3.28, of="CN-1", within=0.005)


def test_runoff_cn_2() -> None:
    """TR-55 table 2-1: 5 in on curve number 80 (2.41 acre-ft from 10 acres is computed)."""
    runoff_in = runoff_depth_mm(5.0 * IN, 80) / IN
    assert initial_abstraction_mm(80) / IN == pytest.approx(0.5, abs=0.01)
    cells(runoff_in, 2.89, of="TR-55 table 2-1", within=0.005)
    assert runoff_in / 12 * 10 == pytest.approx(2.41, abs=0.01)


def test_runoff_cn_4_and_6() -> None:
    """San Diego State University, CIVE 445, worked homework (V. M. Ponce): 1.8 cm and 77."""
    answer(runoff_depth_mm(50.0, 84) / 10, 1.8, of="CN-4", within=0.05)
    # Rain 201 mm with 132 mm of runoff: the number that fits best is printed as 77.
    numbers = np.arange(60.0, 95.0, 0.1)
    best = numbers[np.argmin(abs(runoff_depth_mm(201.0, numbers) - 132.0))]
    answer(best, 77, of="CN-6", within=0.5)


def test_sheet_flow_tc_6() -> None:
    """TR-55 chapter 3 example, worksheet 3, segment AB: 0.30 h."""
    hours = sheet_flow_h(100 * FT, 0.01, rain_2yr_24h_mm=3.6 * IN, roughness=0.24)
    answer(hours, 0.30, of="TC-6", within=0.005)


def test_shallow_flow_tc_7() -> None:
    """TR-55 chapter 3 example, worksheet 3, segment BC, unpaved: 1.61 ft/s and 0.24 h."""
    answer(shallow_velocity_m_s(0.01) / FT, 1.61, of="TC-7", within=0.005)
    answer(shallow_flow_h(1400 * FT, 0.01), 0.24, of="TC-7", within=0.005)


def test_shallow_flow_paved() -> None:
    """TR-55 appendix F: V = 20.3282 s^0.5 ft/s on paved ground."""
    assert shallow_velocity_m_s(0.04, paved=True) / FT == pytest.approx(20.3282 * 0.2, abs=1e-4)


def test_channel_flow_tc_8() -> None:
    """TR-55 chapter 3 example, worksheet 3, segment CD: r 0.957 ft, 2.05 ft/s, 0.99 h."""
    radius_ft = 27.0 / 28.2
    assert radius_ft == pytest.approx(0.957, abs=0.001)  # our own arithmetic
    velocity = manning_velocity_m_s(radius_ft * FT, 0.005, roughness=0.05)
    answer(velocity / FT, 2.05, of="TC-8", within=0.01, why="with 1.49 for 1.486")
    hours = channel_flow_h(7300 * FT, 0.005, hydraulic_radius_m=radius_ft * FT, roughness=0.05)
    answer(hours, 0.99, of="TC-8", within=0.005)


def test_time_of_concentration_tc_9() -> None:
    """TR-55 chapter 3 example, worksheet 3: the three segments add up to 1.53 h."""
    total = (
        sheet_flow_h(100 * FT, 0.01, rain_2yr_24h_mm=3.6 * IN, roughness=0.24)
        + shallow_flow_h(1400 * FT, 0.01)
        + channel_flow_h(7300 * FT, 0.005, hydraulic_radius_m=27 / 28.2 * FT, roughness=0.05)
    )
    answer(total, 1.53, of="TC-9", within=0.005)


def test_manning_oc_1() -> None:
    """Mott problem 14.19, trapezoid 3 m wide and 1.5 m deep: 2.018 m/s and 15.89 m3/s."""
    area, perimeter = 7.875, 3.0 + 2 * 1.5 * np.hypot(1.0, 1.5)
    velocity = manning_velocity_m_s(area / perimeter, 0.001, roughness=0.015)
    assert perimeter == pytest.approx(8.408, abs=0.001)
    answer(velocity, 2.018, of="OC-1", within=0.0005)
    answer(velocity * area, 15.89, of="OC-1", within=0.005)


def test_nrcs_lag_tc_11() -> None:
    """San Diego State University, CIVE 445, worked homework (V. M. Ponce): lag 1.72 h."""
    lag = nrcs_lag_h(4200.0, curve_number=82, mean_slope=0.02)
    answer(lag, 1.72, of="TC-11", within=0.005)


def test_unit_peak_pk_2() -> None:
    """TR-55 worksheet 4, type II, Tc 1.53 h: 271.7 and 222.0 csm/in at Ia/P 0.10 and 0.30."""
    unit = unit_peak_csm_in(1.53, ia_over_p=[0.10, 0.30], storm_type="II")
    answer(unit[0], 271.7, of="PK-2", within=0.05)
    answer(unit[1], 222.0, of="PK-2", within=0.05)


def test_graphical_peak_pk_1() -> None:
    """TR-55 example 4-1, worksheet 4 (Heavenly Acres): Ia/P 0.11, Q 3.28 in, qu 270 and 345 cfs."""
    ratio = initial_abstraction_mm(75) / (6.0 * IN)
    runoff = runoff_depth_mm(6.0 * IN, 75)
    answer(ratio, 0.11, of="PK-1", within=0.005)
    unit = unit_peak_csm_in(1.53, ia_over_p=ratio)
    answer(unit, 270, of="PK-1", within=5, why="read off the curves of exhibit 4-II")
    peak = graphical_peak_m3s(
        0.39 * MI2, runoff, ia_over_p=ratio, time_of_concentration_h=1.53, storm_type="II"
    )
    answer(peak / CFS, 345, of="PK-1", within=2, why="from the 270 read off the curves")


def test_graphical_peak_pk_3() -> None:
    """V. M. Ponce, textbook example 5-9, as printed with his on-line TR-55 page: 12.09 m3/s."""
    ratio = initial_abstraction_mm(74) / 90.0
    answer(ratio, 0.198, of="PK-3", within=0.0005)
    peak = graphical_peak_m3s(
        400.0,
        runoff_depth_mm(90.0, 74),
        ia_over_p=ratio,
        time_of_concentration_h=1.5,
        storm_type="II",
        pond_fraction=0.01,
    )
    answer(peak, 12.09, of="PK-3", within=0.03, why="the page turns units by rounded factors")


def test_pond_factor_table_4_2() -> None:
    """TR-55 table 4-2; held at 0.72 beyond 5 per cent."""
    factor = pond_factor([0.0, 0.002, 0.01, 0.03, 0.05, 0.20])
    cells(factor[:-1], [1.00, 0.97, 0.87, 0.75, 0.72], of="TR-55 table 4-2", within=1e-9)
    assert factor[-1] == pytest.approx(0.72, abs=1e-9)
