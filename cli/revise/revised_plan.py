"""The layers and tables of a revised plan."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from numpy.typing import NDArray

from cli.plan.fields import LAYERS
from cli.plan.fields_ground import SOILS
from cli.plan.layers import Layer, empty_layer, table
from cli.plan.plan_format import ROW, format_row
from cli.plan.plan_layers import DRAWING_ORDER, layer_of
from cli.plan.plan_reading import PlanFile
from cli.plan.unit_sentences import worded
from siting.record.screening_notes import held_low_caution, unseen_caution
from siting.record.work_tables import referred_table, work_table
from siting.revising.bias import Bias, bias_columns
from siting.revising.changes import Change, change_columns
from siting.revising.revise import Revised, Worked
from siting.revising.revised_tables import (
    aside_columns,
    note_table,
    planned_columns,
    revised_sites,
    row_columns,
    section_columns,
)

#: Layers that are made anew; the others stay as they are.
NEW_LAYERS = ("sites", "works", "referred", "structures", "structure_lines", "pools", "field_notes")
_ONCE = "field_guide", "run_info"
#: In the names of notes and cautions that a revision says anew.
ANEW = "revised"


def revised_layers(plan: PlanFile, revised: Revised) -> list[Layer]:
    """Layers with geometries in the order in which a GIS lists them."""
    crs, built = plan.crs, revised.now.built
    new = {
        "sites": revised_sites(revised, crs),
        "works": work_table(revised.now.sites, built.takes, crs),
        "referred": referred_table(revised.now.sites, built.effects, revised.now.works, crs),
        "structures": built.structures,
        "structure_lines": built.structure_lines,
        "pools": built.pools,
        "field_notes": note_table(revised, [code for code, _ in SOILS]),
    }
    return [
        worded(layer_of(name, new[name], crs), plan.units)
        if name in NEW_LAYERS
        else _kept(plan, name)
        for name in DRAWING_ORDER
    ]


def _kept(plan: PlanFile, name: str) -> Layer:
    return plan.layers[name] if name in plan.layers else empty_layer(name, plan.crs)


def revised_tables(
    plan: PlanFile, revised: Revised, changes: Sequence[Change], biases: Sequence[Bias]
) -> list[Layer]:
    """Tables without geometries."""
    new: dict[str, Mapping[str, NDArray[Any]]] = {
        **revised.now.built.tables,
        "section_points": section_columns(plan.layers["section_points"].columns, revised),
        "planned": planned_columns(revised.planned, plan.crs),
        "changes": change_columns(tuple(changes)),
        "bias": bias_columns(biases),
        "set_aside": aside_columns(revised.set_aside),
        "field_rows": row_columns(revised.tables, revised.set_aside),
    }
    names = [n for n, spec in LAYERS.items() if spec.geometry is None and n not in _ONCE]
    return [_table(plan, name, new.get(name)) for name in names]


def _table(plan: PlanFile, name: str, columns: Mapping[str, NDArray[Any]] | None) -> Layer:
    if columns is None:
        return _kept(plan, name)
    if not len(next(iter(columns.values()))):
        return empty_layer(name)
    return worded(Layer(name, None, columns), plan.units)


def _told_of_sites(revised: Revised, worked: Worked) -> list[tuple[str, str]]:
    """Cautions and notes of the record that rest on the sites as they are, by name."""
    smallest = revised.settings.rules.low("grade_control.height")
    cautions = unseen_caution(worked.sites), held_low_caution(worked.sites, smallest)
    told = (("caution", [c for c in cautions if c]), ("note", worked.built.takes.notes()))
    return [
        (f"{name} {ANEW} {i}", text)
        for name, texts in told
        for i, text in enumerate(texts, start=1)
    ]


def revised_info(
    plan: PlanFile, revised: Revised, *, summary: str, work: Sequence[str], field_file: str
) -> Layer:
    """Record of the run: that of the plan, and what each revision brought."""
    last = revised.tables[-1]
    with open(field_file, "rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    # what the sites make the record say is said anew
    facts = revised.now.works.facts()
    stale = {text for _, text in _told_of_sites(revised, revised.planned)}
    kept = [
        (name, facts.get(name, value))
        for name, value in plan.run_info.items()
        if name not in ("summary", ROW)
        and not name.startswith(("work ", "hold "))
        and f" {ANEW} " not in name
        and value not in stale
    ]
    planned = plan.run_info.get("summary as planned", plan.run_info.get("summary", ""))
    kept = [(n, v) for n, v in kept if n != "summary as planned"]
    number = len(revised.tables)
    return table(
        "run_info",
        [
            ("summary", summary),
            ("summary as planned", planned),
            *(
                (f"hold {i}", f"Site {n}. {why}")
                for i, (n, why) in enumerate(revised.held, start=1)
            ),
            *kept,
            format_row(),
            *_told_of_sites(revised, revised.now),
            *((f"work {i}", text) for i, text in enumerate(work, start=1)),
            (f"revision {number}", f"{last.source}, {len(last.rows)} rows, sha256 {digest}"),
        ],
    )
