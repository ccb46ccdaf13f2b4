"""How many published figures are checked, and that the tests named here really check them.

Three kinds are kept apart. *Printed*: the figure stands in the report, table, manual or captured
reply that is named. *Program*: the flow-statistics program of the U.S. Geological Survey gave it
for inputs of our own. *Computed*: worked out from a published formula or coefficients, since no
source prints the figure; these do not count as printed examples.
"""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Literal, NamedTuple

import pytest

HERE = Path(__file__).parent
Kind = Literal["printed", "program", "computed"]


class Case(NamedTuple):
    """One published example: where it is tested and the figures expected there."""

    id: str
    kind: Kind
    module: str
    test: str
    source: str
    figures: tuple[float, ...]


TR55, HYDRO, REGION, RAIN, FULL = (
    "test_floods_tr55",
    "test_floods_hydrograph_rational",
    "test_floods_regional",
    "test_floods_rainfall",
    "test_floods_bankfull",
)
FLOW, STONE, WOOD, BUILT = (
    "test_hydraulics",
    "test_stone",
    "test_wood",
    "test_structure_volumes",
)
CASES = (
    Case("CN-1", "printed", TR55, "test_runoff_cn_1", "TR-55", (3.333, 0.667, 3.28)),
    Case("CN-2", "printed", TR55, "test_runoff_cn_2", "TR-55", (2.89,)),
    Case("CN-4", "printed", TR55, "test_runoff_cn_4_and_6", "CIVE 445", (18.0,)),
    Case("CN-6", "printed", TR55, "test_runoff_cn_4_and_6", "CIVE 445", (77,)),
    Case("table 4-1", "printed", TR55, "test_initial_abstraction_table_4_1", "TR-55",
         (3.000, 2.000, 1.333, 1.077, 0.857, 0.667, 0.500, 0.353, 0.222, 0.105, 0.041)),
    Case("TC-2", "printed", TR55, "test_kirpich_tc_2_and_3", "TxDOT", (7.18,)),
    Case("TC-3", "printed", TR55, "test_kirpich_tc_2_and_3", "TxDOT", (12.25,)),
    Case("TC-6", "printed", TR55, "test_sheet_flow_tc_6", "worksheet 3", (0.30,)),
    Case("TC-7", "printed", TR55, "test_shallow_flow_tc_7", "worksheet 3", (1.61, 0.24)),
    Case("TC-8", "printed", TR55, "test_channel_flow_tc_8", "worksheet 3", (0.957, 2.05, 0.99)),
    Case("TC-9", "printed", TR55, "test_time_of_concentration_tc_9", "worksheet 3", (1.53,)),
    Case("TC-11", "printed", TR55, "test_nrcs_lag_tc_11", "CIVE 445", (1.72,)),
    Case("OC-1", "printed", TR55, "test_manning_oc_1", "Mott", (2.018, 15.89)),
    Case("PK-1", "printed", TR55, "test_graphical_peak_pk_1", "example 4-1", (0.11, 270, 345)),
    Case("PK-2", "printed", TR55, "test_unit_peak_pk_2", "worksheet 4", (271.7, 222.0)),
    Case("PK-3", "printed", TR55, "test_graphical_peak_pk_3", "example 5-9", (0.198, 12.09)),
    Case("table 4-2", "printed", TR55, "test_pond_factor_table_4_2", "TR-55 table 4-2",
         (1.00, 0.97, 0.87, 0.75, 0.72)),
    Case("UH-2", "printed", HYDRO, "test_dimensionless_unit_hydrograph_uh_2", "tables 16-1",
         (0.47, 0.68, 0.28, 0.055, 0.011)),
    Case("RM-1", "printed", HYDRO, "test_rational_rm_1", "CIVE 445", (3.694,)),
    Case("RM-2", "printed", HYDRO, "test_rational_rm_2", "published homework", (146.9,)),
    Case("WY-1", "printed", REGION, "test_wy_1", "WRIR 03-4107 pp. 30-33", (6000,)),
    Case("WY-2", "printed", REGION, "test_wy_2", "WRIR 03-4107 pp. 30-33", (8900, 0.382, 3400)),
    Case("WY-3", "printed", REGION, "test_wy_3", "WRIR 03-4107 pp. 30-33", (182,)),
    Case("WY-4", "printed", REGION, "test_wy_4", "WRIR 03-4107 pp. 30-33", (2080, 4630, 2800)),
    Case("NM-1", "printed", REGION, "test_nm_1", "SIR 2008-5119 p. 11", (10_800,)),
    Case("NM-2", "printed", REGION, "test_nm_2", "SIR 2008-5119 appendix 1", (71, 131, 377, 544)),
    Case("AZ-1", "printed", REGION, "test_az_1", "SIR 2014-5211 p. 34", (149_714, 98_000, 229_000)),
    Case("NV-1", "printed", REGION, "test_nv_1", "Paper 2433 pp. 39-40", (362, 2120, 2450, 13_800)),
    Case("NV-2", "printed", REGION, "test_nv_2", "Paper 2433 p. 41", (1680, 9500)),
    Case("PF-1", "printed", RAIN, "test_fort_myers", "Atlas 14", (12.1,)),
    Case("PF-2", "printed", RAIN, "test_fort_myers", "Atlas 14", (4.76, 3.13)),
    Case("PF-3", "printed", RAIN, "test_irving_pf_3", "Atlas 14", (3.95, 5.89, 9.27, 6.68)),
    Case("PF-4", "printed", RAIN, "test_wilmington_pf_4", "Atlas 14", (10.8,)),
    Case("OC-6", "printed", FLOW, "test_critical_slope_oc_6", "course solution", (4.82, 0.0132)),
    Case("OC-7", "printed", FLOW, "test_critical_depth_of_a_unit_flow_oc_7", "CIVE 530", (6.34,)),
    Case("OC-10", "printed", FLOW, "test_hydraulic_jump_oc_10", "HDS-4, example 4.8",
         (9.64, 13.14)),
    Case("OC-11", "printed", FLOW, "test_hydraulic_jump_oc_11", "HDS-4, example 4.8", (3.73,)),
    Case("OC-12", "printed", FLOW, "test_critical_depth_of_a_box_oc_12", "HDS-5", (2.6875, 4.031)),
    Case("LG-4", "printed", WOOD, "test_green_density_lg_4", "NRS-RN-38", (609,)),
    Case("WY-5", "program", REGION, "test_wy_5", "flow-statistics program", (119, 2230)),
    Case("NM-3", "program", REGION, "test_nm_3", "flow-statistics program",
         (1630, 5600, 865, 5400)),
    Case("AZ-2", "program", REGION, "test_az_2", "flow-statistics program", (559, 4130)),
    Case("AZ-3", "program", REGION, "test_az_3", "flow-statistics program", (384, 4040)),
    Case("UT-1", "program", REGION, "test_ut_1", "flow-statistics program",
         (250, 841, 1740, 2280)),
    Case("CO-1", "program", REGION, "test_co_1", "flow-statistics program",
         (648, 1910, 2910, 5060)),
    Case("CN-3", "computed", TR55, "test_runoff_cn_3_no_runoff_below_the_initial_abstraction",
         "Computed", (0.0,)),
    Case("TC-4", "computed", TR55, "test_kirpich_tc_4_and_5", "Computed", (7.19,)),
    Case("TC-5", "computed", TR55, "test_kirpich_tc_4_and_5", "Computed", (20.25,)),
    Case("PK-4", "computed", TR55, "test_unit_peak_pk_4_to_7", "Computed",
         (1010, 529.1, 357.5, 225.5, 110.4, 59.4)),
    Case("PK-5", "computed", TR55, "test_unit_peak_pk_4_to_7", "Computed", (281.6, 202.1, 138.0)),
    Case("PK-6", "computed", TR55, "test_unit_peak_pk_4_to_7", "Computed", (130.4, 107.8, 84.1)),
    Case("PK-7", "computed", TR55, "test_unit_peak_pk_4_to_7", "Computed", (410.9, 297.3, 200.3)),
    Case("RM-3", "computed", HYDRO, "test_rational_rm_3", "Computed", (17.74,)),
    Case("BF-1", "computed", FULL, "test_bankfull_curves", "table 3, computed",
         (6.07, 0.490, 3.29)),
    Case("BF-2", "computed", FULL, "test_bankfull_curves", "table 3, computed", (1.11, 0.07)),
    Case("BF-3", "computed", FULL, "test_bankfull_curves", "table 3, computed",
         (2.89, 0.149, 0.395)),
    Case("BF-4", "computed", FULL, "test_bankfull_curves", "table 3, computed",
         (3.38, 0.386, 0.975)),
    Case("BF-5", "computed", FULL, "test_bankfull_curves", "table 3, computed",
         (5.74, 0.590, 3.80)),
    Case("OC-2", "computed", FLOW, "test_trapezoid_oc_2", "Computed", (6.603,)),
    Case("OC-3", "computed", FLOW, "test_triangle_oc_3", "Computed", (11.137,)),
    Case("OC-4", "computed", FLOW, "test_triangle_oc_4", "Computed", (6.132,)),
    Case("OC-5", "computed", FLOW, "test_trapezoid_oc_5", "Computed", (3.802,)),
    Case("OC-13", "computed", FLOW, "test_shear_oc_13", "HEC-15 equation 3.1", (1.248, 58.86)),
    Case("RK-2", "computed", STONE, "test_shear_rk_2", "HEC-15 equation 6.8", (0.259,)),
    Case("RK-3", "computed", STONE, "test_shear_rk_3", "HEC-15 equation 6.8", (0.0778,)),
    Case("RK-14", "computed", STONE, "test_steep_bed_rk_14", "EM 1110-2-1601", (0.412,)),
    Case("RK-15", "computed", STONE, "test_rock_chute_rk_15", "Kadavy 1998", (3.69,)),
    Case("RK-16", "computed", STONE, "test_rock_chute_rk_16", "Kadavy 1998", (7.93,)),
    Case("RK-17", "computed", STONE, "test_rock_chute_rk_17", "Kadavy 1998", (5.69, 4.87, 4.89)),
    Case("RK-18", "computed", STONE, "test_rock_chute_rk_18", "Computed", (3.686, 7.930)),
    Case("RK-19", "computed", STONE, "test_isbash_rk_19", "HDC 712-1", (0.814, 0.418)),
    Case("RK-20", "computed", STONE, "test_isbash_rk_20", "HDC 712-1", (0.167, 0.0858)),
    Case("RK-21", "computed", STONE, "test_overtopping_rk_21", "Abt and Johnson 1991",
         (3.59, 5.73)),
    Case("LG-1", "computed", WOOD, "test_uplift_lg_1", "Computed", (269.5,)),
    Case("LG-2", "computed", WOOD, "test_uplift_lg_2", "Computed", (338.2, 303.9)),
    Case("LG-3", "computed", WOOD, "test_uplift_lg_3", "Computed", (1144,)),
    Case("aprons", "computed", BUILT, "test_apron", "Heede 1976", (0.90, 1.05)),
    Case("one rock", "computed", BUILT, "test_one_rock_volume", "common practice", (1.2, 1.9)),
)  # fmt: skip


