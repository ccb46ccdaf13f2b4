"""The unit hydrograph and the rational method against printed tables and worked answers."""

import pytest

from siting.floods.rainfall_reading import parse_rainfall
from siting.floods.rational import rational_peak_m3s, rural_coefficient
from siting.floods.storm import balanced_storm_mm
from siting.floods.travel_time import nrcs_lag_h
from siting.floods.unit_hydrograph import dimensionless_flow, unit_peak_m3s_per_mm
from tests.published.printed import answer, cells

CFS, MM_PER_INCH, HA_PER_ACRE = 0.028316846592, 25.4, 0.40468564224


def test_unit_peak_uh_1() -> None:
    """San Diego State University, CIVE 445, worked homework (V. M. Ponce): 12.20 m3/s per cm.

    Area 11.2 km2, lag 1.72 h (TC-11), unit duration 0.38 h, so a time to peak of 1.91 h.
    """
    lag = nrcs_lag_h(4200.0, curve_number=82, mean_slope=0.02)
    answer(0.38 / 2 + lag, 1.91, of="UH-1", abs=0.01)
    per_mm = unit_peak_m3s_per_mm(1120.0, lag_h=1.72, unit_duration_h=0.38)
    answer(per_mm * 10.0, 12.20, of="UH-1", abs=0.02)


def test_dimensionless_unit_hydrograph_uh_2() -> None:
    """National Engineering Handbook part 630 chapter 16, tables 16-1 and 16-2."""
    flow = dimensionless_flow([0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0])
    printed = [0.47, 1.0, 0.68, 0.28, 0.055, 0.011, 0.0]
    cells(flow, printed, of="chapter 16, tables 16-1 and 16-2", within=0.001)


def test_rational_rm_1() -> None:
    """San Diego State University, CIVE 445, midterm 2 problem 1 (V. M. Ponce): 3.694 m3/s."""
    flow = rational_peak_m3s(70.0, intensity_mm_h=20.0, runoff_coefficient=0.95)
    answer(flow, 3.694, of="RM-1", abs=0.001)


def test_rational_rm_2() -> None:
    """A published homework answer: C 0.4, 2.87 in/h on 128 acres gives 146.9 cfs.

    It takes 1 acre-inch an hour for 1 cfs; exactly it is 1.00833, by which the flow here is more.
    """
    flow = rational_peak_m3s(
        128 * HA_PER_ACRE, intensity_mm_h=2.87 * MM_PER_INCH, runoff_coefficient=0.4
    )
    answer(flow / CFS / (43560.0 / 12.0 / 3600.0), 146.9, of="RM-2", abs=0.1)


@pytest.mark.parametrize(
    ("cover", "slope", "soil", "printed"),
    [
        ("woodland", 0.03, "sandy", 0.10),
        ("woodland", 0.20, "clay", 0.60),
        ("pasture", 0.03, "loam", 0.30),
        ("pasture", 0.07, "loam", 0.36),
        ("pasture", 0.20, "sandy", 0.22),
        ("cultivated", 0.07, "clay", 0.70),
        ("cultivated", 0.20, "loam", 0.72),
    ],
)
def test_rural_coefficients(cover: str, slope: float, soil: str, printed: float) -> None:
    """NRCS Hydrology Training Series, module 206D, table 2."""
    found = rural_coefficient(cover, mean_slope=slope, soil=soil)
    cells(found, printed, of="module 206D, table 2")


def test_balanced_storm_holds_the_table(fort_myers: str) -> None:
    """NOAA Atlas 14, Fort Myers (volume 9): the storm's middle holds every printed depth."""
    rain = parse_rainfall(fort_myers)
    for hours, inches in ((5 / 60, 0.822), (1.0, 3.13), (6.0, 5.18), (24.0, 7.28)):
        edges = balanced_storm_mm(rain, [12 - hours / 2, 12 + hours / 2], return_period_yr=10)
        cells((edges[1] - edges[0]) / 25.4, inches, of="NOAA Atlas 14, Fort Myers", within=1e-6)
