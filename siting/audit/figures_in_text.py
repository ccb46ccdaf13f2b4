"""Figures with units read out of sentences, each with what its own rounding leaves open."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_M = 1.0
_FT = 0.3048
#: SI value of one of each unit that sentences use.
UNITS: dict[str, float] = {
    "km": 1000.0, "cm": 0.01, "mm": 0.001, "m": _M, "ft": _FT, "feet": _FT, "foot": _FT,
    "in": 0.0254, "inches": 0.0254, "inch": 0.0254, "mi": 1609.344, "miles": 1609.344,
    "ha": 1.0, "acres": 0.40468564224, "acre": 0.40468564224, "ac": 0.40468564224,
    "m2": 1.0, "sq ft": _FT**2, "m3": 1.0, "cu yd": 0.764554857984, "cu ft": _FT**3,
    "m3/s": 1.0, "cfs": _FT**3, "m/s": 1.0, "ft/s": _FT, "Pa": 1.0, "lb/sq ft": 47.88025898,
    "kg": 1.0, "lb": 0.45359237, "t": 1.0, "tons": 0.90718474, "%": 0.01,
    "m a year": 1.0, "ft a year": _FT,
}  # fmt: skip
_UNIT = "|".join(re.escape(u) for u in sorted(UNITS, key=len, reverse=True))
#: Inches below this are told to the half.
HALF_INCHES_BELOW = 10.0
#: A figure and its unit, for use once in a pattern: two groups.
FIGURE = rf"(?<![\d.,])(\d[\d,]*(?:\.\d+)?) ({_UNIT})(?![\w/]| to \d)"
#: A figure without a unit, likewise: one group.
BARE = r"(?<![\d.,])(\d[\d,]*(?:\.\d+)?)"


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a sentence, SI.

    Parameters
    ----------
    value
        As printed.
    open_by
        Half a step of its last digit: what its rounding leaves open.
    text
        As it stands there.
    """

    value: float
    open_by: float
    text: str

    def says(self, value: float, rounding: float = 0.0) -> bool:
        """Whether a number that is itself rounded by so much may be printed as this figure."""
        return abs(self.value - value) <= self.open_by * 1.001 + rounding + 1e-9


def figure(number: str, unit: str = "") -> Figure:
    """Read a figure; a whole number that ends in zeros has two significant ones at least."""
    plain = number.replace(",", "")
    step = 10.0 ** -len(plain.partition(".")[2])
    if "." not in plain:
        zeros = len(plain) - len(plain.rstrip("0"))
        step = 10.0 ** min(zeros, max(len(plain) - 2, 0))
    if unit == "in" and float(plain) < HALF_INCHES_BELOW:
        step = max(step, 0.5)
    one = UNITS[unit] if unit else 1.0
    return Figure(float(plain) * one, 0.5 * step * one, f"{number} {unit}".rstrip())


def found(pattern: re.Pattern[str], text: str) -> Iterator[Figure]:
    """Figures where a pattern with one `FIGURE` or one `BARE` fits."""
    for match in pattern.finditer(text):
        yield figure(*match.groups())
