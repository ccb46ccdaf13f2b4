"""Prices, productivity and truck loads: an editable file, each figure with its source.

They stand in ``costs.toml`` beside this module. A user's file may hold all of them or only those
that change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from siting.structures.structure_type import ITEMS
from siting.structures.whole_price import COSTS_FILE
from siting.values.input_errors import CostError, RulesError
from siting.values.settings_file import Source, number, own_file, read_settings, source_name, words
from terrain.values.arrays import FloatArray

BASES = ("published", "common practice", "from memory", "own quote")
_LEVELS = ("low", "likely", "high")
_KEYS = frozenset({*_LEVELS, "year", "unit", "source", "basis", "meaning"})
_PRICES = ("items", "labour", "haul", "whole")
#: Groups whose prices may be of a year; the others say no prices.
_DATED = (*_PRICES, "compare")
_ABOVE_ZERO = ("work", "loads", "index")
#: Groups to which a file may add entries, and the unit of what is added.
_OPEN = {"whole": "each", "work": "each per person-day", "index": "times"}
_YEARS = (1950, 2100)
#: Entry of ``work`` that counts sites, not what is placed.
_SITES = "sites"


@dataclass(frozen=True, slots=True)
class Figure:
    """A price, a productivity or a load, as a range.

    Parameters
    ----------
    name
        Group and name, such as ``items.logs``.
    low, likely, high
        In this order, none below 0.
    unit
        What they are for; for prices the amount that is paid for.
    source
        Where the numbers come from.
    basis
        One of `BASES`.
    meaning
        Plain words.
    year
        Year that a price is of; 0 for today's.
    """

    name: str
    low: float
    likely: float
    high: float
    unit: str
    source: str
    basis: str
    meaning: str
    year: int = 0

    @property
    def levels(self) -> FloatArray:
        """Low, likely and high, shape ``(3,)``."""
        return np.array([self.low, self.likely, self.high])


@dataclass(frozen=True, slots=True, eq=False)
class Costs:
    """All figures by name.

    Parameters
    ----------
    figures
        Group and name to figure. Groups: ``items``, ``labour``, ``haul`` and ``whole`` are prices
        (``whole`` of structures whose type has it in ``priced_whole``), ``compare`` are published
        prices that enter no sum, ``index`` is what prices of a year are today, ``work`` is what one
        person places in a day, ``loads`` is what a truck takes.
    currency
        As a person writes it.
    origin
        The file they come from.
    changed
        Names of the figures that differ from those of the package.
    """

    figures: Mapping[str, Figure]
    currency: str
    origin: str
    changed: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Figure:
        return self.figures[name]

    def index_of(self, name: str) -> Figure | None:
        """The index that brings a price to today's; None where it is of today."""
        year = self.figures[name].year
        return self.figures[f"index.since_{year}"] if year else None

    def today(self, name: str) -> FloatArray:
        """Low, likely and high of a price in today's money, shape ``(3,)``."""
        index = self.index_of(name)
        levels = self.figures[name].levels
        return levels if index is None else np.asarray(levels * index.levels)

    @property
    def wholes(self) -> tuple[str, ...]:
        """Entries that are prices of a structure as a whole."""
        return tuple(n.removeprefix("whole.") for n in self.figures if n.startswith("whole."))


def load_costs(source: Source | None = None) -> Costs:
    """Read the figures.

    Parameters
    ----------
    source
        A user's file, or its text; what it does not hold stays as it comes with the package. In
        another currency it must hold every price, and the figures of ``compare`` that it does not
        hold are dropped.

    Raises
    ------
    CostError
        The file cannot be read, is of another version, holds an unknown name, a figure without
        unit, source or basis, in another unit, below 0 or not in the order low, likely, high; a
        price of a year without an index, or an added price of a whole without the time it takes.
    """
    own = own_file(COSTS_FILE)
    figures = {name: _figure(name, entry, COSTS_FILE, None) for name, entry in _entries(own)}
    currency = str(own["currency"])
    if source is None:
        return Costs(MappingProxyType(figures), currency, COSTS_FILE)
    file = source_name(source)
    tables = read_settings(
        source, own, texts=("currency",), open_groups=tuple(_OPEN), error=CostError
    )
    given = {
        name: _figure(name, entry, file, figures.get(name)) for name, entry in _entries(tables)
    }
    if "currency" in tables and _text(tables, "currency", file) != currency:
        _check_currency(tables, figures, given, file)
        figures = {n: f for n, f in figures.items() if n in given or not n.startswith("compare.")}
        currency = _text(tables, "currency", file)
    used = figures | given
    _check_added(used, file)
    changed = tuple(name for name, figure in used.items() if figure != figures.get(name))
    return Costs(MappingProxyType(used), currency, file, changed)


