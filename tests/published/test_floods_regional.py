"""Regional equations against examples printed in the reports of the U.S. Geological Survey.

Values that no report prints but that USGS's own flow-statistics program gave for the inputs stated
(on the dates stated) are marked so; they check a copy, like printed examples.
"""

import numpy as np
import pytest

from siting.floods.flood_method import SiteFloodInputs
from siting.floods.regional import (
    RegionalMethod,
    prediction_interval_m3s,
)
from siting.floods.regional_equations import built_in_equations

HA_PER_MI2, M3S_PER_CFS, M_PER_FT, MM_PER_INCH = 258.9988110336, 0.028316846592, 0.3048, 25.4


def flow_cfs(
    region: str | dict[str, float],
    years: float,
    *,
    area_mi2: float,
    elevation_ft: float = np.nan,
    slope: float = np.nan,
    precipitation_in: float = np.nan,
    **basin: float,
) -> float:
    """Flow of the method itself, from SI inputs back to the printed unit."""
    inputs = SiteFloodInputs(
        np.array([area_mi2 * HA_PER_MI2]),
        mean_slope=slope,
        regions={region: 1.0} if isinstance(region, str) else region,
        basin={
            "mean_elevation_m": elevation_ft * M_PER_FT,
            "mean_annual_precipitation_mm": precipitation_in * MM_PER_INCH,
            **basin,
        },
    )
    return float(RegionalMethod().peak_flow(inputs, years).value_m3s[0]) / M3S_PER_CFS


def test_wy_1() -> None:
    """WRIR 03-4107 pp. 30-33, Poison Creek, region 2, Q100: 6,000 cfs."""
    assert flow_cfs("WY-2", 100, area_mi2=500) == pytest.approx(6000, rel=0.01)


def test_wy_2() -> None:
    """WRIR 03-4107 pp. 30-33, Murphy Creek, region 3, Q100: 8,900 cfs; lower 95 % 3,400."""
    flow = flow_cfs("WY-3", 100, area_mi2=49, soils_index=3.5)
    assert flow == pytest.approx(8900, rel=0.01)
    equation = built_in_equations().region("WY-3").equation(100)
    assert equation is not None
    # 65 gages and three coefficients: Student's t for 62 degrees of freedom, 95 per cent, is 1.999.
    low, _ = prediction_interval_m3s(flow, error_log10=equation.error_log10, t=1.999)
    assert low / flow == pytest.approx(0.382, rel=0.01)
    assert low == pytest.approx(3400, rel=0.01)


def test_wy_3() -> None:
    """WRIR 03-4107 pp. 30-33, Coney Creek, region 1, Q50: 182 cfs."""
    flow = flow_cfs("WY-1", 50, area_mi2=3.41, elevation_ft=9440, outlet_longitude_deg_w=107.32)
    assert flow == pytest.approx(182, rel=0.01)


def test_wy_4() -> None:
    """WRIR 03-4107 pp. 30-33, North Fork Crazy Woman Creek, Q25: 2,080, 4,630, 2,800 cfs."""
    site = {
        "area_mi2": 170,
        "elevation_ft": 7300,
        "outlet_longitude_deg_w": 106.8,
        "soils_index": 2.9,
    }
    assert flow_cfs("WY-1", 25, **site) == pytest.approx(2080, rel=0.015)
    assert flow_cfs("WY-3", 25, **site) == pytest.approx(4630, rel=0.015)
    shares = {"WY-1": 120 / 170, "WY-3": 50 / 170}
    assert flow_cfs(shares, 25, **site) == pytest.approx(2800, rel=0.015)


@pytest.mark.parametrize(("years", "cfs"), [(1.5, 119), (100, 2230)])
def test_wy_5(years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-01: Wyoming region 2, 50 square miles."""
    assert flow_cfs("WY-2", years, area_mi2=50) == pytest.approx(cfs, rel=0.005)


def test_nm_1() -> None:
    """SIR 2008-5119 p. 11, region 2, Q100: 10,800 cfs (the report rounds its factors)."""
    flow = flow_cfs("NM-2", 100, area_mi2=523, slope=0.2422, elevation_ft=6940)
    assert flow == pytest.approx(10_800, rel=0.006)


@pytest.mark.parametrize(("years", "cfs"), [(2, 71), (5, 131), (100, 377), (500, 544)])
def test_nm_2(years: float, cfs: float) -> None:
    """SIR 2008-5119 appendix 1, map number 227, region 7, 0.20 square mile."""
    assert flow_cfs("NM-7", years, area_mi2=0.20) == pytest.approx(cfs, rel=0.01)


@pytest.mark.parametrize(
    ("region", "years", "cfs"),
    [("NM-8", 100, 1630), ("NM-6", 100, 5600), ("NM-7", 2, 865), ("NM-9", 100, 5400)],
)
def test_nm_3(region: str, years: float, cfs: float) -> None:
    """USGS flow-statistics program, 2026-10-02: 50 square miles, slope 0.1 in region 9."""
    assert flow_cfs(region, years, area_mi2=50, slope=0.1) == pytest.approx(cfs, rel=0.005)


def test_az_1() -> None:
    """SIR 2014-5211 p. 34, region 4, Q100: 149,714 cfs, 90 % interval 98,000 to 229,000 cfs."""
    flow = flow_cfs("AZ-4", 100, area_mi2=5499, elevation_ft=5573, precipitation_in=19.6)
    assert flow == pytest.approx(149_714, rel=0.0001)
    low, high = prediction_interval_m3s(flow, error_log10=0.1105, t=1.666)
    assert (low, high) == pytest.approx((98_000, 229_000), rel=0.005)


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
    [("NV-6", 10, 362), ("NV-6", 100, 2120), ("NV-10", 10, 2450), ("NV-10", 100, 13_800)],
)
def test_nv_1(region: str, years: float, cfs: float) -> None:
    """Water-Supply Paper 2433 pp. 39-40: 57 square miles, mean elevation 6,500 ft."""
    assert flow_cfs(region, years, area_mi2=57, elevation_ft=6500) == pytest.approx(cfs, rel=0.005)


@pytest.mark.parametrize(("years", "cfs"), [(10, 1680), (100, 9500)])
def test_nv_2(years: float, cfs: float) -> None:
    """Water-Supply Paper 2433 p. 41, equation 6: 21 square miles in region 6, 36 in region 10."""
    shares = {"NV-6": 21 / 57, "NV-10": 36 / 57}
    assert flow_cfs(shares, years, area_mi2=57, elevation_ft=6500) == pytest.approx(cfs, rel=0.005)


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
