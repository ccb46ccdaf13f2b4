"""Sentences in the units a person asked for.

What a sentence tells of a quantity is written in the reader's unit when the sentence is made
(`terrain.values.reader_units`). What is left to turn are figures that a text was written with, such
as a limit's meaning, and the sentences of plans of earlier versions; each keeps as many
significant figures as it came with.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from cli.plan.field_types import US_WORDS, Units
from cli.plan.layers import Layer
from terrain.values.reader_units import between, quantity

#: Columns that hold sentences with figures in them.
SENTENCES = {
    "sites": ("reason", "caution", "flood_note", "chosen_why"),
    "headcuts": ("evidence", "why_no_site"),
    "look_first": ("evidence",),
    "floods": ("note", "source"),
    "flood_inputs": ("tc_method",),
    "spacings": ("source", "note"),
    "sizes": ("note",),
    "materials": ("meaning", "note"),
    "reasons": ("subject", "text", "source"),
    "works": ("chosen_why", "without"),
    "referred": ("why",),
    "work_reasons": ("text", "source"),
    "instructions": ("text",),
    "before_you_build": ("text",),
    "changes": ("note",),
    "set_aside": ("reason",),
}
#: Units of short lengths, m: what one is in metres.
_LENGTHS = {"m": 1.0, "cm": 0.01}
_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_UNIT = "|".join(sorted((re.escape(unit) for unit in US_WORDS), key=len, reverse=True))
_US_UNIT = "|".join(sorted({re.escape(us) for us, _ in US_WORDS.values()} | {"feet"}))
_BOTH = re.compile(rf"(?:{_NUMBER}) (?:{_UNIT}) \(((?:{_NUMBER}) (?:{_US_UNIT}))\)")
_FIGURE = re.compile(
    rf"(?<![\w.,])(?<!\w-)(?:(?P<low>{_NUMBER})(?P<join> to | and | or ))?(?P<high>{_NUMBER}) "
    rf"(?P<unit>{_UNIT})(?![\w/])"
)


def _digits(text: str) -> int:
    """Count the significant figures that a number was written with."""
    digits = text.replace(",", "")
    # A whole number with noughts at its end was rounded to fewer figures.
    digits = digits.replace(".", "").lstrip("0") if "." in digits else digits.rstrip("0")
    return len(digits)


def _turned(match: re.Match[str]) -> str:
    unit = match["unit"]
    high = float(match["high"].replace(",", ""))
    most = max(_digits(match["high"]), _digits(match["low"] or ""))
    digits = most if most > 2 else None
    if not match["low"]:
        return quantity(high, unit, units="us", digits=digits)
    low = float(match["low"].replace(",", ""))
    return between(low, high, unit, join=match["join"], units="us", digits=digits)


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
    # What stands in both units is taken out first, so that it is not turned again.
    parts = re.split(_BOTH, text)
    return "".join(part if i % 2 else _FIGURE.sub(_turned, part) for i, part in enumerate(parts))


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
