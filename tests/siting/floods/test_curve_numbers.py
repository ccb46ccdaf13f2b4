"""Curve numbers from cover and soil: look-ups, holes, dual groups, user tables and refusals."""

from pathlib import Path

import numpy as np
import pytest

from siting.floods.curve_numbers import (
    SOIL_GROUPS,
    built_in_covers,
    curve_numbers,
    parse_covers,
    read_covers,
    soil_group_index,
)
from siting.floods.flood_errors import CurveNumberError

USER = """
[cover.saltbush]
title = "Saltbush"
table = "measured on the ranch"
poor = [60, 75, 85, 90]
fair = [55, 70, 80, 86]
good = [50, 65, 76, 82]
[cover.rock]
any = [98, 98, 98, 98]
[codes]
7 = "saltbush"
SB = "saltbush"
9 = "rock"
"""


@pytest.mark.parametrize(
    ("group", "drained", "letter"),
    [
        ("A", False, "A"),
        (" b ", False, "B"),
        ("A/D", False, "D"),
        ("A/D", True, "A"),
        ("c/d", True, "C"),
        ("B / D", False, "D"),
    ],
)
def test_soil_groups(group: str, drained: bool, letter: str) -> None:
    assert SOIL_GROUPS[soil_group_index(group, drained=drained)] == letter


@pytest.mark.parametrize("blank", [None, "", "  ", "nan", "None"])
def test_no_soil_group(blank: str | None) -> None:
    assert soil_group_index(blank) == -1


@pytest.mark.parametrize("group", ["E", "A/B", "D/A", "A/", "/D", "AD", "A/D/D"])
def test_soil_groups_refused(group: str) -> None:
    with pytest.raises(CurveNumberError, match=f"hydrologic soil group '{group}'"):
        soil_group_index(group)


@pytest.mark.parametrize("dtype", [np.uint8, np.int32, np.float64, np.str_])
def test_arrays_of_codes(dtype: type) -> None:
    codes = np.array([[71, 52, 71], [0, 22, 11]]).astype(dtype)
    soils = np.array([[1, 0, -1], [1, 1, 3]])
    found = curve_numbers(codes, soils)
    np.testing.assert_array_equal(found.values, [[71, 51, np.nan], [np.nan, np.nan, 100]])
    # Sagebrush on group A has no number: that of group B stands in, and is told.
    assert found.from_group_b.tolist() == [[False, True, False], [False] * 3]
    assert not found.values.flags.writeable


def test_condition_changes_the_number() -> None:
    poor, fair, good = (
        curve_numbers([71], [1], condition=c).values[0] for c in ("poor", "fair", "good")
    )
    assert (poor, fair, good) == (80, 71, 62)


def test_every_cover_rises_from_a_to_d_and_from_good_to_poor() -> None:
    for cover in built_in_covers().covers.values():
        columns = cover.numbers[:, ~np.isnan(cover.numbers[0])]
        assert (np.diff(columns, axis=1) >= 0).all(), cover.name
        assert (np.diff(columns, axis=0) <= 0).all(), cover.name


def test_one_look_up() -> None:
    table = built_in_covers()
    assert table.curve_number(71, "B", condition="poor") == 80
    assert table.curve_number("desert_shrub", "A", condition="good") == 49
    assert table.curve_number("meadow", "A/D", condition="poor") == 78
    with pytest.raises(CurveNumberError, match="cover '99' is not in the built-in cover table"):
        table.curve_number(99, "B", condition="poor")
    with pytest.raises(CurveNumberError, match="no curve number for herbaceous on soil group 'A'"):
        table.curve_number("herbaceous", "A", condition="poor")
    with pytest.raises(CurveNumberError, match="no curve number for herbaceous on soil group ''"):
        table.curve_number("herbaceous", "", condition="poor")
    with pytest.raises(CurveNumberError, match="soil group 'E'"):
        table.curve_number("herbaceous", "E", condition="poor")


def test_user_table(tmp_path: Path) -> None:
    path = tmp_path / "covers.toml"
    path.write_text(USER)
    table = read_covers(path)
    found = curve_numbers(np.array(["SB", "7", "9", "x"]), [0, 1, 2, 3], table=table)
    np.testing.assert_array_equal(found.values, [55, 70, 98, np.nan])


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("fair = [55, 70, 80, 86]", "", "cover 'saltbush' has good, poor; expected poor, fair"),
        ("fair =", "fare =", "has fare, good, poor"),
        ("[60, 75, 85, 90]", "[60, 75, 85]", "expected four numbers"),
        ("[60, 75, 85, 90]", '["a", 75, 85, 90]', "expected four numbers"),
        ("[60, 75, 85, 90]", "[60, 75, 85, 120]", "a curve number of 120"),
        ('9 = "rock"', '9 = "rocks"', "code 9 stands for cover 'rocks'"),
        ("[cover.", "[covers.", "is not a cover table"),
        ("[codes]", "[codes", "cannot be read as TOML"),
    ],
)
def test_user_table_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "covers.toml"
    path.write_text(USER.replace(old, new))
    with pytest.raises(CurveNumberError, match=message):
        read_covers(path)


def test_other_refusals(tmp_path: Path) -> None:
    with pytest.raises(CurveNumberError, match=r"none\.toml cannot be read"):
        read_covers(tmp_path / "none.toml")
    with pytest.raises(CurveNumberError, match="cover condition 'bad'"):
        curve_numbers([71], [1], condition="bad")
    with pytest.raises(CurveNumberError, match=r"cover of shape \(2,\) on soils of shape \(1,\)"):
        curve_numbers([71, 71], [1])
    with pytest.raises(CurveNumberError, match="outside -1 to 3"):
        curve_numbers([71], [4])
    with pytest.raises(CurveNumberError, match="is not a cover table"):
        parse_covers({}, name="x")
