"""Numbers of a plan as a person reads them, in the plan's units."""

from __future__ import annotations

import math

import numpy as np

from cli.plan.explanation import Explanation, Record
from cli.plan.field_types import US_WORDS
from cli.plan.fields import Field, Units, fields_of
from cli.plan.ranked_list import significant
from terrain.values.reader_units import between, quantity

#: Ends of the range of a number in a row, by the number's name.
ENDS = {
    "value": ("value_low", "value_high"),
    "amount": ("amount_low", "amount_high"),
    "amount_with_spare": ("spare_low", "spare_high"),
}


def unit_of(layer: str, name: str, units: Units) -> str:
    """Unit of a field in words."""
    return _field(layer, name).unit_in(units)


def _field(layer: str, name: str) -> Field:
    return next(f for f in fields_of(layer) if f.name == name)


def amount(layer: str, name: str, value: float, units: Units, *, digits: int | None = None) -> str:
    """Write a field's SI number in the units asked for, with its unit."""
    field = _field(layer, name)
    if not math.isfinite(value):
        return "-"
    si, us = field.unit_in("si"), field.unit_in("us")
    if units == "si" or us == US_WORDS.get(si, ("",))[0]:
        return quantity(float(value), si, units=units, digits=digits)
    # runoff in acre-feet, whose name in SI is that of any volume
    return f"{significant(float(value) * field.factor, digits or 2)} {us}".rstrip()


def in_column(layer: str, name: str, value: float, units: Units) -> str:
    """Write a field's SI number in the units asked for, for a column whose head has the unit."""
    turned = float(value) * (_field(layer, name).factor if units == "us" else 1.0)
    return significant(turned) if math.isfinite(turned) else "-"


def measure(
    found: Explanation, name: str, *, site: Record | None = None, digits: int | None = None
) -> str:
    """Write a number of the site, or of another one."""
    row = found.site if site is None else site
    return amount("sites", name, row[name], found.units, digits=digits)


def number_and_unit(value: float, unit: str | None, units: Units) -> str:
    """Write a number whose unit stands in its row; pieces are counted in whole ones."""
    if not math.isfinite(value):
        return "-"
    if unit == "pieces":
        return f"{value:.0f}"
    return quantity(value, unit or "", units=units)


def in_row(row: Record, name: str, units: Units) -> str:
    """Write a number whose unit stands in its row, or its range where it is one.

    Parameters
    ----------
    row
        Of the table ``sizes``, ``materials`` or ``costs``.
    name
        Of the number: ``value``, ``amount``, ``amount_with_spare``, ``quantity``.
    units
        Of the plan.
    """
    one = number_and_unit(float(row[name]), row["unit"], units)
    ends = ENDS.get(name)
    if one != "-" or ends is None:
        return one
    # plans of older versions have no ranges
    low, high = (number_and_unit(float(row.get(e, np.nan)), row["unit"], units) for e in ends)
    if low == high or "-" in (low, high):
        return high
    unit = "".join(high.partition(" ")[1:])
    return f"{low.removesuffix(unit)} to {high}"


def size_across(found: Explanation) -> str:
    """How far a structure reaches across, or its range; empty where it is not known."""
    row = next((r for r in found.rows["sizes"] if r["name"] == "crest"), None)
    words = "-" if row is None else in_row(row, "value", found.units)
    return "" if words == "-" else words


def span(low_m: float, high_m: float, units: Units) -> str:
    """Write a length from one end to the other; one number where both read the same."""
    ends = [amount("spacings", "spacing_low_m", v, units) for v in (low_m, high_m)]
    if ends[0] == ends[1] or ends[1] == "-":
        return ends[0]
    return ends[1] if ends[0] == "-" else between(low_m, high_m, "m", units=units)


def distance_from(found: Explanation, other: Record) -> str:
    """Say how far another site lies along the channel."""
    here, there = float(found.site["station_m"]), float(other["station_m"])
    if found.site["channel_id"] != other["channel_id"] or not np.isfinite(here - there):
        return "on another channel"
    way = "downstream" if there < here else "upstream"
    return f"{amount('sites', 'station_m', abs(here - there), found.units)} {way}"


def width_unseen(row: Record) -> bool:
    """Whether nobody saw the width at a site, or at one of a work: cost and days are ranges."""
    if "width_low_m" in row:
        return math.isfinite(row["width_low_m"])
    return bool(row["width_unseen"])


def cost_to_sort_by(row: Record) -> float:
    """Number of `cost_words` that a list is sorted by: the only one, or the high end of a range."""
    return float(row["cost_high" if width_unseen(row) else "cost_likely"])


def days_to_sort_by(row: Record) -> float:
    """Number of `days_words` that a list is sorted by: the only one, or the high end of a range."""
    return float(row["crew_days_high" if width_unseen(row) else "crew_days"])


def days_words(row: Record) -> str:
    """Days of a crew at a site or for a work; a range where nobody saw the width.

    Empty where nothing is built.
    """
    low, high = float(row["crew_days_low"]), float(row["crew_days_high"])
    if width_unseen(row) and math.isfinite(low) and math.isfinite(high):
        return f"{significant(low)} to {significant(high)}"
    return significant(row["crew_days"]) if math.isfinite(row["crew_days"]) else ""


def cost_words(row: Record) -> str:
    """What a site or a work costs: the likely cost, or the range where nobody saw the width.

    ``-`` where nothing is built.
    """
    if width_unseen(row) and math.isfinite(row["cost_low"]):
        return f"{money(row['cost_low'])} to {money(row['cost_high'])}"
    return money(row["cost_likely"])


def money(value: float) -> str:
    """Write a cost in whole units of money, in groups of three."""
    return f"{value:,.0f}" if math.isfinite(value) else "-"
