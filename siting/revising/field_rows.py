"""Rows that come back from the field: which column is what, and which number in which unit.

A number may say its unit itself (``3.2 ft``), else its column does (``measured_width_m``), else it
is in the units of the plan. A column whose name says no unit, with numbers that do and numbers that
do not, where these would differ, is refused: nobody can tell what the bare ones are.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from siting.values.input_errors import FieldRowsError
from siting.values.wording import listed

LENGTHS: Final = ("width", "depth", "bankfull_depth", "drop")
MEASURES: Final = (*LENGTHS, "slope")
POSITIONS: Final = ("x", "y", "lon", "lat")
TEXTS: Final = ("decision", "soil", "notes", "photos", "measured_by", "measured_on")
SITE: Final = "site_id"
FOOT_M: Final = 0.3048
#: What one of a unit is in metres, by every way that it is written.
LENGTH_UNITS: Final[Mapping[str, float]] = MappingProxyType(
    {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
        "cm": 0.01,
        "mm": 0.001,
        **dict.fromkeys(("ft", "foot", "feet", "'"), FOOT_M),
        **dict.fromkeys(("in", "inch", "inches", '"'), FOOT_M / 12),
    }
)
#: The same for slopes, in metres a metre.
SLOPE_UNITS: Final[Mapping[str, float]] = MappingProxyType(
    {**dict.fromkeys(("%", "pct", "percent"), 0.01), **dict.fromkeys(("m/m", "ft/ft"), 1.0)}
)
_HEADER = re.compile(r"measured_(?P<measure>[a-z_]+?)(?:_(?P<unit>m|ft|cm|in|pct|percent))?")
_NUMBER = re.compile(r"(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>\D*)")
#: Rows that an error names, at most.
_NAMED = 8


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One row as it was given.

    Parameters
    ----------
    number
        Line of the file, or number of the feature.
    texts
        Text by name of the column; what is empty is left out.
    point_m
        Place of a point that came with it, in the plan's coordinates.
    """

    number: int
    texts: Mapping[str, str]
    point_m: tuple[float, float] | None = None

    @property
    def blank(self) -> bool:
        """Whether it says nothing but the site's number."""
        return not any(name.strip().lower() != SITE for name in self.texts)


