"""Readers of rainfall: the NOAA Atlas 14 point file, a small table, depths given as text.

The layout of the point file was taken from captured answers of the service: the table starts at the
line ``by duration for ARI (years):`` (partial-duration series) or ``by duration for AEP:`` (annual
maximum series, whose columns are written as ``'1/2`` with a leading apostrophe and start at two
years).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from siting.floods.flood_errors import RainfallError
from siting.floods.rainfall import Rainfall, Series, duration_text
from siting.values.us_units import MM_PER_INCH

_ASK_DEPTH: Final = (
    "download the point precipitation frequency table as 'Precipitation depth' in CSV form"
)
_MM_PER: Final = {
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
_PERIOD = re.compile(r"^\s*(\d+(?:\.\d+)?)[\s_-]*(?:y|yr|yrs|year|years)?\.?\s*$", re.IGNORECASE)
_DEPTH = re.compile(
    r"^\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[-+]?\d+)?)\s*([a-z]*)\s*$", re.IGNORECASE
)
_UNITS_LINE = re.compile(r"\bunits?\b\W*([a-z]+)\b", re.IGNORECASE)


def read_rainfall(path: str | Path) -> Rainfall:
    """Read a rainfall file: an Atlas 14 point CSV, or a small table of depths.

    Raises
    ------
    RainfallError
        When the file cannot be read, is another kind of file, mixes units, misses a value, does not
        cover 24 hours, or holds numbers that cannot be true.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RainfallError(
            f"{path.name} is not a text file", expected="a rainfall table as CSV", do=_ASK_DEPTH
        ) from error
    except OSError as error:
        raise RainfallError(
            f"{path.name} cannot be read ({error.strerror or error})",
            expected="a rainfall table as CSV",
            do="check the path",
        ) from error
    return parse_rainfall(text, name=path.name)


