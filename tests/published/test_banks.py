"""Stone on banks and the height of banks against worked examples.

HDS-6 is FHWA Hydraulic Design Series 6, 2001 (page copies); HEC-11 is FHWA Hydraulic Engineering
Circular 11, 1989 (read in a typed copy that names its pages). US figures are turned into metres and
back. Tolerances are half of the last digit that is printed where a test does not say why not.
"""

import math

import pytest

from siting.hydraulics.bank_height import critical_height_m
from siting.hydraulics.resistance import soils
from siting.hydraulics.stone_on_slopes import (
    bank_factor,
    bank_pull_d50_m,
    bank_speed_d50_m,
    bank_stability_number,
    hec11_correction,
    hec11_d50_m,
    repose_ratio,
)
from tests.published.printed import answer, cells

FT, IN = 0.3048, 0.0254


def bank_deg(along: float) -> float:
    """Angle of a bank of so much along for 1 up."""
    return math.degrees(math.atan(1 / along))


def test_bank_rk_6() -> None:
    """HDS-6 p. 6.24: repose 45, bank 25 degrees, safety 1.5."""
    answer(repose_ratio(25, 45), 2.14, of="RK-6", within=0.005)
    answer(bank_stability_number(25, 45, safety=1.5), 0.31, of="RK-6", within=0.005)


def test_bank_rk_7() -> None:
    """HDS-6 p. 6.56, problem 2a: 95.8 N/m2, bank 20, repose 40 degrees, safety 1.5: 0.35 m.

    The page goes on with 0.36 for the stability number, which is 0.3613.
    """
    eta = bank_stability_number(20, 40, safety=1.5)
    answer(eta, 0.36, of="RK-7", within=0.005)
    answer(bank_pull_d50_m(95.8, 20, safety=1.5) * eta / 0.36, 0.35, of="RK-7", within=0.005)


def test_bank_rk_8() -> None:
    """HDS-6 p. 6.56, problem 2b: on the same bank the pull has the number 0.83 for 0.15 m."""
    eta = bank_stability_number(20, 40, safety=1.5)
    answer(bank_pull_d50_m(95.8, 20, safety=1.5) * eta / 0.15, 0.83, of="RK-8", within=0.005)
    answer(repose_ratio(20, 40), 2.31, of="RK-8", within=0.005)


def test_bank_rk_24() -> None:
    """HDS-6 p. 6.70: repose 40, bank 18.5 degrees, safety 1.5, 9.45 ft/s.

    Sm 2.51, eta 0.40, 1.26 ft. The page takes 2.5 for 2.51 on its way to eta (0.4060
    without that), and goes on with 0.40.
    """
    answer(repose_ratio(18.5, 40), 2.51, of="RK-24", within=0.005)
    eta = bank_stability_number(18.5, 40, safety=1.5)
    answer(eta, 0.40, of="RK-24", within=0.0065, why="from 2.5 for 2.51")
    d50 = bank_speed_d50_m(9.45 * FT, 18.5, safety=1.5)
    answer(d50 * eta / 0.40 / FT, 1.26, of="RK-24", within=0.005)


def test_riprap_rk_25() -> None:
    """HEC-11, example 1 (PDF pp. 72-78): 9.7 ft/s, 11.8 ft deep, bank 2 to 1, repose 41 degrees."""
    answer(bank_factor(bank_deg(2), 41), 0.73, of="RK-25", within=0.005)
    answer(hec11_d50_m(9.7 * FT, 11.8 * FT, bank=0.73) / FT, 0.43, of="RK-25", within=0.005)


def test_riprap_rk_26() -> None:
    """HEC-11, example 2 (PDF pp. 84-85): 12.6 ft/s, 12.0 ft deep; density 2600, safety 1.6.

    The 0.9 ft are read off its chart 1, to no more than that digit.
    """
    answer(hec11_d50_m(12.6 * FT, 12.0 * FT, bank=0.73) / FT, 0.9, of="RK-26", within=0.05)
    answer(hec11_correction(density=2600, safety=1.6), 1.6, of="RK-26", within=0.05)


def test_riprap_rk_27() -> None:
    """A Colorado mine permit, document 993768 p. 30, page copy: a calculation by HEC-11's formula.

    1.87 m/s, 0.1219 m deep, banks of 3 to 1 with repose at 1 to 1: K 0.8944 and stone of 0.1315 m,
    5.18 in; K for banks of 2 and of 10 to 1.
    """
    factor = bank_factor(bank_deg(3), 45)
    answer(factor, 0.8944, of="RK-27", within=0.00005)
    d50 = hec11_d50_m(1.87, 0.1219, bank=factor)
    answer(d50 / IN, 5.18, of="RK-27", within=0.005)
    answer(d50, 0.1315, of="RK-27", within=0.00012, why="its metric factor is rounded, 0.00594")
    answer(bank_factor(bank_deg(2), 45), 0.7746, of="RK-27", within=0.00005)
    answer(bank_factor(bank_deg(10), 45), 0.99, of="RK-27", within=0.00005)


def test_upright_bank_bk_1() -> None:
    """A civil engineering examination with its solution, page copy: 14 kPa, 21 kN/m3: 2.67 m."""
    height = critical_height_m(14e3, friction_deg=0.0, unit_weight_n_m3=21e3)
    answer(height, 2.67, of="BK-1", within=0.005)


@pytest.mark.parametrize(
    ("symbol", "pascal"),
    [("SM", (1.1, 3.5)), ("SC", (1.8, 4.5)), ("ML", (1.1, 4.0)), ("SP", (1.0, 1.0))],
)
def test_soils_of_table_2_3(symbol: str, pascal: tuple[float, float]) -> None:
    """HEC-15 (2005), table 2.3 (PDF p. 33), read in a typed copy: soils of plasticity index 10.

    The high ends are those of an index above 20 where they are higher.
    """
    cells(soils()[symbol].bare.pull_pa, pascal, of="HEC-15 (2005), table 2.3")


def test_clay_and_gravel_of_table_2_3() -> None:
    """HEC-15 (2005), table 2.3: inorganic clays, and gravel of 7.5 mm."""
    of_table = [soils()["CH"].bare.pull_pa[0], soils()["GP"].bare.pull_pa[0]]
    cells(of_table, [6.6, 5.6], of="HEC-15 (2005), table 2.3")
