"""The unit hydrograph and the rational method against printed tables and worked answers."""

import pytest

from siting.floods.rainfall_reading import parse_rainfall
from siting.floods.rational import RURAL_COEFFICIENTS, rational_peak_m3s
from siting.floods.storm import balanced_storm_mm
from siting.floods.unit_hydrograph import dimensionless_flow
from tests.published.printed import answer, cells

CFS, MM_PER_INCH, HA_PER_ACRE = 0.028316846592, 25.4, 0.40468564224


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