def function(module: str, name: str) -> ast.FunctionDef:
    """One test as it stands in its file, with its decorators."""
    tree = ast.parse((HERE / f"{module}.py").read_text(encoding="utf-8"))
    found = [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == name]
    assert found, f"{module}.py has no {name}"
    return found[0]


def numbers(node: ast.AST) -> set[float]:
    """Every number written in a piece of code."""
    return {
        float(n.value)
        for n in ast.walk(node)
        if isinstance(n, ast.Constant) and type(n.value) in (int, float)
    }


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.id)
def test_the_test_named_holds_the_figures_and_says_where_they_are_from(case: Case) -> None:
    test = function(case.module, case.test)
    written = numbers(test)
    missing = [f for f in case.figures if f not in written]
    assert not missing, f"{case.test} does not check {missing}"
    text = " ".join((ast.get_docstring(test) or "").split())
    assert case.source in text, f"the docstring of {case.test} does not name its source"
    assert ("omputed" in text) or case.kind != "computed"


def test_enough_figures_are_checked_and_enough_of_them_are_printed() -> None:
    """At least 45 figures, at least 30 distinct printed examples; computed ones do not count."""
    assert len({c.id for c in CASES}) == len(CASES)
    figures = sum(len(c.figures) for c in CASES if c.kind != "computed")
    printed = [c for c in CASES if c.kind == "printed"]
    assert figures >= 45
    # what one table lists under many headings is one example, not many
    assert len(printed) >= 30


def test_the_runoff_table_is_checked_whole_but_for_its_faulty_row() -> None:
    """TR-55 table 2-1: nine rows of ten figures; the row of 7.0 in has a faulty cell."""
    tree = ast.parse((HERE / f"{TR55}.py").read_text(encoding="utf-8"))
    table = next(
        n.value
        for n in tree.body
        if isinstance(n, ast.Assign) and getattr(n.targets[0], "id", "") == "TABLE_2_1"
    )
    rows = ast.literal_eval(table)
    assert sorted(rows) == [1.0, 1.4, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0]
    assert all(len(row) == 10 for row in rows.values())
