"""The reasoning about one site as JSON, with the field names of the plan in its own units."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from cli.plan.explanation import TABLES, Explanation, Record
from cli.plan.fields import Units, convert_columns, fields_of


def explanation_json(found: Explanation) -> str:
    """Write the whole reasoning about a site as JSON."""
    units = found.units
    document: dict[str, Any] = {
        "plan": found.plan,
        "units": units,
        "site": records_in("sites", [found.site], units)[0],
        "pair": records_in("sites", found.mates, units),
        "structure_type": {
            "label": found.look.label,
            "height_word": found.look.height_word,
            "symbol": None if found.look.symbol is None else found.look.symbol.label,
        },
        **{name: records_in(name, found.rows[name], units) for name in TABLES},
        "before_you_build": records_in("before_you_build", found.before, units),
        "sources": [{"source": source, "basis": basis or None} for source, basis in found.sources],
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def records_in(layer: str, rows: Sequence[Record], units: Units) -> list[dict[str, Any]]:
    """Rows as dicts, turned and rounded as the plan holds them; what is not known is None."""
    if not rows:
        return []
    columns = {}
    for field in fields_of(layer):
        values = [row[field.name] for row in rows]
        if field.kind == "text":
            columns[field.name] = np.array([None, *values], dtype=object)[1:]
        else:
            columns[field.name] = np.array(values)
    turned = convert_columns(layer, columns, units)
    lists = {name: values.tolist() for name, values in turned.items()}
    return [
        {name: _plain(value) for name, value in zip(lists, row, strict=True)}
        for row in zip(*lists.values(), strict=True)
    ]


def _plain(value: object) -> object:
    return None if isinstance(value, float) and math.isnan(value) else value
