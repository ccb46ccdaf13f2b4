"""Columns, units and numbers of rows that come back from the field."""

from __future__ import annotations

import math

import pytest

from siting.revising.field_rows import (
    LENGTH_UNITS,
    SLOPE_UNITS,
    FieldRow,
    FieldTable,
    columns_of,
    number_of,
    read_rows,
)
from siting.values.input_errors import FieldRowsError


def table(columns: str, *rows: str) -> FieldTable:
    """A table as a CSV file gives it, the first row on line 2."""
    names = tuple(columns.split(","))
    given = [dict(zip(names, row.split(","), strict=True)) for row in rows]
    return FieldTable(
        "field.csv",
        names,
        tuple(
            FieldRow(n, {k: v for k, v in row.items() if v}) for n, row in enumerate(given, start=2)
        ),
    )


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3.2", 3.2),
        ("3.2 ft", 0.97536),
        ("3.2ft", 0.97536),
        ("10 FEET", 3.048),
        ("36 in", 0.9144),
        ("80 cm", 0.8),
        ("1e1", 10.0),
        (".5", 0.5),
        ("-1", -1.0),
    ],
)
def test_a_number_is_read_with_its_unit(text: str, metres: float) -> None:
    assert number_of(text, LENGTH_UNITS, "m") == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize("text", ["", "abc", "nan", "inf", "1,5", "3 yd", "1.2.3", "1e999", "2 3"])
def test_what_is_no_finite_number_of_a_known_unit_is_none(text: str) -> None:
    assert math.isnan(number_of(text, LENGTH_UNITS, "m"))


@pytest.mark.parametrize(
    ("column", "text", "slope"),
    [
        ("measured_slope", "0.03", 0.03),
        ("measured_slope", "3 %", 0.03),
        ("measured_slope_pct", "3", 0.03),
        ("measured_slope_percent", "3", 0.03),
        ("measured_slope_pct", "0.03 m/m", 0.03),
    ],
)
def test_slopes(column: str, text: str, slope: float) -> None:
    (row,) = read_rows(table(f"site_id,{column}", f"1,{text}"), length_unit="m")
    assert row.numbers["slope"] == pytest.approx(slope)
    assert set(SLOPE_UNITS) >= {"%", "m/m"}


@pytest.mark.parametrize(
    ("column", "unit", "metres"),
    [
        ("measured_width", "m", 4.0),
        ("measured_width", "ft", 1.2192),
        ("measured_width_m", "ft", 4.0),
        ("measured_width_ft", "m", 1.2192),
        ("MEASURED_WIDTH_CM", "m", 0.04),
    ],
)
def test_a_bare_number_takes_the_unit_of_its_column_then_of_the_plan(
    column: str, unit: str, metres: float
) -> None:
    (row,) = read_rows(table(f"site_id,{column}", "1,4"), length_unit=unit)
    assert row.numbers["width"] == pytest.approx(metres)


def test_units_mixed_without_saying_are_refused_with_their_rows() -> None:
    mixed = table("site_id,measured_drop", "1,3.2 ft", "2,1.1", "3,0.9 m", "4,1.0", "5,4 ft")
    with pytest.raises(FieldRowsError, match=r"rows 2 and 6 with a unit, rows 3 and 5 without"):
        read_rows(mixed, length_unit="m")


@pytest.mark.parametrize(
    "rows",
    [
        ("1,3.2 ft", "2,0.9 m"),  # each says its own
        ("1,3.2 m", "2,0.9"),  # the same unit
    ],
)
def test_units_that_are_said_may_differ(rows: tuple[str, ...]) -> None:
    assert len(read_rows(table("site_id,measured_drop", *rows), length_unit="m")) == 2


def test_a_unit_in_the_columns_name_says_it_for_the_bare_ones() -> None:
    rows = read_rows(table("site_id,measured_drop_m", "1,3.2 ft", "2,0.9"), length_unit="ft")
    assert [r.numbers["drop"] for r in rows] == pytest.approx([0.97536, 0.9])


def test_slopes_of_two_kinds_in_one_column_are_refused() -> None:
    with pytest.raises(FieldRowsError, match="measured_slope_pct"):
        read_rows(table("site_id,measured_slope", "1,3 %", "2,0.03"), length_unit="m")


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ("site,measured_width", "no column site_id"),
        ("site_id,measured_width_m,measured_width_ft", "two columns for width"),
        ("site_id,lon", "only one of the columns lon and lat"),
    ],
)
def test_columns_that_cannot_be_used(columns: str, says: str) -> None:
    with pytest.raises(FieldRowsError, match=says):
        columns_of(table(columns))


def test_unknown_columns_are_named_and_kept() -> None:
    found, unknown = columns_of(table("site_id,measured_girth,weather,measured_width_yd,Notes"))
    assert unknown == ("measured_girth", "weather", "measured_width_yd")
    assert set(found) == {"site_id", "notes"}


def test_texts_survive_whatever_they_are() -> None:
    long = "ü" * 10_000
    rows = read_rows(
        table("site_id,notes,photos", f"1,{long},صورة.jpg", "2, =1+1 ,a"), length_unit="m"
    )
    assert rows[0].texts["notes"] == long
    assert rows[0].texts["photos"] == "صورة.jpg"
    assert rows[1].texts["notes"] == "=1+1"
