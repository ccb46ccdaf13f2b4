"""Quantities in the reader's unit: a figure is rounded once, from the exact value in that unit.

Inside, everything is SI. Whoever asks for sentences says in which units they are told, around the
work that tells them (`told_in`); the helpers of sentences and every number that is
shown beside them then write them by `quantity`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final, Literal

Units = Literal["si", "us"]

FOOT_M: Final = 0.3048  # the international foot, exact by definition
ACRE_M2: Final = 4046.8564224  # 43 560 international square feet
CFS_M3S: Final = 0.028316846592  # one cubic international foot a second
MILE_M: Final = 1609.344
POUND_KG: Final = 0.45359237  # the international pound, exact by definition
SHORT_TON_T: Final = 2000 * POUND_KG / 1000.0
POUND_FORCE_N: Final = POUND_KG * 9.80665
YARD_M: Final = 3 * FOOT_M

#: Unit as it stands in a sentence or in a row -> US unit, and what one SI unit is in it.
US_WORDS: Mapping[str, tuple[str, float]] = {
    "m": ("ft", 1.0 / FOOT_M),
    "cm": ("in", 1.0 / 2.54),
    "mm": ("in", 1.0 / 25.4),
    "km": ("miles", 1000.0 / MILE_M),
    "ha": ("acres", 10_000.0 / ACRE_M2),
    "m2": ("sq ft", 1.0 / FOOT_M**2),
    "km2": ("sq mi", 1.0e6 / MILE_M**2),
    "m3": ("cu yd", 1.0 / YARD_M**3),
    "m3/s": ("cfs", 1.0 / CFS_M3S),
    "m2/s": ("sq ft/s", 1.0 / FOOT_M**2),
    "m/s": ("ft/s", 1.0 / FOOT_M),
    "kg": ("lb", 1.0 / POUND_KG),
    "kg/m3": ("lb/cu ft", FOOT_M**3 / POUND_KG),
    "kg/m2": ("lb per sq ft", FOOT_M**2 / POUND_KG),
    "t": ("short tons", 1.0 / SHORT_TON_T),
    "N": ("lbf", 1.0 / POUND_FORCE_N),
    "Pa": ("lb/sq ft", FOOT_M**2 / POUND_FORCE_N),
}
#: Lengths from here on are written in kilometres or miles.
FAR_M: Mapping[Units, float] = {"si": 2000.0, "us": MILE_M}
#: Lengths from here on, m or ft, keep three figures: a station of 123 m is paced off.
LONG: Final = 100.0
#: Lengths below two feet are inches, as a crew sets stone, crests and keys with a folding rule.
INCHES_BELOW_M: Final = 2 * FOOT_M
_HALF_INCHES_BELOW: Final = 10.0
#: Numbers from here on are told in threes.
_IN_THREES: Final = 10_000.0

_TOLD_IN: ContextVar[Units] = ContextVar("told_in", default="si")


@contextmanager
def told_in(units: Units) -> Iterator[None]:
    """Write quantities in these units within the block: sentences are made there, or shown."""
    token = _TOLD_IN.set(units)
    try:
        yield
    finally:
        _TOLD_IN.reset(token)


def telling_in() -> Units:
    """Units that quantities are written in here."""
    return _TOLD_IN.get()


def figures(value: float, digits: int = 2) -> str:
    """Write a number with so many significant figures, without an exponent.

    From five figures before the point on they stand in threes: 12,900.
    """
    if not math.isfinite(value):
        return "unknown"
    # What is left of a conversion there and back must not turn a half.
    value = float(f"{value:.12g}")
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    # rounding up may have added a digit in front: 0.996 is 1.0, not 1.00
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    text = f"{rounded:.{max(places, 0)}f}"
    return f"{rounded:,.{max(places, 0)}f}" if abs(rounded) >= _IN_THREES else text


def inches(value: float) -> str:
    """Write a number of inches as a folding rule is read: halves, from ten on whole ones."""
    value = float(f"{value:.12g}")
    if abs(value) < 1:
        return figures(value, 1)
    step = 0.5 if abs(value) < _HALF_INCHES_BELOW else 1.0
    return f"{round(value / step) * step:g}"


def quantity(
    value: float,
    unit: str,
    *,
    units: Units | None = None,
    digits: int | None = None,
) -> str:
    """Write an SI quantity in the reader's unit, rounded once.

    Parameters
    ----------
    value
        The exact SI value; one that is not finite reads ``unknown``.
    unit
        SI unit as in `US_WORDS`; any other is written as it stands.
    units
        ``si`` or ``us``; by default those of the block (`told_in`).
    digits
        Significant figures, in the unit itself; by default two, three for lengths from 100 m or
        100 ft on that are not told in kilometres or miles; those below two feet are inches.

    Returns
    -------
    str
        A figure and its unit.
    """
    units = telling_in() if units is None else units
    if digits is None and unit == "m" and abs(value) >= FAR_M[units]:
        value, unit = value / 1000.0, "km"
    if units == "us" and digits is None and unit == "m" and 0 < abs(value) < INCHES_BELOW_M:
        return f"{inches(value / FOOT_M * 12.0)} in"
    name, factor = US_WORDS.get(unit, (unit, 1.0)) if units == "us" else (unit, 1.0)
    turned = value * factor
    if digits is None:
        digits = 3 if unit == "m" and abs(turned) >= LONG else 2
    text = inches(turned) if unit == "cm" and units == "us" else figures(turned, digits)
    return f"{text} {name}".rstrip()


def exactly(value: float, unit: str, *, units: Units | None = None) -> str:
    """Write a quantity that was given or measured: three figures, without noughts at the end."""
    figure, _, name = quantity(value, unit, units=units, digits=3).partition(" ")
    if "." in figure:
        figure = figure.rstrip("0").rstrip(".")
    return f"{figure} {name}"


def between(
    low: float,
    high: float,
    unit: str,
    *,
    join: str = " to ",
    units: Units | None = None,
    digits: int | None = None,
) -> str:
    """Write a range of an SI quantity; its unit once where both ends have the same."""
    start, end = (quantity(v, unit, units=units, digits=digits) for v in (low, high))
    figure, _, name = start.partition(" ")
    return f"{figure if end.partition(' ')[2] == name else start}{join}{end}"
