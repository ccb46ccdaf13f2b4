"""Stone on chutes and linings against the worked examples of a paper and a design manual."""

import numpy as np
import pytest

from siting.floods.travel_time import manning_velocity_m_s
from siting.hydraulics.bed_size import manning_depth_m
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import shear_pa
from siting.hydraulics.resistance import of_stone
from siting.hydraulics.stone import overtopping_d50_m, rock_chute_d50_m
from siting.values.rules import load_rules
from tests.published.printed import answer, cells

#: Stone of 25,900 N/m3, as HEC-15 takes it.
STONE_KG_M3 = 25_900 / 9.81


def permissible_shear_pa(d50_m: float, **method: float) -> float:
    """Pull that stone stands, Pa."""
    return of_stone(d50_m, density=STONE_KG_M3, **method).pull_pa[0]


def test_rock_chute_rk_22() -> None:
    """Robinson, Rice and Kadavy 1998, Transactions of the ASAE 41(3), the paper's own example.

    Second-hand, as a review note quotes it. 0.60 m2/s on a slope of 0.20 ask for
    stone of 231 mm. Above the stone, 0.070 m2/s less, the water is 0.186 m deep with n 0.051.
    """
    answer(rock_chute_d50_m(0.60, 0.20) * 1000, 231, of="RK-22", within=0.5)
    one = np.ones(1)
    depth = manning_depth_m((0.60 - 0.070) * one, one, 0.20 * one, roughness=0.051)
    answer(depth[0], 0.186, of="RK-22", within=0.0005)


def test_rock_chute_rk_28() -> None:
    """Haws, "Design of Rock Chutes per Robinson", a public design sheet, page copy.

    0.05 m2/s on a slope of 0.02: a layer of 27.826 mm, two median stones, and an apron of
    208.695 mm, fifteen of them.
    """
    rules = load_rules()
    d50_mm = rock_chute_d50_m(0.05, 0.02) * 1000
    answer(rules.value("stone.layer") * d50_mm, 27.826, of="RK-28", within=0.0005)
    answer(rules.value("rock_rundown.outlet") * d50_mm, 208.695, of="RK-28", within=0.0005)


def test_gabion_lining_rk_23() -> None:
    """FHWA HEC-15 (2005), gabion mattress example of chapter 7 (PDF pp. 115-117).

    Read in a typed copy. Stone of 0.15 m in baskets, F* 0.10, stands 241 N/m2; water 0.185 m
    deep at a slope of 0.09 pulls with 163 N/m2; a bed of 0.60 m with sides 3 and n 0.055 carries
    0.29 m3/s. That flow is 0.2847 from the n printed, which is itself rounded by up to 0.9 per
    cent, so 0.0026 m3/s are allowed beyond its own rounding.
    """
    answer(permissible_shear_pa(0.15, shields=0.10), 241, of="RK-23", within=0.5)
    answer(shear_pa(0.185, 0.09), 163, of="RK-23", within=0.5)
    wet = CrossSection.trapezoid(0.60, side=3.0, depth_m=1.0).wetted(0.185)
    velocity = manning_velocity_m_s(wet.area_m2 / wet.perimeter_m, 0.09, roughness=0.055)
    flow = velocity * wet.area_m2
    answer(flow, 0.29, of="RK-23", within=0.005 + 0.0026, why="n is printed rounded")


def test_overtopped_bank_rk_40() -> None:
    """FHWA HEC-23 (2009), design guideline 5, examples 5.5.2 and 5.5.3, read in a typed copy.

    0.186 m2/s over a bank of 1 in 5 ask for stone of 0.094 m, over one of 1 in 2 for 0.29 m, with
    Cu 2.1, Sg 2.65 and an angle of repose of 42 degrees. The copy's inputs are rounded: 0.0942 and
    0.289 come out.
    """
    answer(overtopping_d50_m(0.186, 0.20), 0.094, of="RK-40", within=0.0005)
    answer(overtopping_d50_m(0.186, 0.50), 0.29, of="RK-40", within=0.005)


@pytest.mark.parametrize(("d50_m", "pa"), [(0.025, 19), (0.050, 38), (0.15, 113), (0.30, 227)])
def test_permissible_shear_table_2_3(d50_m: float, pa: float) -> None:
    """FHWA HEC-15 (2005), table 2.3 (PDF p. 33), read in a typed copy: gravel and riprap."""
    cells(permissible_shear_pa(d50_m), pa, of="HEC-15 (2005), table 2.3", within=0.5)
