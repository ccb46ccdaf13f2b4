"""The limits of hand-built structures: an editable file, each limit with its source.

The limits stand in ``rules.toml`` beside this module. A user's file may hold all of them or only
those that change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from siting.values.input_errors import RulesError
from siting.values.settings_file import Source, number, own_file, read_settings, source_name, words

RULES_FILE = "rules.toml"
BASES = ("published", "common practice", "from memory")
_KEYS = frozenset({"value", "min", "max", "unit", "source", "basis", "meaning"})


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit, or a pair of them.

    Parameters
    ----------
    name
        Group and name, such as ``hand_work.drop``.
    low, high
        The two limits; the same number where there is only one.
    unit
        Unit of both.
    source
        Where the numbers come from.
    basis
        ``published``, ``common practice`` or ``from memory``.
    meaning
        Plain words.
    """

    name: str
    low: float
    high: float
    unit: str
    source: str
    basis: str
    meaning: str

    @property
    def value(self) -> float:
        """The limit, where there is only one.

        Raises
        ------
        RulesError
            There are two.
        """
        if self.low != self.high:
            raise RulesError(f"{self.name} has a min and a max", expected="one value")
        return self.low


@dataclass(frozen=True, slots=True, eq=False)
class Rules:
    """All limits by name.

    Parameters
    ----------
    limits
        Group and name to limit.
    origin
        The file they come from.
    changed
        Names of the limits that differ from those of the package.
    """

    limits: Mapping[str, Limit]
    origin: str
    changed: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Limit:
        return self.limits[name]

    def value(self, name: str) -> float:
        """Return a limit that has one number."""
        return self.limits[name].value

    def low(self, name: str) -> float:
        """Return the lower number of a limit."""
        return self.limits[name].low

    def high(self, name: str) -> float:
        """Return the upper number of a limit."""
        return self.limits[name].high


def load_rules(source: Source | None = None) -> Rules:
    """Read the limits.

    Parameters
    ----------
    source
        A user's file, or its text; what it does not hold stays as it comes with the package.

    Raises
    ------
    RulesError
        The file cannot be read, is of another version, holds an unknown name, a min above its max,
        another unit, or a limit without unit or source.
    """
    own = own_file(RULES_FILE)
    limits = {limit.name: limit for limit in _limits(own, RULES_FILE)}
    if source is None:
        return Rules(MappingProxyType(limits), RULES_FILE)
    file = source_name(source)
    given = list(_limits(read_settings(source, own), file))
    for limit in given:
        if limit.unit != limits[limit.name].unit:
            raise RulesError(
                f"{file}: {limit.name} is in {limit.unit}",
                expected=limits[limit.name].unit,
                do="convert the number and keep the unit",
            )
    usual = dict(limits)
    limits |= {limit.name: limit for limit in given}
    changed = tuple(name for name, limit in limits.items() if limit != usual[name])
    return Rules(MappingProxyType(limits), file, changed)


def _limits(tables: Mapping[str, Any], file: str) -> list[Limit]:
    return [
        _limit(f"{group}.{key}", entry, file)
        for group, entries in tables.items()
        if group != "version"
        for key, entry in entries.items()
    ]


def _limit(name: str, entry: Mapping[str, Any], file: str) -> Limit:
    where = f"{file}: {name}"
    unknown = sorted(set(entry) - _KEYS)
    if unknown:
        raise RulesError(
            f"{where} holds {', '.join(unknown)}, which is not known",
            expected="value, or min and max; unit, source, basis, meaning",
        )
    if ("value" in entry) == ("min" in entry or "max" in entry):
        raise RulesError(f"{where} has no clear number", expected="value, or both min and max")
    low = number(entry, "value" if "value" in entry else "min", where)
    high = number(entry, "value" if "value" in entry else "max", where)
    if low > high:
        raise RulesError(f"{where}: min {low:g} is above max {high:g}", expected="min up to max")
    if low < 0:
        raise RulesError(f"{where} is {low:g}", expected="zero or more")
    basis = words(entry, "basis", where)
    if basis not in BASES:
        raise RulesError(f"{where}: basis is '{basis}'", expected="one of " + ", ".join(BASES))
    return Limit(
        name=name,
        low=low,
        high=high,
        unit=words(entry, "unit", where),
        source=words(entry, "source", where),
        basis=basis,
        meaning=words(entry, "meaning", where),
    )