@dataclass(frozen=True, slots=True)
class FieldTable:
    """All rows of one file.

    Parameters
    ----------
    source
        Name of the file.
    columns
        Names of its columns, as they are written.
    rows
        Its rows.
    """

    source: str
    columns: tuple[str, ...]
    rows: tuple[FieldRow, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """What a column is: one of `MEASURES`, `POSITIONS` or `TEXTS`, and its unit, if it says one."""

    name: str
    what: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One row as it was understood.

    Parameters
    ----------
    row
        As given.
    numbers
        SI numbers by measure or position; NaN where a text is no finite number.
    names
        Column that each of them, and each text, came from.
    texts
        Texts by name, without blanks around them.
    """

    row: FieldRow
    numbers: Mapping[str, float]
    texts: Mapping[str, str]
    names: Mapping[str, str] = field(default_factory=dict)


def columns_of(table: FieldTable) -> tuple[dict[str, Column], tuple[str, ...]]:
    """Tell what each column is.

    Returns
    -------
    tuple
        Columns by what they are, and names of those that are not known.

    Raises
    ------
    FieldRowsError
        No column for the site, or two for one measure.
    """
    found: dict[str, Column] = {}
    unknown = []
    for name in table.columns:
        what, unit = _meaning(name)
        if not what:
            unknown.append(name)
            continue
        if what in found:
            raise FieldRowsError(
                f"{table.source} has two columns for {what}: {found[what].name} and {name}",
                expected="one",
            )
        found[what] = Column(name, what, unit)
    if SITE not in found:
        raise FieldRowsError(
            f"{table.source} has no column site_id",
            expected="site_id and some of measured_width, measured_depth, "
            "measured_bankfull_depth, measured_drop, measured_slope, decision, notes",
        )
    for one, other in (("x", "y"), ("lon", "lat")):
        if (one in found) != (other in found):
            raise FieldRowsError(
                f"{table.source} has only one of the columns {one} and {other}", expected="both"
            )
    return found, tuple(unknown)


def _meaning(name: str) -> tuple[str, str]:
    """What a column is called for, and the unit in its name; nothing where it is not known."""
    lower = name.strip().lstrip("\ufeff").lower()
    if lower == SITE or lower in POSITIONS or lower in TEXTS:
        return lower, ""
    if lower in ("x_m", "y_m"):
        return lower[0], ""
    match = _HEADER.fullmatch(lower)
    if match is None or match["measure"] not in MEASURES:
        return "", ""
    unit = match["unit"] or ""
    slope = match["measure"] == "slope"
    known = SLOPE_UNITS if slope else LENGTH_UNITS
    if slope and unit == "m":  # measured_slope_m_m
        return "", ""
    return (match["measure"], unit) if not unit or unit in known else ("", "")


def read_rows(table: FieldTable, *, length_unit: str) -> tuple[ReadRow, ...]:
    """Read numbers and texts of all rows.

    Parameters
    ----------
    table
        Rows as given.
    length_unit
        Unit of lengths that do not say theirs, nor their column: that of the plan.

    Raises
    ------
    FieldRowsError
        See `columns_of`; or units mixed within one column.
    """
    found, _ = columns_of(table)
    for what in MEASURES:
        if what in found and not found[what].unit:
            _check_mixed(table, found[what], length_unit)
    return tuple(_read(row, found, length_unit) for row in table.rows)


def _check_mixed(table: FieldTable, column: Column, length_unit: str) -> None:
    """Refuse bare numbers beside numbers of another unit in a column that does not say its own."""
    bare, other = [], []
    usual = "m/m" if column.what == "slope" else length_unit
    known = _units(column.what)
    for row in table.rows:
        match = _NUMBER.fullmatch(row.texts.get(column.name, "").strip())
        if match is None:
            continue
        unit = match["unit"].strip().lower()
        if not unit:
            bare.append(row.number)
        elif unit in known and known[unit] != known[usual]:
            other.append(row.number)
    if bare and other:
        raise FieldRowsError(
            f"{table.source} mixes units in the column {column.name}: {_rows(other)} with a unit, "
            f"{_rows(bare)} without",
            expected="a unit with every number, or in the column's name "
            + ("(measured_slope_pct)" if column.what == "slope" else f"({column.name}_m)"),
        )


def _rows(rows: Sequence[int]) -> str:
    more = len(rows) - _NAMED
    named = [str(n) for n in rows[:_NAMED]]
    numbers = listed([*named, f"{more} more"] if more > 0 else named)
    return f"row {numbers}" if len(rows) == 1 else f"rows {numbers}"


def _units(what: str) -> Mapping[str, float]:
    return SLOPE_UNITS if what == "slope" else LENGTH_UNITS


def _read(row: FieldRow, found: Mapping[str, Column], length_unit: str) -> ReadRow:
    numbers: dict[str, float] = {}
    texts: dict[str, str] = {}
    names: dict[str, str] = {}
    for what, column in found.items():
        text = row.texts.get(column.name, "").strip()
        if not text:
            continue
        names[what] = column.name
        if what in MEASURES:
            unit = column.unit or ("m/m" if what == "slope" else length_unit)
            numbers[what] = number_of(text, _units(what), unit)
        elif what in POSITIONS:
            numbers[what] = number_of(text, {"": 1.0}, "")
        else:
            texts[what] = text
    return ReadRow(row, MappingProxyType(numbers), MappingProxyType(texts), MappingProxyType(names))


def number_of(text: str, units: Mapping[str, float], usual: str) -> float:
    """Read a number with or without its unit; NaN where it is none, or of no unit known.

    Parameters
    ----------
    text
        Such as ``3.2``, ``3.2 ft`` or ``4%``.
    units
        What one of each unit is in SI.
    usual
        Unit of a number that says none.
    """
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return math.nan
    unit = match["unit"].strip().lower() or usual
    value = float(match["number"]) * units.get(unit, math.nan)
    return value if math.isfinite(value) else math.nan
