"""The ranked list: on the console, as CSV and as JSON."""

from __future__ import annotations

import csv
import io
import json
import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table
from rich.text import Text

from cli import palette
from cli.plan.fields import Units, check_units, convert_columns, fields_of
from siting.values.wording import counted, figures
from terrain.values.errors import ParameterError

WIDTH = 100
#: Heading, width and side of each column; with one space between them they fill 100 columns.
_COLUMNS = (
    ("rank", 4, "right"),
    ("site", 5, "right"),
    ("what", 25, "left"),
    ("where (lon lat)", 19, "left"),
    ("drop or slope", 8, "right"),
    ("width", 8, "right"),
    ("area", 9, "right"),
    ("flow", 10, "right"),
    ("sure", 4, "right"),
)
Columns = Mapping[str, NDArray[Any]]


def significant(value: float, digits: int = 2) -> str:
    """Write a number with two or three significant figures, never with an exponent.

    Parameters
    ----------
    value
        Any number; NaN gives a dash.
    digits
        Significant figures; whole numbers keep all their digits before the point rounded so.
    """
    return figures(value, digits) if math.isfinite(value) else "-"


def _order(sites: Columns) -> NDArray[np.intp]:
    return np.argsort(sites["rank"], kind="stable")


def _row(sites: Columns, i: int, units: Units, flow: str) -> tuple[str, ...]:
    """Cells of one site in the units asked for; columns are already converted."""
    length, area, flow_unit = ("ft", "ac", "cfs") if units == "us" else ("m", "ha", "m3/s")
    suffix = {"si": ("_m", "_ha", "_m3s"), "us": ("_ft", "_ac", "_cfs")}[units]
    drop = float(sites[f"headcut_height{suffix[0]}"][i])
    if math.isfinite(drop) and drop > 0:
        steep = f"{significant(drop)} {length}"
    else:
        steep = f"{significant(100 * float(sites['slope'][i]))} %"
    complete = bool(sites["area_complete"][i])
    # An area that the raster cuts off is a minimum, and so is its flow.
    least = "" if complete else ">"

    def with_unit(value: float, unit: str, sign: str = "", digits: int = 2) -> str:
        return f"{sign}{significant(value, digits)} {unit}" if math.isfinite(value) else "-"

    return (
        str(int(sites["rank"][i])),
        str(int(sites["site_id"][i])),
        str(sites["structure"][i] or "-").replace("_", " "),
        f"{sites['lon'][i]:.5f} {sites['lat'][i]:.5f}",
        steep,
        _width(sites, i, suffix[0], length),
        with_unit(float(sites[f"drainage_area{suffix[1]}"][i]), area, least),
        with_unit(float(sites[flow][i]), flow_unit, least),
        f"{float(sites['confidence'][i]):.2f}" if np.isfinite(sites["confidence"][i]) else "-",
    )


def _width(sites: Mapping[str, Any], i: int, suffix: str, unit: str) -> str:
    """Width of the channel, or the range of one that nobody saw; ``-`` for none."""
    width = float(sites[f"width{suffix}"][i])
    if math.isfinite(width):
        return f"{significant(width)} {unit}"
    ends = [
        sites[name][i] for name in (f"width_low{suffix}", f"width_high{suffix}") if name in sites
    ]
    if len(ends) < 2 or not all(math.isfinite(end) for end in ends):
        return "-"
    return f"{significant(ends[0])}-{significant(ends[1])} {unit}"


def flow_field(return_period_years: int, units: Units) -> str:
    """Name of the peak flow's field for a return period.

    Raises
    ------
    ParameterError
        A return period that the plan does not hold.
    """
    wanted = f"q{return_period_years}_m3s"
    for field in fields_of("sites"):
        if field.name == wanted:
            return field.name_in(units)
    raise ParameterError(
        f"a return period of {return_period_years} years", expected="2, 5, 10, 25, 50 or 100"
    )


@dataclass(frozen=True, slots=True)
class ListText:
    """What is said around the table of a ranked list.

    Parameters
    ----------
    summary
        One line before the table.
    work, cautions, files
        Lines after it: what it takes, what to be careful with, what was written.
    """

    summary: str
    work: Sequence[str] = ()
    cautions: Sequence[str] = ()
    files: Sequence[str] = ()


