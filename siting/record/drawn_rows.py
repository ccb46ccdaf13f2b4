"""Tables of the plan that drawings are made from: outlines of structures, words of their types."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from siting.record.ground_points import is_made_up
from siting.record.structure_rows import columns_of
from siting.sites import Sites
from siting.structures.structure_type import Ring, StructureType
from siting.structures.type_looks import (
    View,
    height_word_of,
    label_of,
    section_of,
    side_of,
    symbol_of,
)
from siting.values.columns import Columns
from terrain.values.arrays import FloatArray

SIDE, SECTION = "side", "section"


def section_middles(sites: Sites) -> FloatArray:
    """Where the middle of each structure lies in its section, m to the right of its offset 0.

    That is the middle of the channel as measured there, as far as the structure reaches over it; a
    section that is made up has its middle at 0.
    """
    s = sites.section
    shown = sites.are(lambda site: not is_made_up(site.spot.section))
    shown &= np.isfinite(s.left_m) & np.isfinite(s.right_m) & ~sites.on_road
    middle = np.where(shown, 0.5 * (s.left_m + s.right_m), 0.0)
    half = 0.5 * np.nan_to_num(sites.drawn("crest_m"))
    return np.clip(middle, -half, half)


def outline_columns(sites: Sites) -> Columns:
    """Corners of every structure from the side and in its section, one row each."""
    rows: list[tuple[Any, ...]] = []
    middles = section_middles(sites)
    for i, site in enumerate(sites):
        if not site.ends:
            continue
        kind, (spot, size) = site.decision.kind, site.drawn
        rows += _view_rows(i + 1, SIDE, side_of(kind, spot, size), 0.0)
        rows += _view_rows(i + 1, SECTION, section_of(kind, spot, size), float(middles[i]))
    names = (
        "site_id",
        "view",
        "shape",
        "part",
        "is_body",
        "as_box",
        "level",
        "in_ground",
        "offset_m",
        "height_m",
    )
    return columns_of(names, rows)


def _view_rows(site: int, name: str, view: View, shift_m: float) -> list[tuple[Any, ...]]:
    return [
        (
            site,
            name,
            number,
            part.name,
            number == 1,
            view.as_box,
            part.level,
            part.in_ground,
            float(x) + shift_m,
            float(height),
        )
        for number, part in enumerate(view.outlines, start=1)
        for x, height in part.corners
    ]


def type_columns(sites: Sites) -> Columns:
    """What the types of the plan's structures say of themselves, one row a type."""
    kinds: dict[str, StructureType] = {}
    for site in sites:
        kind = site.decision.type
        if kind is not None and kind.name == site.structure:
            kinds.setdefault(kind.name, kind)
    return columns_of_types([kinds[name] for name in sorted(kinds)])


def columns_of_types(kinds: Sequence[StructureType]) -> Columns:
    """Rows of the table ``structure_types`` for some types."""
    rows = []
    for kind in kinds:
        symbol = symbol_of(kind)
        rows.append(
            (
                kind.name,
                kind.control,
                label_of(kind),
                height_word_of(kind),
                str(kind.summary),
                None if symbol is None else symbol.words,
                None if symbol is None else rings_text(symbol.rings),
                symbol is not None and symbol.turns,
            )
        )
    names = (
        "structure",
        "control",
        "label",
        "height_word",
        "summary",
        "symbol_words",
        "symbol",
        "symbol_turns",
    )
    return columns_of(names, rows)


def rings_text(rings: Sequence[Ring]) -> str:
    """Write rings as a text: corners ``x,y`` apart by spaces, rings by semicolons."""
    return "; ".join(" ".join(f"{x:.6g},{y:.6g}" for x, y in ring) for ring in rings)
