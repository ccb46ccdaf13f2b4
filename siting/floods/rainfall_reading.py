"""Readers of rainfall: the NOAA Atlas 14 point file, a small table, depths given as text.

Confidence bounds are read where a file carries them: the point file as further tables below its
estimates (see `point_rainfall`), a small table as columns or as further tables of its own (see
`_parse_small_table`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from siting.floods.flood_errors import RainfallError
from siting.floods.point_rainfall import is_point_file, parse_point_file
from siting.floods.rainfall import RainBounds, Rainfall, duration_text
from siting.floods.rainfall_cells import (
    ASK_DEPTH,
    DEPTH,
    ESTIMATE,
    LOWER,
    MM_PER,
    PERIOD,
    UPPER,
    bounds_name,
    cells_of,
    depth_unit,
    duration_h,
    kind_of_heading,
    refuse_mixed,
)
from terrain.values.arrays import FloatArray

_UNITS_LINE = re.compile(r"\bunits?\b\W*([a-z]+)\b", re.IGNORECASE)
#: Heading of a column of bounds: ``10 lower``, ``10-yr upper bound``.
_BOUND_COLUMN = re.compile(r"^(.*?)[\s_-]*(low|high|lower|upper)(?:[\s_-]*bound)?$", re.IGNORECASE)
_ENDS = {"low": LOWER, "lower": LOWER, "high": UPPER, "upper": UPPER}


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
            f"{path.name} is not a text file", expected="a rainfall table as CSV", do=ASK_DEPTH
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
    if is_point_file(lines):
        rainfall = parse_point_file(lines, name=name)
    elif "precipitation frequency" in text.lower() or "errormsg" in text.lower():
        raise RainfallError(
            f"{name} holds no line 'by duration for ARI (years)'",
            expected="an Atlas 14 point table (a place outside its coverage has none)",
            do=ASK_DEPTH,
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
        period, depth = PERIOD.match(period_text), DEPTH.match(depth_text)
        if not (equals and period and depth):
            raise RainfallError(f"24-hour rain given as '{part.strip()}'", expected=example)
        unit = depth.group(2).lower()
        if unit not in MM_PER:
            raise RainfallError(
                f"24-hour rain '{part.strip()}' has no unit"
                if not unit
                else f"24-hour rain '{part.strip()}' in a unit that is not known",
                expected=example,
                do="write mm or in behind each depth",
            )
        units.add(depth_unit(unit))
        years = float(period.group(1))
        if years in pairs:
            raise RainfallError(f"24-hour rain for {years:g} years given twice", expected="it once")
        pairs[years] = float(depth.group(1)) * MM_PER[unit]
    refuse_mixed(units, name="the 24-hour rain given")
    periods = sorted(pairs)
    return Rainfall(
        np.array([24.0]),
        np.array(periods),
        np.array([[pairs[p] for p in periods]]),
        source="24-hour depths given by the user",
    )


# -- the small table -------------------------------------------------------------------------------


@dataclass(slots=True)
class _Read:
    """What was read of a small table so far: columns, and depths by table and duration."""

    unit: str | None = None
    header: list[str] | None = None
    columns: list[tuple[float, str]] = field(default_factory=list)
    kind: str = ESTIMATE
    begins: bool = True
    units: set[str] = field(default_factory=set)
    depths: dict[str, dict[tuple[float, float], float]] = field(default_factory=dict)
    seen: set[tuple[str, float]] = field(default_factory=set)

    def array(self, kind: str, durations: list[float], periods: list[float]) -> FloatArray:
        """Depths of one table; NaN where there is none."""
        held = self.depths.get(kind, {})
        return np.array([[held.get((d, p), np.nan) for p in periods] for d in durations])


def _parse_small_table(lines: Sequence[str], *, name: str) -> Rainfall:
    """Read a table whose first column is durations and whose other columns are return periods.

    The unit stands in a line ``units: mm``, in the heading's first cell (``duration, depths in
    mm``) or behind every depth. Confidence bounds are columns such as ``10 lower`` and ``10 upper``
    beside the column ``10``, or further tables below a line that says ``lower bound`` or ``upper
    bound``, with a heading of their own or that of the first table.
    """
    read = _Read()
    for line in lines:
        _read_line(read, line, name=name)
    held = read.depths.get(ESTIMATE, {})
    if read.header is None or not held:
        raise RainfallError(
            f"{name} is not a rainfall table",
            expected="an Atlas 14 point CSV, or rows of durations under return periods",
            do=ASK_DEPTH,
        )
    refuse_mixed(read.units, name=name)
    durations = sorted({d for d, _ in held})
    periods = list(dict.fromkeys(p for _, p in held))
    return Rainfall(
        np.array(durations),
        np.array(periods),
        read.array(ESTIMATE, durations, periods),
        source=f"rainfall table {name}",
        bounds=_small_bounds(
            read, durations, periods, called=bounds_name(" ".join(lines)), name=name
        ),
    )


def _read_line(read: _Read, line: str, *, name: str) -> None:
    header = read.header
    cells = cells_of(line.lstrip("#") if header is None else line)
    if not any(cells) or (header is not None and line.lstrip().startswith("#")):
        return
    if header is None:
        read.unit = read.unit or _stated_unit(line)
    kind = kind_of_heading(line)
    if kind in (LOWER, UPPER) and len(cells) == 1:
        read.kind, read.begins = kind, True
        return
    if _reads_heading(read, cells) or header is None:
        return
    duration = duration_h(cells[0], header=header[0])
    read.begins = False
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
    if (read.kind, duration) in read.seen:
        raise RainfallError(f"{name}: row '{cells[0]}' comes twice", expected="each row once")
    read.seen.add((read.kind, duration))
    for (years, end), cell in zip(read.columns, cells[1:], strict=True):
        depth = _depth_mm(cell, read.unit, read.units, row=cells[0], name=name)
        read.depths.setdefault(end or read.kind, {})[duration, years] = depth


def _reads_heading(read: _Read, cells: Sequence[str]) -> bool:
    """Take a line for the heading of a table, where it is one and a table begins."""
    columns = _columns(cells) if read.begins else []
    if not columns or (read.header is not None and duration_h(cells[0]) is not None):
        return False
    read.header, read.columns, read.begins = list(cells), columns, False
    return True


def _columns(cells: Sequence[str]) -> list[tuple[float, str]]:
    """Return period of each column and which bound it holds, if any; empty for no heading."""
    found = []
    for cell in cells[1:]:
        bound = _BOUND_COLUMN.match(cell.strip())
        period = PERIOD.match(bound.group(1) if bound else cell)
        if period is None:
            return []
        found.append((float(period.group(1)), _ENDS[bound.group(2).lower()] if bound else ""))
    return found


def _small_bounds(
    read: _Read, durations: list[float], periods: list[float], *, called: str, name: str
) -> RainBounds | None:
    if not (read.depths.get(LOWER) or read.depths.get(UPPER)):
        return None
    ends = {end: read.array(end, durations, periods) for end in (LOWER, UPPER)}
    for end, depths in ends.items():
        held = len(read.depths.get(end, {}))
        if np.isnan(depths).any() or held != depths.size:
            raise RainfallError(
                f"{name} has {held} {end} bounds for {depths.size} depths",
                expected="a lower and an upper bound for each depth, or no bounds at all",
                do="add the bounds that are missing, or leave all of them out",
            )
    return RainBounds(ends[LOWER], ends[UPPER], called)


def _stated_unit(line: str) -> str | None:
    # Not followed by a number: "depth in 24 hours" does not speak of inches.
    found = _UNITS_LINE.findall(line)
    found += re.findall(r"depths?\W+(?:in\s+)?\(?([a-z]+)\b(?!\s*\d)", line, re.IGNORECASE)
    found += re.findall(r"depths?_([a-z]+)", line, re.IGNORECASE)
    return next((f.lower() for f in found if f.lower() in MM_PER), None)


def _depth_mm(cell: str, unit: str | None, units: set[str], *, row: str, name: str) -> float:
    match = DEPTH.match(cell)
    if not match or (match.group(2) and match.group(2).lower() not in MM_PER):
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
    units.add(depth_unit(used))
    if unit is not None:
        units.add(depth_unit(unit))
    return float(match.group(1)) * MM_PER[used]
