"""The format of a plan: what each version of it changed, and how an older plan is read.

A plan says its format in a row of ``run_info``; one without that row is of format 1. (The numbers
in the head of the file belong to the GeoPackage standard.) The format counts forms of a plan, not
versions of the program: it rises when something that was there is named, placed or meant
otherwise, or when a layer or table is added. A field that may be empty can be added without that:
from an older plan it reads as not known.

What an older plan names otherwise or lacks is put right on what is read; the file stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.file_errors import OutputError

#: Makes a field of today from the SI columns of its layer in the format before.
Made = Callable[[Mapping[str, NDArray[Any]]], NDArray[Any]]

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
    made_fields
        Layer or table, and SI name of a field that the format before has not but tells in another
        way, to what makes it of the columns there.
    """

    number: int
    changed: tuple[str, ...]
    added_tables: frozenset[str] = frozenset()
    renamed_tables: Mapping[str, str] = field(default_factory=dict)
    renamed_fields: Mapping[tuple[str, str], str] = field(default_factory=dict)
    made_fields: Mapping[tuple[str, str], Made] = field(default_factory=dict)


def _purpose_of(columns: Mapping[str, NDArray[Any]]) -> NDArray[Any]:
    """What a site is for: what stood on a road had no channel, all else said so by its control."""
    control, on_road = columns["control"], columns["channel_id"] == 0
    purpose = np.where(on_road & (control != "refer"), "road", control)
    return np.where(purpose == "refer", "vertical", purpose).astype(object)


def _rank_of(columns: Mapping[str, NDArray[Any]]) -> NDArray[Any]:
    """Place in the list: each site had a rank of its own."""
    return columns["rank"]


#: Every format there was, the oldest first; the last one is written.
FORMATS: tuple[PlanFormat, ...] = (
    PlanFormat(1, ("The plan does not say its format.",)),
    PlanFormat(
        2,
        (
            f"A row `{ROW}` of `run_info` says the format.",
            "`site_records` keeps each site in another form; older plans cannot be revised.",
            "`structure_types` and `structure_outlines` hold how structures are called and look. "
            "From an older plan they are called by the names of their types and not drawn.",
            "`sites` say their `purpose`; from an older plan it is told by control and channel.",
            "`instructions` also hold what to check first; `sizes` say what each size means.",
        ),
        added_tables=frozenset({"structure_types", "structure_outlines"}),
        made_fields={("sites", "purpose"): _purpose_of},
    ),
    PlanFormat(
        3,
        (
            "Works are ranked, no longer sites: the layers `works` and `referred` and the table "
            "`work_reasons` hold them, and `sites` say their `work_id` and their `list_place`. The "
            "`rank` of a site is that of its work and 0 where nothing is built; `score` is what "
            "the work saves for its cost. `rank_usual` is gone. From an older plan there are no "
            "works, each site keeps its rank, and its place in the list is the same.",
            "`look_first` holds reaches that may be healing; from an older plan it is empty.",
            "`gullies` hold ground that is cut between edges; from an older plan it is empty.",
            "`site_records` keep the whole ground above each headcut, and `settings_used` the "
            "horizon instead of weights; older plans cannot be revised.",
        ),
        added_tables=frozenset({"works", "referred", "work_reasons", "look_first", "gullies"}),
        made_fields={("sites", "list_place"): _rank_of},
    ),
)
#: The oldest format that each command reads.
READ_FROM: Mapping[str, int] = {
    "explain": 1,
    "flood": 1,
    "packet": 1,
    "page": 1,
    "waypoints": 1,
    "revise": 3,
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


def made_since(table: str, number: int) -> Mapping[str, Made]:
    """Fields of a layer or table that are made of what a plan of an older format holds."""
    steps = [step for step in FORMATS if step.number > number]
    return {
        name: make for s in steps for (where, name), make in s.made_fields.items() if where == table
    }


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
