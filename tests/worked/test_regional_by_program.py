"""Regional equations against the flow-statistics program of the U.S. Geological Survey.

The program gave these flows for inputs of our own, on the dates named where they were kept;
its version was not kept. No report prints them.
"""

import pytest

from tests.regional_flow import flow_cfs


@pytest.mark.parametrize(("years", "cfs"), [(1.5, 119), (100, 2230)])
def test_wy_5(years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-01: Wyoming region 2, 50 square miles."""
    assert flow_cfs("WY-2", years, area_mi2=50) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(
    ("region", "years", "cfs"),
    [("NM-8", 100, 1630), ("NM-6", 100, 5600), ("NM-7", 2, 865), ("NM-9", 100, 5400)],
)
def test_nm_3(region: str, years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-02: 50 square miles, slope 0.1 in region 9."""
    assert flow_cfs(region, years, area_mi2=50, slope=0.1) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(("years", "cfs"), [(2, 559), (100, 4130)])
def test_az_2(years: float, cfs: float) -> None:
    """USGS flow-statistics program: Arizona region 1, 200 square miles."""
    assert flow_cfs("AZ-1", years, area_mi2=200) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(("years", "cfs"), [(2, 384), (100, 4040), (200, 5172)])
def test_az_3(years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-02: Arizona region 2, 50 mi2; Q200 computed."""
    assert flow_cfs("AZ-2", years, area_mi2=50) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(
    ("region", "years", "cfs"),
    [("UT-1", 2, 250), ("UT-3", 100, 841), ("UT-6", 100, 1740), ("UT-7", 100, 2280)],
)
def test_ut_1(region: str, years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-01: Utah, 30 square miles, mean elevation 8,500 ft."""
    assert flow_cfs(region, years, area_mi2=30, elevation_ft=8500) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(
    ("region", "years", "cfs"),
    [
        ("CO-mountain", 2, 648),
        ("CO-mountain", 500, 1910),
        ("CO-northwest", 100, 2910),
        ("CO-southwest", 500, 5060),
    ],
)
def test_co_1(region: str, years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-01: 100 mi2, 15 %, 30 in, half above 7,500 ft."""
    flow = flow_cfs(
        region,
        years,
        area_mi2=100,
        slope=0.15,
        precipitation_in=30,
        percent_above_7500_ft=50,
    )
    assert flow == pytest.approx(cfs, rel=0.005)
