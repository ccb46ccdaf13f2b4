"""The unit hydrograph and the rational method against printed tables and worked answers."""

import numpy as np
import pytest

from siting.floods.rainfall import Rainfall
from siting.floods.rainfall_reading import parse_rainfall
from siting.floods.rational import RURAL_COEFFICIENTS, rational_peak_m3s
from siting.floods.storm import balanced_storm_mm
from siting.floods.travel_time import LAG_PER_TC, nrcs_lag_h
from siting.floods.unit_hydrograph import dimensionless_flow, hydrograph
from tests.published.printed import answer, cells

CFS, MM_PER_INCH, FT = 0.028316846592, 25.4, 0.3048
HA_PER_ACRE, HA_PER_MI2 = 0.40468564224, 258.9988110336


def test_dimensionless_unit_hydrograph_uh_2() -> None:
    """National Engineering Handbook part 630 chapter 16, tables 16-1 and 16-2."""
    flow = dimensionless_flow([0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0])
    printed = [0.47, 1.0, 0.68, 0.28, 0.055, 0.011, 0.0]
    cells(flow, printed, of="chapter 16, tables 16-1 and 16-2", within=0.001)


def unit_hydrograph(
    area_ha: float, *, time_of_concentration_h: float, runoff_mm: float
) -> tuple[float, float, float]:
    """Unit duration h, time to peak h and peak m3/s when all runoff leaves in one unit duration.

    The storm is so short that it falls within one step, on ground that holds nothing back.
    """
    rain = Rainfall(
        durations_h=np.array([0.01, 24.0]),
        return_periods_yr=np.array([2.0]),
        depths_mm=np.full((2, 1), runoff_mm),
        source="a burst of 36 seconds",
    )
    found = hydrograph(
        area_ha,
        curve_number=100,
        time_of_concentration_h=time_of_concentration_h,
        rainfall=rain,
        return_period_yr=2,
    )
    unit_h = float(found.time_h[0])
    assert found.runoff_mm.max() == pytest.approx(runoff_mm), "the burst fell into two steps"
    start_h = found.time_h[found.runoff_mm.argmax()] - unit_h
    return unit_h, float(found.time_h[found.flow_m3s.argmax()] - start_h), found.peak_m3s


def test_unit_hydrograph_uh_1() -> None:
    """San Diego State University, CIVE 445, worked homework (V. M. Ponce), page copy.

    11.2 km2 with the lag of TC-11, 1.72 h: unit duration 0.38 h, time to peak 1.91 h, 12.20 m3/s
    from a centimetre.
    """
    unit, to_peak, peak = unit_hydrograph(
        1120.0, time_of_concentration_h=1.72 / LAG_PER_TC, runoff_mm=10.0
    )
    answer(unit, 0.38, of="UH-1", within=0.005)
    answer(to_peak, 1.91, of="UH-1", within=0.005)
    answer(peak, 12.20, of="UH-1", within=0.005)


def test_time_to_peak_uh_3() -> None:
    """National Engineering Handbook part 630, example 16-1 (PDF pp. 13-16): 1.53 h.

    Read in a typed copy. The example takes 0.3 h as unit duration, which here is 0.307 h: the
    time to peak is the same to its last digit, but the peak of 1,455 cfs is not and is left out.
    """
    _, to_peak, _ = unit_hydrograph(
        4.6 * HA_PER_MI2, time_of_concentration_h=2.3, runoff_mm=MM_PER_INCH
    )
    answer(to_peak, 1.53, of="UH-3", within=0.005)


def test_unit_hydrograph_uh_4() -> None:
    """R. H. McCuen, "Hydrologic Analysis and Design", 1998, example 9-23 (PDF pp. 557-558).

    Read in a typed copy: Tc 1.34 h from the lag of 6,500 ft at 1.3 %, curve number 92; from 300
    acres and one inch a time to peak of 0.893 h and 254 cfs.
    """
    lag = nrcs_lag_h(6500 * FT, curve_number=92, mean_slope=0.013)
    answer(lag / LAG_PER_TC, 1.34, of="UH-4", within=0.005)
    _, to_peak, peak = unit_hydrograph(
        300 * HA_PER_ACRE, time_of_concentration_h=1.34, runoff_mm=MM_PER_INCH
    )
    answer(to_peak, 0.893, of="UH-4", within=0.0005)
    answer(peak / CFS, 254, of="UH-4", within=0.5)


