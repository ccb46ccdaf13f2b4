"""A plan's tables as they may be written over: what the planters of contradictions work on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Row = dict[str, Any]


class NoPlaceError(Exception):
    """The plan has no place where this contradiction could stand."""


@dataclass(frozen=True, slots=True)
class Draft:
    """Mutable copies of a plan's tables: SI columns by name, by the name of the layer.

    Parameters
    ----------
    tables
        Columns by name of layer or table, ``run_info`` among them.
    """

    tables: dict[str, dict[str, NDArray[Any]]]

    @classmethod
    def of(cls, tables: Mapping[str, Mapping[str, NDArray[Any]]]) -> Draft:
        """Copy tables, so that those given stay as they are."""
        return cls(
            {name: {k: np.array(v) for k, v in cols.items()} for name, cols in tables.items()}
        )

    def rows(self, table: str) -> list[Row]:
        """Rows of a table."""
        columns = self.tables[table]
        return [
            {k: v[i] for k, v in columns.items()} for i in range(len(next(iter(columns.values()))))
        ]

    def where(self, table: str, holds: Callable[[Row], bool]) -> list[int]:
        """Numbers of the rows that meet a condition; `NoPlaceError` where none does."""
        found = [i for i, row in enumerate(self.rows(table)) if holds(row)]
        if not found:
            raise NoPlaceError(table)
        return found

    def one(self, table: str, holds: Callable[[Row], bool]) -> int:
        """Number of one row that meets a condition: the middle one."""
        found = self.where(table, holds)
        return found[len(found) // 2]

    def get(self, table: str, row: int, field: str) -> Any:
        """One value."""
        return self.tables[table][field][row]

    def put(self, table: str, row: int, **values: object) -> None:
        """Write values into one row."""
        for field, value in values.items():
            self.tables[table][field][row] = value

    def scale(self, table: str, row: int, factor: float, *fields: str) -> None:
        """Multiply fields of one row."""
        for field in fields:
            self.tables[table][field][row] = self.tables[table][field][row] * factor

    def add(self, table: str, like: int, **values: object) -> None:
        """Add a row that is like another but for these values."""
        columns = self.tables[table]
        for field, column in columns.items():
            longer = np.append(column, column[like : like + 1])
            if field in values:
                longer[-1] = values[field]
            columns[field] = longer

    def reword(
        self, table: str, field: str, pattern: str, new: str, *, when: Callable[[Row], bool]
    ) -> int:
        """Replace what a pattern finds in one text; gives the number of its row."""
        row = self.one(
            table, lambda r: bool(r[field]) and re.search(pattern, r[field]) is not None and when(r)
        )
        text = self.get(table, row, field)
        self.put(table, row, **{field: re.sub(pattern, new, text, count=1)})
        return row

    def retell(
        self,
        table: str,
        field: str,
        pattern: str,
        factor: float,
        *,
        when: Callable[[Row], bool] = lambda _: True,
    ) -> int:
        """Multiply the figure that the first group of a pattern finds in one text."""

        def has_figure(r: Row) -> bool:
            match = re.search(pattern, r[field]) if r[field] else None
            return match is not None and float(match.group(1).replace(",", "")) > 0 and when(r)

        row = self.one(table, has_figure)
        text = self.get(table, row, field)
        found = re.search(pattern, text)
        assert found is not None
        old = found.group(1)
        places = len(old.partition(".")[2])
        figure = f"{float(old.replace(',', '')) * factor:.{places}f}"
        self.put(table, row, **{field: f"{text[: found.start(1)]}{figure}{text[found.end(1) :]}"})
        return row

    def site(self, holds: Callable[[Row], bool]) -> int:
        """Row of one site."""
        return self.one("sites", holds)

    def note(self, name: str) -> int:
        """Row of ``run_info``."""
        return self.one("run_info", lambda r: r["name"] == name)
