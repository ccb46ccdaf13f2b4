"""Factors of a chance: straight curves from the file of limits, each with what it was read at."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siting.values.rules import Rules
from siting.values.wording import figures, percent, quantity


@dataclass(frozen=True, slots=True)
class Factor:
    """One factor.

    Parameters
    ----------
    subject
        What it is about, in a few words.
    value
        0 to 1.
    text
        What was found, and how the value follows from it.
    source, basis
        As of the limit that it is read from: see `siting.values.rules.Limit`.
    """

    subject: str
    value: float
    text: str
    source: str
    basis: str


def constant(rules: Rules, name: str, *, subject: str, text: str) -> Factor:
    """A factor that is one number of the file of limits."""
    limit = rules[name]
    return Factor(subject, limit.value, f"{text}: {limit.value:g}", limit.source, limit.basis)


def rising(
    rules: Rules, name: str, found: float, *, subject: str, text: str, factor: str = ""
) -> Factor:
    """A factor that grows from one end of a curve to the other.

    Parameters
    ----------
    rules
        Limits: where the curve runs, and its factors.
    name
        Name of the limit that says where it runs; the factors' ends in ``_factor``.
    found
        Where it is read; NaN where that is not known, then the middle of the factors stands in.
    subject, text
        What it is about, and what was found, in words.
    factor
        Name of the limit with the factors, where it is another.
    """
    return _read(rules, name, found, subject, text, factor or f"{name}_factor", falls=False)


def falling(rules: Rules, name: str, found: float, *, subject: str, text: str) -> Factor:
    """A factor that falls from one end of a curve to the other; see `rising`."""
    return _read(rules, name, found, subject, text, f"{name}_factor", falls=True)


def _read(
    rules: Rules, name: str, found: float, subject: str, text: str, factor: str, *, falls: bool
) -> Factor:
    where, ends = rules[name], rules[factor]
    first, last = (ends.high, ends.low) if falls else (ends.low, ends.high)
    if math.isnan(found):
        value = 0.5 * (first + last)
        said = f"{text}: not known, the middle of {first:g} and {last:g}, {value:.3g}"
        return Factor(subject, value, said, where.source, where.basis)
    span = where.high - where.low
    share = (found - where.low) / span if span > 0 else float(found >= where.high)
    value = first + (last - first) * min(max(share, 0.0), 1.0)
    low, high = (_at(end, where.unit) for end in (where.low, where.high))
    said = f"{text}: {value:.3g}, on the line from {first:g} at {low} to {last:g} at {high}"
    return Factor(subject, value, said, where.source, where.basis)


def _at(value: float, unit: str) -> str:
    """Write where a curve begins or ends."""
    if unit == "m/m":
        return percent(value)
    return figures(value) if unit in ("share", "times") else quantity(value, unit)


@dataclass(frozen=True, slots=True)
class Chance:
    """A product of factors.

    Parameters
    ----------
    factors
        In the order in which they are told.
    """

    factors: tuple[Factor, ...]

    @property
    def value(self) -> float:
        """The product, 0 to 1."""
        return math.prod(f.value for f in self.factors)


def over_years(chance: Chance, *, years: float, of_years: float) -> float:
    """A chance of a number of years over another number of them.

    As if each year had the same chance: 1 - (1 - chance)^(years / of_years).
    """
    return float(1.0 - (1.0 - chance.value) ** (years / of_years))
