"""The NOAA Atlas 14 point file, with its confidence bounds where it holds them.

The layout was taken from captured answers of the service: a table starts at the line ``by duration
for ARI (years):`` (partial-duration series) or ``by duration for AEP:`` (annual maximum series,
whose columns are written as ``'1/2`` with a leading apostrophe and start at two years). A file of
all three tables holds the estimates, the upper and the lower bounds, each below a heading that says
which: ``PRECIPITATION FREQUENCY ESTIMATES AT UPPER BOUND OF 90% CONFIDENCE INTERVAL``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siting.floods.flood_errors import RainfallError
from siting.floods.rainfall import RainBounds, Rainfall, Series
from siting.floods.rainfall_cells import (
    ASK_DEPTH,
    ESTIMATE,
    LOWER,
    MM_PER,
    PERIOD,
    UPPER,
    bounds_name,
    cells_of,
    duration_h,
    kind_of_heading,
    number_of,
)
from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the file: depths in mm by duration."""

    periods: list[float]
    annual: bool
    rows: dict[float, list[float]]

    def depths_mm(self) -> FloatArray:
        return np.array([self.rows[d] for d in sorted(self.rows)])


def is_point_file(lines: Sequence[str]) -> bool:
    """Whether some lines are a point file."""
    return any(_starts_table(line) for line in lines)


def parse_point_file(lines: Sequence[str], *, name: str) -> Rainfall:
    """Read the lines of a point file; `name` is used in messages.

    Raises
    ------
    RainfallError
        It holds no estimates, or a part of it is missing or wrong.
    """
    starts = [n for n, line in enumerate(lines) if _starts_table(line)]
    headings = {n: _heading(lines, n) for n in starts}
    kinds = {n: kind_of_heading(headings[n]) for n in starts}
    start = next((n for n in starts if kinds[n] == ESTIMATE), None)
    if start is None:
        raise RainfallError(
            f"{name} holds only a confidence bound, not the estimates themselves",
            expected="the table 'precipitation frequency estimates'",
            do=ASK_DEPTH,
        )
    head = [line.strip().strip('"') for line in lines[: starts[0]]]
    factor = _unit(head, name=name)
    table = _table(lines, start, factor=factor, name=name)
    series = _series(head, annual=table.annual, name=name)
    found = {
        kinds[n]: _table(lines, n, factor=factor, name=name)
        for n in reversed(starts)
        if kinds[n] in (LOWER, UPPER)
    }
    notes = []
    bounds = None
    if len(found) == 2:
        texts = " ".join(headings[n] for n in starts if kinds[n] in found)
        bounds = _bounds(table, found, called=bounds_name(" ".join([texts, *head])), name=name)
    elif len(starts) > 1 and set(kinds.values()) != {ESTIMATE}:
        notes.append("Of the confidence bounds the file holds only one end: they were not used.")
    if series == "annual":
        notes.append(
            "Annual maximum series: below ten years it gives a little less rain than the partial-"
            "duration series."
        )
    title = next((line for line in head if "atlas" in line.lower()), "NOAA Atlas 14")
    return Rainfall(
        np.array(sorted(table.rows)),
        np.array(table.periods),
        table.depths_mm(),
        source=f"{title} ({name})",
        series=series,
        notes=tuple(notes),
        bounds=bounds,
    )


def _starts_table(line: str) -> bool:
    return line.lower().lstrip(' "').startswith("by duration for")


def _heading(lines: Sequence[str], start: int) -> str:
    """Last line above a table that says something."""
    return next((line for line in reversed(lines[:start]) if line.strip(' ",')), "")


def _table(lines: Sequence[str], start: int, *, factor: float, name: str) -> _Table:
    periods, annual = _periods(cells_of(lines[start]), name=name)
    rows: dict[float, list[float]] = {}
    for line in lines[start + 1 :]:
        cells = cells_of(line)
        duration = duration_h(cells[0]) if cells else None
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
        rows.setdefault(duration, [number_of(c, cells[0], name) * factor for c in cells[1:]])
    if not rows:
        raise RainfallError(
            f"{name} has a heading but no rows of depths",
            expected="rows such as '24-hr:'",
            do=ASK_DEPTH,
        )
    return _Table(periods, annual, rows)


def _bounds(table: _Table, found: dict[str, _Table], *, called: str, name: str) -> RainBounds:
    for kind, bound in found.items():
        if bound.periods != table.periods or sorted(bound.rows) != sorted(table.rows):
            raise RainfallError(
                f"{name}: the {kind} bounds are for other durations or return periods than the "
                "estimates",
                expected="one bound for each estimate",
                do="download the file again: it may be cut short",
            )
    return RainBounds(found[LOWER].depths_mm(), found[UPPER].depths_mm(), called)


def _unit(head: Sequence[str], *, name: str) -> float:
    text = " ".join(head).lower()
    if "intensity" in text or re.search(r"\((?:inches|millimet(?:er|re)s|in|mm)\s*(?:/|per)", text):
        raise RainfallError(
            f"{name} holds rainfall intensities, not depths",
            expected="depths (intensities are rounded too coarsely to turn back)",
            do=ASK_DEPTH,
        )
    found = {u for u in re.findall(r"\(([a-z]+)\)", text) if u in MM_PER}
    if len({MM_PER[u] for u in found}) != 1:
        raise RainfallError(
            f"{name} does not say its unit" if not found else f"{name} names two units",
            expected="a first line that ends in (inches) or (millimeters)",
            do=ASK_DEPTH,
        )
    return MM_PER[found.pop()]


def _periods(cells: Sequence[str], *, name: str) -> tuple[list[float], bool]:
    """Return periods in years of the heading row, and whether they are annual probabilities."""
    annual = "aep" in cells[0].lower() or "exceedance" in cells[0].lower()
    periods = []
    for cell in cells[1:]:
        token = cell.strip().strip("'\"").strip()
        fraction = re.fullmatch(r"1\s*/\s*(\d+(?:\.\d+)?)", token)
        if fraction and annual:
            periods.append(float(fraction.group(1)))
        elif not annual and (match := PERIOD.match(token)):
            periods.append(float(match.group(1)))
        else:
            raise RainfallError(
                f"{name}: column '{token}' in the line of return periods",
                expected="1/2, 1/5 and so on" if annual else "years such as 2, 5, 10",
                do=ASK_DEPTH,
            )
    if not periods:
        raise RainfallError(f"{name} names no return periods", expected="years such as 2, 5, 10")
    return periods, annual


def _series(head: Sequence[str], *, annual: bool, name: str) -> Series:
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
            do=ASK_DEPTH,
        )
    return "annual" if annual else stated
