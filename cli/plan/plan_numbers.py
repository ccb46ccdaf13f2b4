"""Numbers of a plan as a person reads them, in the plan's units."""

from __future__ import annotations

import math

import numpy as np

from cli.plan.explanation import Explanation, Record
from cli.plan.field_types import US_WORDS
from cli.plan.fields import Field, Units, fields_of
from cli.plan.inches import in_inches, inches
from cli.plan.ranked_list import significant


def unit_of(layer: str, name: str, units: Units) -> str:
    """Unit of a field in words."""
    return _field(layer, name).unit_in(units)


def _field(layer: str, name: str) -> Field:
    return next(f for f in fields_of(layer) if f.name == name)


def amount(layer: str, name: str, value: float, units: Units, *, digits: int = 2) -> str:
    """Write a field's SI number in the units asked for, with its unit; below a foot in inches."""
    field = _field(layer, name)
    if units == "us" and field.suffix == "_m" and in_inches(float(value)):
        return f"{inches(float(value))} in"
    turned = float(value) * (field.factor if units == "us" else 1.0)
    if not math.isfinite(turned):
        return "-"
    return f"{significant(turned, digits)} {field.unit_in(units)}".rstrip()


def in_column(layer: str, name: str, value: float, units: Units) -> str:
    """Write a field's SI number in the units asked for, for a column whose head has the unit."""
    turned = float(value) * (_field(layer, name).factor if units == "us" else 1.0)
    return significant(turned) if math.isfinite(turned) else "-"


def measure(found: Explanation, name: str, *, site: Record | None = None, digits: int = 2) -> str:
    """Write a number of the site, or of another one."""
    row = found.site if site is None else site
    return amount("sites", name, row[name], found.units, digits=digits)


def number_and_unit(value: float, unit: str | None, units: Units) -> str:
    """Write a number whose unit stands in its row; pieces are counted in whole ones."""
    if not math.isfinite(value):
        return "-"
    if unit == "pieces":
        return f"{value:.0f}"
    if units == "us" and unit == "m" and in_inches(value):
        return f"{inches(value)} in"
    name, factor = US_WORDS.get(unit or "", (unit or "", 1.0)) if units == "us" else (unit or "", 1)
    return f"{significant(value * factor)} {name}".rstrip()


def span(low_m: float, high_m: float, units: Units) -> str:
    """Write a length from one end to the other; one number where both read the same."""
    ends = [amount("spacings", "spacing_low_m", v, units) for v in (low_m, high_m)]
    if ends[0] == ends[1] or ends[1] == "-":
        return ends[0]
    if ends[0] == "-":
        return ends[1]
    if ends[0].rpartition(" ")[2] != ends[1].rpartition(" ")[2]:
        return f"{ends[0]} to {ends[1]}"
    return f"{ends[0].rpartition(' ')[0]} to {ends[1]}"


def distance_from(found: Explanation, other: Record) -> str:
    """Say how far another site lies along the channel."""
    here, there = float(found.site["station_m"]), float(other["station_m"])
    if found.site["channel_id"] != other["channel_id"] or not np.isfinite(here - there):
        return "on another channel"
    way = "downstream" if there < here else "upstream"
    return f"{amount('sites', 'station_m', abs(here - there), found.units)} {way}"


def money(value: float) -> str:
    """Write a cost in whole units of money, in groups of three."""
    return f"{value:,.0f}" if math.isfinite(value) else "-"