def parse_rainfall(text: str, *, name: str = "the rainfall table") -> Rainfall:
    """Read the text of a rainfall file (see `read_rainfall`); `name` is used in messages.

    Raises
    ------
    RainfallError
        It is no rainfall table, or a part of it is missing or wrong.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if any(line.lower().lstrip(' "').startswith("by duration for") for line in lines):
        rainfall = _parse_point_file(lines, name=name)
    elif "precipitation frequency" in text.lower() or "errormsg" in text.lower():
        raise RainfallError(
            f"{name} holds no line 'by duration for ARI (years)'",
            expected="an Atlas 14 point table (a place outside its coverage has none)",
            do=_ASK_DEPTH,
        )
    else:
        rainfall = _parse_small_table(lines, name=name)
    if not any(
        rainfall.covers(duration_h=24, return_period_yr=p) for p in rainfall.return_periods_yr
    ):
        raise RainfallError(
            f"{name} has no 24-hour rain: it covers {duration_text(rainfall.durations_h[0])} to "
            f"{duration_text(rainfall.durations_h[-1])}",
            expected="a table that holds 24 hours, which the runoff methods need",
            do="add the 24-hour row",
        )
    return rainfall


def parse_rain_24h(text: str) -> Rainfall:
    """Read 24-hour depths written as ``2=38mm,10=62mm``: years = depth with its unit.

    Raises
    ------
    RainfallError
        When a pair is malformed, has no unit, mixes units, or comes twice.
    """
    example = "pairs such as 2=38mm,10=62mm or 2=1.5in,10=2.4in"
    pairs: dict[float, float] = {}
    units: set[str] = set()
    for part in re.split(r"[,;]", text):
        period_text, equals, depth_text = part.partition("=")
        period, depth = _PERIOD.match(period_text), _DEPTH.match(depth_text)
        if not (equals and period and depth):
            raise RainfallError(f"24-hour rain given as '{part.strip()}'", expected=example)
        unit = depth.group(2).lower()
        if unit not in _MM_PER:
            raise RainfallError(
                f"24-hour rain '{part.strip()}' has no unit"
                if not unit
                else f"24-hour rain '{part.strip()}' in a unit that is not known",
                expected=example,
                do="write mm or in behind each depth",
            )
        units.add("mm" if _MM_PER[unit] == 1 else "cm" if _MM_PER[unit] == 10 else "in")
        years = float(period.group(1))
        if years in pairs:
            raise RainfallError(f"24-hour rain for {years:g} years given twice", expected="it once")
        pairs[years] = float(depth.group(1)) * _MM_PER[unit]
    _refuse_mixed(units, name="the 24-hour rain given")
    periods = sorted(pairs)
    return Rainfall(
        np.array([24.0]),
        np.array(periods),
        np.array([[pairs[p] for p in periods]]),
        source="24-hour depths given by the user",
    )


def _refuse_mixed(units: set[str], *, name: str) -> None:
    if len(units) > 1:
        raise RainfallError(
            f"{name} mixes {' and '.join(sorted(units))}",
            expected="one unit throughout",
            do="convert the depths to one unit",
        )


# -- the point file --------------------------------------------------------------------------------


def _parse_point_file(lines: Sequence[str], *, name: str) -> Rainfall:
    starts = [
        n for n, line in enumerate(lines) if line.lower().lstrip(' "').startswith("by duration for")
    ]
    start = next((n for n in starts if not _is_bound(lines, n)), None)
    if start is None:
        raise RainfallError(
            f"{name} holds only a confidence bound, not the estimates themselves",
            expected="the table 'precipitation frequency estimates'",
            do=_ASK_DEPTH,
        )
    head = [line.strip().strip('"') for line in lines[: starts[0]]]
    factor = _point_unit(head, name=name)
    periods, annual = _point_periods(_cells(lines[start]), name=name)
    rows: dict[float, list[float]] = {}
    for line in lines[start + 1 :]:
        cells = _cells(line)
        duration = _duration_h(cells[0]) if cells else None
        if duration is None:
            # The table ends at the first line that is no duration; blank lines inside it do not
            # count.
            if any(cells) and rows:
                break
            continue
        if len(cells) - 1 != len(periods):
            raise RainfallError(
                f"{name}: row '{cells[0].rstrip(':')}' has {len(cells) - 1} values",
                expected=f"{len(periods)}, one for each return period",
                do="download the file again: it may be cut short",
            )
        # '1-day' repeats '24-hr' in some volumes; the first of the two is kept.
        rows.setdefault(duration, [_number(c, cells[0], name) * factor for c in cells[1:]])
    if not rows:
        raise RainfallError(
            f"{name} has a heading but no rows of depths",
            expected="rows such as '24-hr:'",
            do=_ASK_DEPTH,
        )
    series = _point_series(head, annual=annual, name=name)
    durations = sorted(rows)
    notes = ["Confidence bounds in the file were not used."] if len(starts) > 1 else []
    if series == "annual":
        notes.append(
            "Annual maximum series: below ten years it gives a little less rain than the partial-"
            "duration series."
        )
    title = next((line for line in head if "atlas" in line.lower()), "NOAA Atlas 14")
    return Rainfall(
        np.array(durations),
        np.array(periods),
        np.array([rows[d] for d in durations]),
        source=f"{title} ({name})",
        series=series,
        notes=tuple(notes),
    )


def _is_bound(lines: Sequence[str], start: int) -> bool:
    """Say whether the heading just above a table speaks of an upper or lower bound."""
    for line in reversed(lines[:start]):
        if line.strip(' ",'):
            low = line.lower()
            return "bound" in low or "upper" in low or "lower" in low
    return False


def _point_unit(head: Sequence[str], *, name: str) -> float:
    text = " ".join(head).lower()
    if "intensity" in text or re.search(r"\((?:inches|millimet(?:er|re)s|in|mm)\s*(?:/|per)", text):
        raise RainfallError(
            f"{name} holds rainfall intensities, not depths",
            expected="depths (intensities are rounded too coarsely to turn back)",
            do=_ASK_DEPTH,
        )
    found = {u for u in re.findall(r"\(([a-z]+)\)", text) if u in _MM_PER}
    if len({_MM_PER[u] for u in found}) != 1:
        raise RainfallError(
            f"{name} does not say its unit" if not found else f"{name} names two units",
            expected="a first line that ends in (inches) or (millimeters)",
            do=_ASK_DEPTH,
        )
    return _MM_PER[found.pop()]


def _point_periods(cells: Sequence[str], *, name: str) -> tuple[list[float], bool]:
    """Return periods in years of the heading row, and whether they are annual probabilities."""
    annual = "aep" in cells[0].lower() or "exceedance" in cells[0].lower()
    periods = []
    for cell in cells[1:]:
        token = cell.strip().strip("'\"").strip()
        fraction = re.fullmatch(r"1\s*/\s*(\d+(?:\.\d+)?)", token)
        if fraction and annual:
            periods.append(float(fraction.group(1)))
        elif not annual and (match := _PERIOD.match(token)):
            periods.append(float(match.group(1)))
        else:
            raise RainfallError(
                f"{name}: column '{token}' in the line of return periods",
                expected="1/2, 1/5 and so on" if annual else "years such as 2, 5, 10",
                do=_ASK_DEPTH,
            )
    if not periods:
        raise RainfallError(f"{name} names no return periods", expected="years such as 2, 5, 10")
    return periods, annual


def _point_series(head: Sequence[str], *, annual: bool, name: str) -> Series:
    text = " ".join(head).lower()
    stated: Series = (
        "annual"
        if "annual max" in text
        else "partial"
        if "partial duration" in text
        else "unstated"
    )
    if annual and stated == "partial":
        raise RainfallError(
            f"{name} says partial duration but its columns are annual probabilities",
            expected="one kind of series",
            do=_ASK_DEPTH,
        )
    return "annual" if annual else stated


# -- the small table -------------------------------------------------------------------------------


def _parse_small_table(lines: Sequence[str], *, name: str) -> Rainfall:
    """Read a table whose first column is durations and whose other columns are return periods.

    The unit stands in a line ``units: mm``, in the heading's first cell (``duration, depths in
    mm``) or behind every depth.
    """
    unit: str | None = None
    header: list[str] | None = None
    rows: dict[float, list[float]] = {}
    units: set[str] = set()
    for line in lines:
        cells = _cells(line.lstrip("#") if header is None else line)
        if not any(cells) or (header is not None and line.lstrip().startswith("#")):
            continue
        if header is None:
            unit = unit or _stated_unit(line)
            if len(cells) > 1 and all(_PERIOD.match(c) for c in cells[1:]):
                header = cells
            continue
        duration = _duration_h(cells[0], header=header[0])
        if duration is None:
            raise RainfallError(
                f"{name}: row starts with '{cells[0]}'",
                expected="a duration with its unit, such as 30-min, 24 h or 2-day",
            )
        if len(cells) != len(header):
            raise RainfallError(
                f"{name}: row '{cells[0]}' has {len(cells) - 1} depths",
                expected=f"{len(header) - 1}, one for each return period",
            )
        if duration in rows:
            raise RainfallError(f"{name}: row '{cells[0]}' comes twice", expected="each row once")
        rows[duration] = [_depth_mm(c, unit, units, row=cells[0], name=name) for c in cells[1:]]
    if header is None or not rows:
        raise RainfallError(
            f"{name} is not a rainfall table",
            expected="an Atlas 14 point CSV, or rows of durations under return periods",
            do=_ASK_DEPTH,
        )
    _refuse_mixed(units, name=name)
    durations = sorted(rows)
    periods = [float(m.group(1)) for c in header[1:] if (m := _PERIOD.match(c))]
    return Rainfall(
        np.array(durations),
        np.array(periods),
        np.array([rows[d] for d in durations]),
        source=f"rainfall table {name}",
    )


def _stated_unit(line: str) -> str | None:
    # Not followed by a number: "depth in 24 hours" does not speak of inches.
    found = _UNITS_LINE.findall(line)
    found += re.findall(r"depths?\W+(?:in\s+)?\(?([a-z]+)\b(?!\s*\d)", line, re.IGNORECASE)
    found += re.findall(r"depths?_([a-z]+)", line, re.IGNORECASE)
    return next((f.lower() for f in found if f.lower() in _MM_PER), None)


def _depth_mm(cell: str, unit: str | None, units: set[str], *, row: str, name: str) -> float:
    match = _DEPTH.match(cell)
    if not match or (match.group(2) and match.group(2).lower() not in _MM_PER):
        raise RainfallError(
            f"{name}: '{cell}' in row '{row}'", expected="a depth such as 38 or 38 mm"
        )
    used = match.group(2).lower() or unit
    if used is None:
        raise RainfallError(
            f"{name} does not say the unit of its depths",
            expected="a line 'units: mm' or 'units: in' above the table",
            do="add that line",
        )
    units.add("mm" if _MM_PER[used] == 1 else "cm" if _MM_PER[used] == 10 else "in")
    if unit is not None:
        units.add("mm" if _MM_PER[unit] == 1 else "cm" if _MM_PER[unit] == 10 else "in")
    return float(match.group(1)) * _MM_PER[used]


# -- cells -----------------------------------------------------------------------------------------


def _cells(line: str) -> list[str]:
    delimiter = "," if "," in line else ";" if ";" in line else "\t" if "\t" in line else ","
    cells = [c.strip() for c in next(csv.reader([line], delimiter=delimiter), [])]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return cells


def _duration_h(cell: str, *, header: str = "") -> float | None:
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


def _number(cell: str, row: str, name: str) -> float:
    try:
        value = float(cell.strip().strip("'\""))
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise RainfallError(
            f"{name}: '{cell}' in row '{row.rstrip(':')}' is no number",
            expected="a depth in every cell",
            do=_ASK_DEPTH,
        )
    return value
