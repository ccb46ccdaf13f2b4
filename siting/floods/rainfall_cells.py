"""Cells of rainfall tables: durations, return periods, depths with their units."""

from __future__ import annotations

import csv
import re
from typing import Final

import numpy as np

from siting.floods.flood_errors import RainfallError
from siting.values.us_units import MM_PER_INCH

ASK_DEPTH: Final = (
    "download the point precipitation frequency table as 'Precipitation depth' in CSV form"
)
MM_PER: Final = {
    **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetre", "millimetres"), 1.0),
    **dict.fromkeys(("cm", "centimeter", "centimeters", "centimetre", "centimetres"), 10.0),
    **dict.fromkeys(("in", "inch", "inches"), MM_PER_INCH),
}
_HOURS_PER: Final = {
    **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), 1 / 60),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 1.0),
    **dict.fromkeys(("d", "day", "days"), 24.0),
}
_DURATION = re.compile(r"^\s*(\d+(?:\.\d+)?|\.\d+)[\s_-]*([a-z]+)\.?\s*:?\s*$", re.IGNORECASE)
PERIOD = re.compile(r"^\s*(\d+(?:\.\d+)?)[\s_-]*(?:y|yr|yrs|year|years)?\.?\s*$", re.IGNORECASE)
DEPTH = re.compile(
    r"^\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[-+]?\d+)?)\s*([a-z]*)\s*$", re.IGNORECASE
)
#: Which table or column of a rainfall file: the estimates, or one of their bounds.
ESTIMATE, LOWER, UPPER = "estimate", "lower", "upper"
_LEVEL = re.compile(r"(\d{2}(?:\.\d+)?)\s*(?:%|per\s*cent|percent)", re.IGNORECASE)


def kind_of_heading(text: str) -> str:
    """Say what a heading above a table speaks of; empty for a bound of which it names no end."""
    low = text.lower()
    if "upper" in low:
        return UPPER
    if "lower" in low:
        return LOWER
    return "" if "bound" in low else ESTIMATE


def bounds_name(text: str) -> str:
    """Write what bounds are called, with the confidence that a text names."""
    found = _LEVEL.search(text)
    return f"{found.group(1)} % confidence bounds" if found else "confidence bounds"


def refuse_mixed(units: set[str], *, name: str) -> None:
    """Refuse depths in more than one unit.

    Raises
    ------
    RainfallError
        There are several.
    """
    if len(units) > 1:
        raise RainfallError(
            f"{name} mixes {' and '.join(sorted(units))}",
            expected="one unit throughout",
            do="convert the depths to one unit",
        )


def cells_of(line: str) -> list[str]:
    """Cells of a line, by whichever of comma, semicolon and tab it has; empty ends are dropped."""
    delimiter = "," if "," in line else ";" if ";" in line else "\t" if "\t" in line else ","
    cells = [c.strip() for c in next(csv.reader([line], delimiter=delimiter), [])]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return cells


def duration_h(cell: str, *, header: str = "") -> float | None:
    """Duration in hours; None where a cell is none."""
    match = _DURATION.match(cell)
    if match:
        per = _HOURS_PER.get(match.group(2).lower())
        return round(float(match.group(1)) * per, 9) if per else None
    # A bare number counts only when the heading of the column names the unit.
    if re.fullmatch(r"\d+(?:\.\d+)?", cell.strip()):
        named = re.search(r"[\s_(\[,-](min|minutes|h|hr|hours|day|days)\b", header.lower())
        if named:
            return round(float(cell) * _HOURS_PER[named.group(1)], 9)
    return None


def number_of(cell: str, row: str, name: str) -> float:
    """Read a depth of a point file.

    Raises
    ------
    RainfallError
        It is no number.
    """
    try:
        value = float(cell.strip().strip("'\""))
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise RainfallError(
            f"{name}: '{cell}' in row '{row.rstrip(':')}' is no number",
            expected="a depth in every cell",
            do=ASK_DEPTH,
        )
    return value


def depth_unit(text: str) -> str:
    """Shortest name of a unit of depth."""
    factor = MM_PER[text]
    return "mm" if factor == 1 else "cm" if factor == 10 else "in"