def acre_inches_per_hour(acres: float, *, inches_per_hour: float, coefficient: float) -> float:
    """Rational peak in the unit that US examples take for 1 cfs; exactly it is 1.00833 cfs."""
    flow = rational_peak_m3s(
        acres * HA_PER_ACRE,
        intensity_mm_h=inches_per_hour * MM_PER_INCH,
        runoff_coefficient=coefficient,
    )
    return float(flow) / CFS / (43560.0 / 12.0 / 3600.0)


def test_rational_rm_1() -> None:
    """San Diego State University, CIVE 445, midterm 2 problem 1 (V. M. Ponce): 3.694 m3/s."""
    flow = rational_peak_m3s(70.0, intensity_mm_h=20.0, runoff_coefficient=0.95)
    answer(flow, 3.694, of="RM-1", within=0.0005)


def test_rational_rm_2() -> None:
    """A published homework answer: C 0.4, 2.87 in/h on 128 acres gives 146.9 cfs."""
    flow = acre_inches_per_hour(128, inches_per_hour=2.87, coefficient=0.4)
    answer(flow, 146.9, of="RM-2", within=0.05)


@pytest.mark.parametrize(
    ("coefficient", "inches", "acres", "cfs"),
    [(0.412, 4.8, 18.9, 37.4), (0.2, 5.4, 5.3, 5.7), (0.4, 5.4, 7.2, 15.6)],
)
def test_rational_rm_4(coefficient: float, inches: float, acres: float, cfs: float) -> None:
    """R. H. McCuen, "Hydrologic Analysis and Design", 1998, example 7-11 (pp. 398-399).

    Read in a typed copy: a basin of three parts, with its mean coefficient, and two parts.
    """
    flow = acre_inches_per_hour(acres, inches_per_hour=inches, coefficient=coefficient)
    answer(flow, cfs, of="RM-4", within=0.05)


def test_rational_rm_5() -> None:
    """R. H. McCuen, "Hydrologic Analysis and Design", 1998, example 7-9 (p. 397): 15 cfs.

    Read in a typed copy.
    """
    answer(
        acre_inches_per_hour(2.4, inches_per_hour=6.5, coefficient=0.95), 15, of="RM-5", within=0.5
    )


def test_rational_rm_6() -> None:
    """DNIT, Manual de Hidrologia (IPR-715) p. 130, read in a typed copy: 12.31 m3/s."""
    flow = rational_peak_m3s(240.0, intensity_mm_h=101.0, runoff_coefficient=0.1828)
    answer(flow, 12.31, of="RM-6", within=0.005)


def test_rational_rm_7() -> None:
    """DNIT, Manual de Hidrologia (IPR-715) p. 131, read in a typed copy: 107.9 m3/s."""
    flow = rational_peak_m3s(1050.0, intensity_mm_h=96.1, runoff_coefficient=0.385)
    answer(flow, 107.9, of="RM-7", within=0.05)


def test_balanced_storm_holds_the_table(fort_myers: str) -> None:
    """NOAA Atlas 14, Fort Myers (volume 9): the storm's middle holds every printed depth."""
    rain = parse_rainfall(fort_myers)
    for hours, inches in ((5 / 60, 0.822), (1.0, 3.13), (6.0, 5.18), (24.0, 7.28)):
        edges = balanced_storm_mm(rain, [12 - hours / 2, 12 + hours / 2], return_period_yr=10)
        cells((edges[1] - edges[0]) / 25.4, inches, of="NOAA Atlas 14, Fort Myers", within=1e-6)


@pytest.mark.parametrize(
    ("cover", "land", "soil", "printed"),
    [
        ("woodland", "flat", "sandy", 0.10),
        ("woodland", "hilly", "clay", 0.60),
        ("pasture", "flat", "loam", 0.30),
        ("pasture", "rolling", "loam", 0.36),
        ("pasture", "hilly", "sandy", 0.22),
        ("cultivated", "rolling", "clay", 0.70),
        ("cultivated", "hilly", "loam", 0.72),
    ],
)
def test_rural_coefficients(cover: str, land: str, soil: str, printed: float) -> None:
    """NRCS Hydrology Training Series, module 206D, table 2."""
    column = ("sandy", "loam", "clay").index(soil)
    found = RURAL_COEFFICIENTS[cover][land][column]
    cells(found, printed, of="module 206D, table 2")
