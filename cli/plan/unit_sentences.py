"""Sentences in the units a person asked for.

The library writes its sentences in SI units; with ``--units us`` their figures are turned here,
each with as many significant figures as it came with.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from cli.plan.field_types import US_WORDS, Units
from cli.plan.layers import Layer

#: Columns that hold sentences with figures in them.
SENTENCES = {
    "sites": ("reason", "caution", "flood_note", "chosen_why"),
    "headcuts": ("evidence",),
    "floods": ("note", "source"),
    "flood_inputs": ("tc_method",),
    "spacings": ("source", "note"),
    "sizes": ("note",),
    "materials": ("meaning", "note"),
    "reasons": ("subject", "text", "source"),
    "instructions": ("text",),
    "before_you_build": ("text",),
    "changes": ("note",),
    "set_aside": ("reason",),
}
_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_UNIT = "|".join(sorted((re.escape(unit) for unit in US_WORDS), key=len, reverse=True))
_US_UNIT = "|".join(sorted({re.escape(us) for us, _ in US_WORDS.values()} | {"feet"}))
_BOTH = re.compile(rf"(?:{_NUMBER}) (?:{_UNIT}) \(((?:{_NUMBER}) (?:{_US_UNIT}))\)")
_FIGURE = re.compile(
    rf"(?<![\w.,])(?<!\w-)(?P<low>(?:{_NUMBER})(?P<join> to | and | or ))?(?P<high>{_NUMBER}) "
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
        name, factor = US_WORDS[match["unit"]]
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


def worded(layer: Layer, units: Units) -> Layer:
    """Turn the figures in a layer's sentences into the units asked for."""
    names = SENTENCES.get(layer.name, ())
    if units == "si" or not names or not layer.rows:
        return layer
    columns = dict(layer.columns)
    for name in names:
        texts = np.empty(layer.rows, dtype=object)
        texts[:] = [None if t is None else in_units(t, units) for t in columns[name]]
        columns[name] = texts
    return Layer(layer.name, layer.geometry, columns, layer.crs)
