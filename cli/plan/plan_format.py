"""The format of a plan: what each version of it changed, and how an older plan is read.

A plan says its format in a row of ``run_info``; one without that row is of format 1. (The numbers
in the head of the file belong to the GeoPackage standard.) The format counts forms of a plan, not
versions of the program: it rises when something that was there is named, placed or meant
otherwise, or when a layer or table is added. A field that may be empty can be added without that:
from an older plan it reads as not known.

What an older plan names otherwise or lacks is put right on what is read; the file stays as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cli.file_errors import OutputError

#: Row of ``run_info`` that holds the format. It is read before anything is put right: neither row
#: nor table may ever be named otherwise.
ROW = "plan format"


@dataclass(frozen=True, slots=True)
class PlanFormat:
    """One format, as a step from the one before.

    Parameters
    ----------
    number
        Of this format.
    changed
        What is different from the format before, as sentences for people.
    added_tables
        Layers and tables that the format before has not: they read as empty.
    renamed_tables
        Name now to name in the format before.
    renamed_fields
        Layer or table (its name now), and SI name of the field now, to its SI name in the format
        before. The unit is the same.
    """

    number: int
    changed: tuple[str, ...]
    added_tables: frozenset[str] = frozenset()
    renamed_tables: Mapping[str, str] = field(default_factory=dict)
    renamed_fields: Mapping[tuple[str, str], str] = field(default_factory=dict)


#: Every format there was, the oldest first; the last one is written.
FORMATS: tuple[PlanFormat, ...] = (
    PlanFormat(1, ("The plan does not say its format.",)),
    PlanFormat(
        2,
        (
            f"A row `{ROW}` of `run_info` says the format.",
            "`site_records` keeps each site in another form; older plans cannot be revised.",
        ),
    ),
)
#: The oldest format that each command reads.
READ_FROM: Mapping[str, int] = {
    "explain": 1,
    "flood": 1,
    "packet": 1,
    "page": 1,
    "waypoints": 1,
    "revise": 2,
}


def newest() -> int:
    """Format that is written."""
    return FORMATS[-1].number


@dataclass(frozen=True, slots=True)
class Stored:
    """How a layer or table of today stands in a plan of some format.

    Parameters
    ----------
    table
        Its name there; None where that format has none.
    fields
        SI names of today to SI names there, for fields that are named otherwise.
    """

    table: str | None
    fields: Mapping[str, str] = field(default_factory=dict)


def stored(table: str, number: int) -> Stored:
    """Find out how a layer or table stands in a plan of an older format, step by step back."""
    name = table
    names: dict[str, str] = {}
    for step in reversed(FORMATS):
        if step.number <= number:
            break
        if name in step.added_tables:
            return Stored(None)
        before = {now: old for (where, now), old in step.renamed_fields.items() if where == name}
        names = {today: before.pop(then, then) for today, then in names.items()} | before
        name = step.renamed_tables.get(name, name)
    return Stored(name, names)


def format_row() -> tuple[str, str]:
    """Row of ``run_info`` that a plan is written with."""
    return ROW, str(newest())


def number_of(plan: str, text: str | None) -> int:
    """Format of a plan from the row that says it; 1 where there is no such row.

    Raises
    ------
    OutputError
        The row holds no format, or one that this program does not know.
    """
    if text is None:
        return 1
    if not text.isascii() or not text.isdigit() or len(text) > 6 or int(text) < 1:
        raise OutputError(
            f"{plan} says '{text[:40]}' for its {ROW}",
            expected=f"a whole number from 1 to {newest()}",
            do="make it again with gullywalk screen",
        )
    if int(text) > newest():
        raise OutputError(
            f"{plan} is of {ROW} {text}: a newer version of Gullywalk made it",
            expected=f"{newest()} or lower",
            do="read it with that version, or make it again with gullywalk screen",
        )
    return int(text)


def check_command(plan: str, number: int, command: str) -> None:
    """Refuse a plan that is too old for a command.

    Raises
    ------
    OutputError
        It is.
    """
    low, high = READ_FROM[command], newest()
    if number < low:
        raise OutputError(
            f"{plan} is of {ROW} {number}",
            expected=f"{high if low == high else f'{low} to {high}'} for gullywalk {command}",
            do="make it again with gullywalk screen",
        )
