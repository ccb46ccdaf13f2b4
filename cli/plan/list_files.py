"""The ranked list as CSV and as JSON: works first, the sites of each in the order of building."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.plan.fields import Field, Units, convert_columns, fields_of
from cli.plan.layers import Layer

Columns = Mapping[str, NDArray[Any]]
#: What a row of the CSV is about.
WORK, SITE = "work", "site"


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """What a list holds: SI columns of the layers ``works``, ``sites`` and ``referred``."""

    works: Columns
    sites: Columns
    referred: Columns

    @classmethod
    def of(cls, layers: Mapping[str, Layer]) -> Listed:
        """Take them out of the layers of a plan."""
        return cls(*(layers[name].columns for name in ("works", "sites", "referred")))


def _plain(value: Any, kind: str) -> Any:
    """Return a value as JSON holds it; what is not known is None."""
    if kind == "float":
        return float(value) if math.isfinite(value) else None
    if kind == "int":
        return int(value)
    if kind == "bool":
        return bool(value)
    return None if value is None else str(value)


def layer_records(
    layer: str, columns: Columns, order: str, *, units: Units = "si"
) -> list[dict[str, Any]]:
    """Rows of a layer in the order of one of its fields, one dict each with the fields' names.

    Parameters
    ----------
    layer, columns
        Name of the layer, and its SI columns.
    order
        Field that they are sorted by.
    units
        ``si`` or ``us``.
    """
    converted = convert_columns(layer, columns, units)
    kinds = {field.name_in(units): field.kind for field in fields_of(layer)}
    return [
        {name: _plain(values[i], kinds[name]) for name, values in converted.items()}
        for i in np.argsort(columns[order], kind="stable")
    ]


def list_json(listed: Listed, *, units: Units = "si", **more: Any) -> str:
    """Write the list as JSON: the units, works, sites, what is referred, and what else is given."""
    document = {
        "units": units,
        "works": layer_records("works", listed.works, "rank", units=units),
        "sites": layer_records("sites", listed.sites, "list_place", units=units),
        "referred": layer_records("referred", listed.referred, "risk_rank", units=units),
        **more,
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def list_csv(listed: Listed, *, units: Units = "si") -> str:
    """Write the list as CSV: each work a row, its sites below it; then all other sites.

    The column ``row`` says what a row is about. Fields of the works come first, then those of the
    sites; what a row has not is empty.
    """
    fields: dict[str, Field] = {}
    for layer in ("works", "sites"):
        for field in fields_of(layer):
            fields.setdefault(field.name_in(units), field)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["row", *fields])
    for kind, record in _rows(listed, units):
        cells = [_cell(record.get(n), field.decimals_in(units)) for n, field in fields.items()]
        writer.writerow([kind, *cells])
    return out.getvalue()


def _rows(listed: Listed, units: Units) -> Iterator[tuple[str, Mapping[str, Any]]]:
    sites = layer_records("sites", listed.sites, "list_place", units=units)
    for work in layer_records("works", listed.works, "rank", units=units):
        yield WORK, work
        yield from ((SITE, site) for site in sites if site["work_id"] == work["work_id"])
    known = set(listed.works["work_id"].tolist())
    yield from ((SITE, site) for site in sites if site["work_id"] not in known)


def _cell(value: Any, decimals: int) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.{decimals}f}"
    return str(value)