def print_ranked_list(
    sites: Columns,
    text: ListText,
    *,
    stream: TextIO,
    units: Units = "si",
    return_period_years: int = 10,
    most: int = 20,
    reasons: int = 3,
    terminal: bool | None = None,
) -> None:
    """Print the ranked list: a summary line, the table, cautions, and file names last.

    Parameters
    ----------
    sites
        SI columns of the ``sites`` layer.
    text
        What is said before and after the table.
    stream
        Where to print; plain text unless it is a terminal.
    units
        ``si`` or ``us``.
    return_period_years
        Which peak flow to show.
    most
        How many sites to list.
    reasons
        For how many of the first sites the reason is printed below them.
    terminal
        Whether to use colour and rules; by default when the stream is a terminal.
    """
    check_units(units)
    is_terminal = stream.isatty() if terminal is None else terminal
    console = Console(
        file=stream,
        width=WIDTH,
        force_terminal=is_terminal,
        no_color=not is_terminal,
        highlight=False,
        markup=False,
        emoji=False,
        soft_wrap=not is_terminal,
    )
    converted = convert_columns("sites", sites, units)
    flow = flow_field(return_period_years, units)
    order = _order(sites)
    shown = order[: max(most, 0)]
    _print_wrapped(console, text.summary)
    if len(shown):
        headings = [name for name, _, _ in _COLUMNS]
        headings[7] = f"Q{return_period_years}"
        rows = [_row(converted, int(i), units, flow) for i in shown]
        notes = [str(sites["reason"][i] or "") if n < reasons else "" for n, i in enumerate(shown)]
        if is_terminal:
            controls = [str(sites["control"][i]) for i in shown]
            _print_rich(console, headings, rows, notes, controls)
        else:
            _print_plain(console, headings, rows, notes)
    if len(order) > len(shown):
        more = len(order) - len(shown)
        verb = "is" if more == 1 else "are"
        _print_wrapped(console, f"{counted(more, 'more site')} {verb} in the plan.")
    for sentence in text.work:
        _print_wrapped(console, sentence)
    for caution in text.cautions:
        _print_wrapped(console, f"Caution: {caution}")
    for name in text.files:
        # A file name is never broken, so that it can be copied.
        console.print(f"Wrote {name}", soft_wrap=True)


def _print_wrapped(console: Console, text: str, *, indent: str = "", style: str = "") -> None:
    lines = textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent,
        break_on_hyphens=False,  # an option such as --curve-number stays whole
    )
    for line in lines:
        console.print(Text(line, style=style), soft_wrap=True)


def _print_plain(
    console: Console,
    headings: Sequence[str],
    rows: Sequence[tuple[str, ...]],
    notes: Sequence[str],
) -> None:
    """Print aligned text, each cell wrapped within its column."""
    for line in _lines(headings):
        console.print(line, soft_wrap=True)
    console.print(" ".join("-" * width for _, width, _ in _COLUMNS), soft_wrap=True)
    for row, note in zip(rows, notes, strict=True):
        for line in _lines(row):
            console.print(line, soft_wrap=True)
        if note:
            _print_wrapped(console, note, indent=" " * 11)


def _lines(cells: Sequence[str]) -> list[str]:
    wrapped = [
        textwrap.wrap(cell, width) or [""]
        for cell, (_, width, _) in zip(cells, _COLUMNS, strict=True)
    ]
    out = []
    for n in range(max(len(w) for w in wrapped)):
        parts = []
        for lines, (_, width, side) in zip(wrapped, _COLUMNS, strict=True):
            text = Text(lines[n] if n < len(lines) else "")
            # Cell lengths count wide characters as two columns.
            gap = " " * max(width - text.cell_len, 0)
            parts.append(gap + text.plain if side == "right" else text.plain + gap)
        out.append(" ".join(parts).rstrip())
    return out


def _print_rich(
    console: Console,
    headings: Sequence[str],
    rows: Sequence[tuple[str, ...]],
    notes: Sequence[str],
    controls: Sequence[str],
) -> None:
    """Print a table with the colour of each control as a second signal."""
    table = Table(box=None, padding=(0, 1, 0, 0), width=WIDTH, show_edge=False, pad_edge=False)
    for heading, (_, width, side) in zip(headings, _COLUMNS, strict=True):
        justify = "right" if side == "right" else "left"
        table.add_column(Text(heading, style="bold"), width=width, justify=justify)  # type: ignore[arg-type]
    for row, control in zip(rows, controls, strict=True):
        cells = [Text(cell) for cell in row]
        cells[2].stylize(palette.site_symbol(control).colour)
        cells[0].stylize("bold")
        table.add_row(*cells)
    console.print(table)
    for row, note in zip(rows, notes, strict=True):
        if note:
            _print_wrapped(console, f"{row[0]}. {note}", style="dim")


def _plain(value: Any, kind: str) -> Any:
    """Return a value as JSON holds it; what is not known is None."""
    if kind == "float":
        return float(value) if math.isfinite(value) else None
    if kind == "int":
        return int(value)
    if kind == "bool":
        return bool(value)
    return None if value is None else str(value)


def site_records(sites: Columns, *, units: Units = "si") -> list[dict[str, Any]]:
    """Sites in order of rank, one dict each with the names of the layer's fields.

    Parameters
    ----------
    sites
        SI columns of the ``sites`` layer.
    units
        ``si`` or ``us``.
    """
    converted = convert_columns("sites", sites, units)
    kinds = {field.name_in(units): field.kind for field in fields_of("sites")}
    return [
        {name: _plain(values[i], kinds[name]) for name, values in converted.items()}
        for i in _order(sites)
    ]


def list_json(sites: Columns, *, units: Units = "si", **more: Any) -> str:
    """Write the ranked list as JSON: the units, the sites and what else is given."""
    document = {"units": units, "sites": site_records(sites, units=units), **more}
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def list_csv(sites: Columns, *, units: Units = "si") -> str:
    """Write the ranked list as CSV: names of fields as headings, unknown values empty."""
    names = list(convert_columns("sites", sites, units))
    fields = {field.name_in(units): field for field in fields_of("sites")}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for record in site_records(sites, units=units):
        writer.writerow([_cell(record[n], fields[n].decimals_in(units)) for n in names])
    return out.getvalue()


def _cell(value: Any, decimals: int) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.{decimals}f}"
    return str(value)
