"""Regional equations against examples printed in the reports of the U.S. Geological Survey."""

import pytest

from siting.floods.regional import prediction_interval_m3s
from siting.floods.regional_equations import built_in_equations
from tests.published.printed import answer, cells, half_last_digit
from tests.regional_flow import flow_cfs

M_PER_FT = 0.3048


def test_wy_1() -> None:
    """WRIR 03-4107 pp. 30-33, Poison Creek, region 2, Q100: 6,000 cfs."""
    answer(flow_cfs("WY-2", 100, area_mi2=500), 6000, of="WY-1", within=50)


def test_wy_2() -> None:
    """WRIR 03-4107 pp. 30-33, Murphy Creek, region 3, Q100: 8,900 cfs; lower 95 % 3,400."""
    flow = flow_cfs("WY-3", 100, area_mi2=49, soils_index=3.5)
    answer(flow, 8900, of="WY-2", within=50)
    equation = built_in_equations().region("WY-3").equation(100)
    assert equation is not None
    # 65 gages and three coefficients: Student's t for 62 degrees of freedom, 95 per cent, is 1.999.
    low, _ = prediction_interval_m3s(flow, error_log10=equation.error_log10, t=1.999)
    answer(low / flow, 0.382, of="WY-2", within=0.0005)
    answer(low, 3400, of="WY-2", within=50)


def test_wy_3() -> None:
    """WRIR 03-4107 pp. 30-33, Coney Creek, region 1, Q50: 182 cfs."""
    flow = flow_cfs("WY-1", 50, area_mi2=3.41, elevation_ft=9440, outlet_longitude_deg_w=107.32)
    answer(flow, 182, of="WY-3", within=0.5)


def test_wy_4() -> None:
    """WRIR 03-4107 pp. 30-33, North Fork Crazy Woman Creek, Q25: 2,080, 4,630, 2,800 cfs."""
    site = {
        "area_mi2": 170,
        "elevation_ft": 7300,
        "outlet_longitude_deg_w": 106.8,
        "soils_index": 2.9,
    }
    answer(flow_cfs("WY-1", 25, **site), 2080, of="WY-4", within=5)
    answer(flow_cfs("WY-3", 25, **site), 4630, of="WY-4", within=5)
    shares = {"WY-1": 120 / 170, "WY-3": 50 / 170}
    answer(flow_cfs(shares, 25, **site), 2800, of="WY-4", within=50)


def test_nm_1() -> None:
    """SIR 2008-5119 p. 11, region 2, Q100: 10,800 cfs (the report rounds its factors)."""
    flow = flow_cfs("NM-2", 100, area_mi2=523, slope=0.2422, elevation_ft=6940)
    answer(flow, 10_800, of="NM-1", within=60, why="the report rounds its factors")


@pytest.mark.parametrize(("years", "cfs"), [(2, 71), (5, 131), (100, 377), (500, 544)])
def test_nm_2(years: float, cfs: float) -> None:
    """SIR 2008-5119 appendix 1, map number 227, region 7, 0.20 square mile."""
    cells(flow_cfs("NM-7", years, area_mi2=0.20), cfs, of="SIR 2008-5119 appendix 1", rel=0.01)


def test_az_1() -> None:
    """SIR 2014-5211 p. 34, region 4, Q100: 149,714 cfs, 90 % interval 98,000 to 229,000 cfs."""
    flow = flow_cfs("AZ-4", 100, area_mi2=5499, elevation_ft=5573, precipitation_in=19.6)
    answer(flow, 149_714, of="AZ-1", within=15, why="coefficients are printed rounded")
    low, high = prediction_interval_m3s(flow, error_log10=0.1105, t=1.666)
    answer(low, 98_000, of="AZ-1", within=500)
    answer(high, 229_000, of="AZ-1", within=500)


@pytest.mark.parametrize(
    ("region", "years", "cfs"),
    [("NV-6", 10, 362), ("NV-6", 100, 2120), ("NV-10", 10, 2450), ("NV-10", 100, 13_800)],
)
def test_nv_1(region: str, years: float, cfs: float) -> None:
    """Water-Supply Paper 2433 pp. 39-40: 57 square miles, mean elevation 6,500 ft."""
    flow = flow_cfs(region, years, area_mi2=57, elevation_ft=6500)
    answer(flow, cfs, of="NV-1", within=half_last_digit(cfs))


@pytest.mark.parametrize(("years", "cfs"), [(10, 1680), (100, 9500)])
def test_nv_2(years: float, cfs: float) -> None:
    """Water-Supply Paper 2433 p. 41, equation 6: 21 square miles in region 6, 36 in region 10."""
    shares = {"NV-6": 21 / 57, "NV-10": 36 / 57}
    flow = flow_cfs(shares, years, area_mi2=57, elevation_ft=6500)
    answer(flow, cfs, of="NV-2", within=half_last_digit(cfs))
