"""Reaches of a plan that may be filling again: they are looked at before anything is built."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from cli.file_errors import LayerError
from cli.plan.explanation import Record, records
from cli.plan.fields import Units
from cli.plan.fields_structures import STAGES
from cli.plan.layers import Layer
from cli.plan.plan_numbers import amount

LAYER: Final = "look_first"


def mark_of(look: Record) -> str:
    """What it is called in lists and on maps: L and its number."""
    return f"L{look['look_id']}"


def looks_first(layers: Mapping[str, Layer]) -> list[Record]:
    """Fields of each, the longest first; none in a plan of an older format."""
    found = records(layers[LAYER]) if LAYER in layers else []
    return sorted(found, key=lambda look: int(look["look_id"]))


def look_of(layers: Mapping[str, Layer], number: int, *, plan: str) -> Record:
    """Fields of one.

    Raises
    ------
    LayerError
        The plan has no such reach.
    """
    rows = looks_first(layers)
    for row in rows:
        if row["look_id"] == number:
            return row
    raise LayerError(
        f"{plan} has no reach {number} to look at first",
        expected=f"look:1 to look:{len(rows)}" if rows else "a plan with reaches that may fill",
    )


def where_words(look: Record, units: Units) -> str:
    """How long it is and where it lies on its channel."""
    long, begins = (
        amount(LAYER, name, float(look[name]), units) for name in ("length_m", "station_m")
    )
    return f"{long} of channel {look['channel_id']}, from {begins} above its lower end"


def stage_words(look: Record) -> str:
    """Stage of the reach and how sure that is."""
    meaning = dict(STAGES).get(str(look["stage"]), "")
    named = f", {meaning[:1].lower()}{meaning[1:]}" if meaning else ""
    return f"stage {look['stage']} of 5{named}; confidence {look['stage_confidence']:.2f} of 1"
