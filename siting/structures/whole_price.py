"""Structures whose price stands for the whole of them, where their type says so."""

from __future__ import annotations

from collections.abc import Collection

from siting.structures.structure_type import StructureType
from siting.values.settings_file import own_file

COSTS_FILE = "costs.toml"


def priced_whole_of(kind: StructureType) -> str:
    """Entry of the prices that stands for a structure as a whole; empty for none."""
    return str(getattr(kind, "priced_whole", "") or "")


def whole_price_fault(kind: StructureType, wholes: Collection[str] | None = None) -> str:
    """What is wrong with the entry that a type is priced by; empty where nothing is.

    ``wholes`` are the entries of the prices in use; those of the package by default.
    """
    entry = priced_whole_of(kind)
    known = own_file(COSTS_FILE)["whole"] if wholes is None else wholes
    if not entry or entry in known:
        return ""
    return f"it is priced as a whole by {entry!r}; {COSTS_FILE} has {', '.join(known)}."
