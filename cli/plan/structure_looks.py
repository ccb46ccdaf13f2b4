"""How the structures of a plan are called and drawn, as their types say in the plan."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from cli import palette
from cli.palette import Ring, SiteSymbol
from cli.plan.layers import Layer

TABLE = "structure_types"
_NOT_IN_KEYS = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class StructureLook:
    """What a type says of itself; see the table ``structure_types``."""

    label: str
    height_word: str = "high"
    symbol: SiteSymbol | None = None


@dataclass(frozen=True, slots=True)
class StructureLooks:
    """Looks by the name of the type; one that the plan does not tell about is called by its name.

    Parameters
    ----------
    by_name
        Look of each type.
    """

    by_name: Mapping[str, StructureLook]

    def of(self, structure: object) -> StructureLook:
        """Look of a type."""
        name = str(structure or "")
        return self.by_name.get(name) or StructureLook(name)

    def symbol(self, control: object, structure: object) -> SiteSymbol:
        """Shape of a site: its type's own, or that of its control.

        What is referred looks so whatever its name.
        """
        own = self.of(structure).symbol
        if own is not None and own.control == control:
            return own
        return palette.site_symbol(str(control))

    @property
    def own_symbols(self) -> Mapping[str, SiteSymbol]:
        """Shapes that types have of their own, by name of the type."""
        return {name: look.symbol for name, look in self.by_name.items() if look.symbol}


#: What is drawn where a plan tells nothing of its types.
PLAIN = StructureLooks(MappingProxyType({}))


def looks_of(layers: Mapping[str, Layer]) -> StructureLooks:
    """Read how structures are called and drawn from the layers and tables of a plan."""
    table = layers.get(TABLE)
    if table is None or not table.rows:
        return PLAIN
    names = list(table.columns)
    found: dict[str, StructureLook] = {}
    for number, values in enumerate(
        zip(*(table.columns[n].tolist() for n in names), strict=True), start=1
    ):
        row = dict(zip(names, values, strict=True))
        name = str(row["structure"] or "")
        found[name] = StructureLook(
            str(row["label"] or name), str(row["height_word"] or "high"), _symbol(row, number)
        )
    return StructureLooks(MappingProxyType(found))


def _symbol(row: Mapping[str, Any], number: int) -> SiteSymbol | None:
    """A type's own shape; None where it has none, or where somebody spoiled it in the plan."""
    rings = _rings(str(row["symbol"] or ""))
    if not rings:
        return None
    control = palette.site_symbol(str(row["control"]))
    key = _NOT_IN_KEYS.sub("-", str(row["structure"]).lower()).strip("-")
    taken = {symbol.key for symbol in palette.SITE_SYMBOLS}
    if not key[:1].isalpha() or key in taken:
        key = f"own-{number}"
    words = str(row["symbol_words"] or row["label"] or row["structure"])
    turns = bool(row["symbol_turns"])
    return SiteSymbol(control.control, words, control.colour, rings, turns, own_key=key)


def _rings(text: str) -> tuple[Ring, ...]:
    try:
        rings = tuple(
            tuple((float(x), float(y)) for x, y in (at.split(",") for at in ring.split()))
            for ring in text.split(";")
        )
    except ValueError:
        return ()
    sound = all(len(ring) >= 3 for ring in rings)
    sound = sound and all(math.isfinite(v) for ring in rings for at in ring for v in at)
    return rings if sound else ()
