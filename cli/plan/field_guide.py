"""The field guide, made from the field table: as a table in the plan and as a page of the docs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.plan.fields import LAYERS, Field, Units, fields_of
from cli.plan.plan_format import FORMATS, READ_FROM, ROW, newest

KIND_WORDS = {"float": "number", "int": "whole number", "bool": "true or false", "text": "text"}
_HEAD = """# Layers and fields of a plan

Made from the table in `cli/plan/fields.py` by `python -m cli.plan.field_guide`; edit the table,
not this page. With `--units us` the fields carry the names and units in brackets. A whole number
is never empty: 0 stands for "none". An empty number means "not known", never zero.

Beside these a plan holds the raster layer `relief`: the shaded ground as a picture of at most
2,000 pixels, to draw the plan on where its elevation raster is not at hand. It holds no elevations.
"""


def _values(field: Field) -> str:
    return "; ".join(f"{code}: {meaning}" for code, meaning in field.codes)


def guide_columns(units: Units) -> dict[str, NDArray[Any]]:
    """Rows of the ``field_guide`` table in the units of the plan."""
    rows = [
        (
            layer,
            field.name_in(units),
            KIND_WORDS[field.kind],
            field.unit_in(units),
            field.meaning,
            _values(field),
        )
        for layer in LAYERS
        for field in fields_of(layer)
    ]
    names = [field.name for field in fields_of("field_guide")]
    return {name: np.array([row[i] for row in rows], dtype=object) for i, name in enumerate(names)}


def formats_markdown() -> str:
    """What each format of a plan changed, and which formats each command reads."""
    lines = ["\n## Formats of a plan\n"]
    lines.append(
        f"The row `{ROW}` of `run_info` says the format of a plan; one without it is of format 1. "
        "An older plan is read and never changed: what was added since reads as empty.\n"
    )
    lines += [f"{i}. {' '.join(step.changed)}" for i, step in enumerate(FORMATS, start=1)]
    lines.append("\n| command | reads formats |\n|---|---|")
    for command, low in READ_FROM.items():
        reads = f"{low} to {newest()}" if low < newest() else f"{low}"
        lines.append(f"| `gullywalk {command}` | {reads} |")
    return "\n".join(lines) + "\n"


def guide_markdown() -> str:
    """Write the field guide as a Markdown page."""
    parts = [_HEAD, formats_markdown().removesuffix("\n")]
    for spec in LAYERS.values():
        shape = {"Point": "points", "LineString": "lines", "MultiPolygon": "polygons"}.get(
            spec.geometry or "", "table"
        )
        parts.append(f"\n## `{spec.name}` ({shape})\n\n{spec.meaning}.\n")
        parts.append("| field | kind | unit | meaning |\n|---|---|---|---|")
        for field in fields_of(spec.name):
            name, unit = f"`{field.name}`", field.unit_in("si")
            if field.name_us != field.name:
                name += f" (`{field.name_us}`)"
                unit += f" ({field.unit_in('us')})"
            meaning = field.meaning
            if field.codes:
                meaning += ". " + "; ".join(f"`{code}`: {words}" for code, words in field.codes)
            parts.append(f"| {name} | {KIND_WORDS[field.kind]} | {unit} | {meaning} |")
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    print(guide_markdown(), end="")