def _entries(tables: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    return [
        (f"{group}.{key}", entry)
        for group, entries in tables.items()
        if group not in ("version", "currency")
        for key, entry in entries.items()
    ]


def _figure(name: str, entry: Mapping[str, Any], file: str, usual: Figure | None) -> Figure:
    """Check one figure; ``usual`` is that of the package, None for the package's own file."""
    where = f"{file}: {name}"
    unknown = sorted(set(entry) - _KEYS)
    if unknown:
        raise CostError(
            f"{where} holds {', '.join(unknown)}, which is not known",
            expected="low, likely, high, year, unit, source, basis, meaning",
        )
    unit = _unit_of(name) if usual is None else usual.unit
    if unit and "unit" not in entry:
        raise CostError(f"{where} has no unit", expected=f'unit = "{unit}"')
    try:
        low, likely, high = (number(entry, level, where) for level in _LEVELS)
        texts = {key: words(entry, key, where) for key in ("unit", "source", "basis")}
        meaning = words(entry, "meaning", where) if usual is None or "meaning" in entry else ""
    except RulesError as error:
        raise CostError(error.found, expected=error.expected) from error
    if unit and texts["unit"] != unit:
        raise CostError(
            f"{where} is in {texts['unit']}",
            expected=unit,
            do="convert the numbers and keep the unit",
        )
    if low < 0:
        raise CostError(f"{where}: low is {low:g}", expected="zero or more")
    if low == 0 and name.split(".")[0] in _ABOVE_ZERO:
        raise CostError(f"{where}: low is 0", expected="more than zero")
    for (a, smaller), (b, larger) in (
        (("low", low), ("likely", likely)),
        (("likely", likely), ("high", high)),
    ):
        if smaller > larger:
            raise CostError(
                f"{where}: {a} {smaller:g} is above {b} {larger:g}",
                expected="low up to likely up to high",
            )
    if texts["basis"] not in BASES:
        raise CostError(
            f"{where}: basis is '{texts['basis']}'", expected="one of " + ", ".join(BASES)
        )
    return Figure(
        name=name,
        low=low,
        likely=likely,
        high=high,
        meaning=meaning or (usual.meaning if usual else ""),
        year=_year(entry, name, where),
        **texts,
    )


def _year(entry: Mapping[str, Any], name: str, where: str) -> int:
    """Year that a price is of; 0 where it says none."""
    if "year" not in entry:
        return 0
    year = entry["year"]
    whole = isinstance(year, int) and not isinstance(year, bool)
    if not whole or not _YEARS[0] <= year <= _YEARS[1] or name.split(".")[0] not in _DATED:
        raise CostError(
            f"{where}: year is {year!r}",
            expected=f"a year from {_YEARS[0]} to {_YEARS[1]}, at a price",
        )
    return int(year)


def _check_added(figures: Mapping[str, Figure], file: str) -> None:
    """Hold prices against the index of their year, and wholes against the time they take."""
    for name, figure in figures.items():
        group, key = name.split(".")
        index = f"index.since_{figure.year}"
        if figure.year and index not in figures:
            raise CostError(
                f"{file}: {name} is of {figure.year}, and there is no [{index}]",
                expected="the index that brings prices of that year to today's",
            )
        if group == "whole" and f"work.{key}" not in figures:
            raise CostError(
                f"{file} prices {key} as a whole but has no [work.{key}]",
                expected="how many of them are made in a person-day",
            )
        of_whole = group == "work" and key not in ITEMS and key != _SITES
        if of_whole and f"whole.{key}" not in figures:
            raise CostError(
                f"{file} holds {name}, which is not known",
                expected=f"a price [whole.{key}] beside it, or another name",
            )


def _unit_of(name: str) -> str:
    """Unit that materials and added entries ask for; empty where the own file settles it."""
    group, key = name.split(".")
    if key not in ITEMS:
        return _OPEN.get(group, "") if key not in own_file(COSTS_FILE).get(group, {}) else ""
    unit = ITEMS[key][0]
    return {"items": unit, "work": f"{unit} per person-day"}.get(group, "")


def _text(tables: Mapping[str, Any], key: str, file: str) -> str:
    value = tables[key]
    if not isinstance(value, str) or not value.strip():
        raise CostError(f"{file}: {key} is {value!r}", expected=f'{key} = "US$" or another text')
    return value.strip()


def _check_currency(
    tables: Mapping[str, Any],
    figures: Mapping[str, Figure],
    given: Mapping[str, Figure],
    file: str,
) -> None:
    """Prices of two currencies must not be added up."""
    missing = [n for n in figures if n.split(".")[0] in _PRICES and n not in given]
    if missing:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        raise CostError(
            f"{file} is in {tables['currency']} but gives no price for {missing[0]}{more}",
            expected="every price in the same currency",
            do="copy the whole file that comes with the package and change its prices",
        )
