"""Sentences in the units a person asked for.

The library writes its sentences in SI units; with ``--units us`` their figures are turned here,
each with as many significant figures as it came with.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from cli.fields import ACRE_M2, CFS_M3S, FOOT_M, MILE_M, Units

_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
#: SI unit in a sentence -> US unit and what one SI unit is in it.
_US: dict[str, tuple[str, float]] = {
    "m": ("ft", 1.0 / FOOT_M),
    "cm": ("in", 1.0 / 2.54),
    "mm": ("in", 1.0 / 25.4),
    "km": ("miles", 1000.0 / MILE_M),
    "ha": ("acres", 10_000.0 / ACRE_M2),
    "m2": ("sq ft", 1.0 / FOOT_M**2),
    "km2": ("sq mi", 1.0e6 / MILE_M**2),
    "m3": ("cu yd", 1.0 / (3 * FOOT_M) ** 3),
    "m3/s": ("cfs", 1.0 / CFS_M3S),
}
_UNIT = "|".join(sorted((re.escape(unit) for unit in _US), key=len, reverse=True))
_BOTH = re.compile(
    rf"(?:{_NUMBER}) (?:{_UNIT}) \(((?:{_NUMBER}) (?:in|ft|feet|acres|sq mi|miles|cfs))\)"
)
_FIGURE = re.compile(
    rf"(?<![\w.,-])(?P<low>(?:{_NUMBER})(?P<join> to | and | or ))?(?P<high>{_NUMBER}) "
    rf"(?P<unit>{_UNIT})(?![\w/])"
)


def _turned(text: str, factor: float) -> str:
    """Multiply a number in a text; it keeps its significant figures, two at least."""
    digits = max(len(text.replace(",", "").replace(".", "").lstrip("0")), 1)
    # A whole number with noughts at its end was rounded to fewer figures.
    if "." not in text:
        digits = len(text.replace(",", "").rstrip("0")) or 1
    value = float(text.replace(",", "")) * factor
    digits = max(digits, 2)
    places = digits - 1 - _exponent(value)
    return f"{round(value, places):,.{max(places, 0)}f}"


def _exponent(value: float) -> int:
    return int(f"{value:e}".rpartition("e")[2]) if value else 0


def in_units(text: str, units: Units) -> str:
    """Write a sentence in the units asked for.

    Parameters
    ----------
    text
        A sentence with SI figures such as ``0.9 m`` or ``1 to 2 ha``.
    units
        ``si`` leaves it as it is.

    Returns
    -------
    str
        Where a figure already stands beside its US one, in brackets, only the latter stays.
    """
    if units == "si":
        return text

    def turn(match: re.Match[str]) -> str:
        name, factor = _US[match["unit"]]
        low = ""
        if match["low"]:
            number = match["low"].removesuffix(match["join"])
            low = _turned(number, factor) + match["join"]
        return f"{low}{_turned(match['high'], factor)} {name}"

    # What stands in both units is taken out first, so that it is not turned again.
    parts = re.split(_BOTH, text)
    return "".join(part if i % 2 else _FIGURE.sub(turn, part) for i, part in enumerate(parts))


def all_in_units(texts: Iterable[str], units: Units) -> tuple[str, ...]:
    """Write sentences in the units asked for."""
    return tuple(in_units(text, units) for text in texts)
