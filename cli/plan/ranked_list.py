"""The ranked list on the console: works first, then what is referred."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TextIO

from rich.console import Console
from rich.table import Table
from rich.text import Text

from cli import palette
from cli.plan.fields import Units, check_units, fields_of
from cli.plan.list_files import Columns, Listed, layer_records
from siting.values.wording import counted, figures, listed
from terrain.values.errors import ParameterError

WIDTH = 100
#: Heading, width and side of each column; with one space between them they fill 100 columns.
_COLUMNS = (
    ("rank", 4, "right"),
    ("work", 4, "right"),
    ("what", 22, "left"),
    ("sites", 8, "left"),
    ("where (lon lat)", 19, "left"),
    ("saves", 8, "right"),
    ("lost", 4, "right"),
    ("holds", 5, "right"),
    ("cost", 7, "right"),
    ("days", 4, "right"),
    ("per 1000", 4, "right"),
)
#: So many of what is referred are named.
REFERRED_NAMED = 5
Record = Mapping[str, Any]


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


def _row(work: Record, units: Units) -> tuple[str, ...]:
    """Cells of one work; the record is in the units asked for."""
    saved = work["saved_yd3"] if units == "us" else work["saved_m3"]
    unit = "yd3" if units == "us" else "m3"
    cost, days = f"{work['cost_likely']:,.0f}", f"{work['crew_days']:.1f}"
    if work["width_unseen"]:
        cost = f"{work['cost_low']:,.0f} to {work['cost_high']:,.0f}"
        days = f"{work['crew_days_low']:.1f} to {work['crew_days_high']:.1f}"
    return (
        str(work["rank"]),
        str(work["work_id"]),
        f"{work['kind']}: {work['structures']}{'' if work['functions'] else '; cannot work'}",
        str(work["site_ids"]),
        "-" if work["lon"] is None else f"{work['lon']:.5f} {work['lat']:.5f}",
        f"{significant(saved)} {unit}",
        f"{work['chance_lost']:.2f}",
        f"{work['chance_holds']:.2f}",
        cost,
        days,
        significant(_for_money(saved, work["cost_likely"])),
    )


def _for_money(saved: float, cost: float) -> float:
    """What is saved for each 1,000 of cost."""
    return saved / cost * 1000.0 if cost > 0 else 0.0


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
    found: Listed,
    text: ListText,
    *,
    stream: TextIO,
    units: Units = "si",
    return_period_years: int = 10,
    most: int = 20,
    reasons: int = 3,
    terminal: bool | None = None,
) -> None:
    """Print the list: a summary line, works, what is referred, cautions, and file names last.

    Parameters
    ----------
    found
        Works, sites and what is referred.
    text
        What is said before and after the table.
    stream
        Where to print; plain text unless it is a terminal.
    units
        ``si`` or ``us``.
    return_period_years
        Which peak flow to show.
    most
        How many works to list.
    reasons
        For how many of the first works the sites are told below them.
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
    works = layer_records("works", found.works, "rank", units=units)
    sites = layer_records("sites", found.sites, "list_place", units=units)
    flow = flow_field(return_period_years, units)
    shown = works[: max(most, 0)]
    _print_wrapped(console, text.summary)
    if shown:
        headings = [name for name, _, _ in _COLUMNS]
        rows = [_row(work, units) for work in shown]
        told = [
            _told(work, sites, units, flow, return_period_years) if n < reasons else ""
            for n, work in enumerate(shown)
        ]
        if is_terminal:
            controls = [_control(work, sites) for work in shown]
            _print_rich(console, headings, rows, told, controls)
        else:
            _print_plain(console, headings, rows, told)
        legend = _LEGEND.format("cu yd" if units == "us" else "m3")
        unseen = any(work["width_unseen"] for work in shown)
        _print_wrapped(console, f"{legend}{_UNSEEN if unseen else ''}")
    if len(works) > len(shown):
        more = len(works) - len(shown)
        verb = "is" if more == 1 else "are"
        _print_wrapped(console, f"{counted(more, 'more work')} {verb} in the plan.")
    _print_wrapped(console, _referred(found.referred, units))
    for sentence in text.work:
        _print_wrapped(console, sentence)
    for caution in text.cautions:
        _print_wrapped(console, f"Caution: {caution}")
    for name in text.files:
        # A file name is never broken, so that it can be copied.
        console.print(f"Wrote {name}", soft_wrap=True)


#: What the columns are.
_LEGEND = (
    "saves: soil and whole floor saved, counted as {0} of soil; lost, holds: chances that the "
    "ground is lost without the work, and that the work holds; per 1000: {0} saved for 1,000 of "
    "cost."
)


#: What is added where widths are ranges.
_UNSEEN = (
    " Cost and days from one end to the other: nobody saw how wide the channel is; per 1000 counts "
    "the widest at likely prices."
)


def _own(work: Record, sites: Sequence[Record]) -> list[Record]:
    """Sites of a work in the order of building."""
    return [site for site in sites if site["work_id"] == work["work_id"]]


def _control(work: Record, sites: Sequence[Record]) -> str:
    """What a work is for, by the last of its sites: at a headcut the one that stops it."""
    own = _own(work, sites)
    return str(own[-1]["control"]) if own else "grade"


def _told(
    work: Record, sites: Sequence[Record], units: Units, flow: str, return_period_years: int
) -> str:
    """Sites of a work in the order of building, and why it is there."""
    own = _own(work, sites)
    if not own:
        return ""
    steps = [f"site {site['site_id']} ({_size(site, units)})" for site in own]
    main = own[-1]
    area, flow_unit = ("ac", "cfs") if units == "us" else ("ha", "m3/s")
    least = "" if main["area_complete"] else "at least "
    land = main["drainage_area_ac" if units == "us" else "drainage_area_ha"]
    facts = [f"{least}{significant(land)} {area} drain to it"] if land is not None else []
    if main[flow] is not None:
        facts.append(f"Q{return_period_years} {least}{significant(main[flow])} {flow_unit}")
    facts.append(f"sure {main['confidence']:.2f}")
    return f"Build {listed(steps, last='then')}. {', '.join(facts)}. {main['reason'] or ''}".strip()


def _size(site: Record, units: Units) -> str:
    """Structure, and the drop that it stands at or the slope."""
    unit = "ft" if units == "us" else "m"
    drop = site[f"headcut_height_{unit}"]
    name = str(site["structure"] or "-")
    if drop:
        return f"{name}, drop {significant(drop)} {unit}"
    return f"{name}, slope {significant(100 * site['slope'])} %"


def _referred(referred: Columns, units: Units) -> str:
    """What an engineer looks at, most at risk first; empty where there is nothing."""
    rows = layer_records("referred", referred, "risk_rank", units=units)
    if not rows:
        return ""
    name, unit = ("at_risk_yd3", "cu yd") if units == "us" else ("at_risk_m3", "m3")
    parts = [
        f"E{r['risk_rank']} site {r['site_id']} "
        f"({'not known' if r[name] is None else f'{significant(r[name])} {unit}'})"
        for r in rows[:REFERRED_NAMED]
    ]
    if len(rows) > REFERRED_NAMED:
        parts.append(f"{len(rows) - REFERRED_NAMED} more")
    return (
        f"Not for hands, what is most at risk first: {listed(parts)}; the layer 'referred' says "
        "why."
    )


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
