"""What a field and a layer are, and the units a plan is written in.

Inside, everything is SI; US names and numbers are made on writing.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from terrain.values.reader_units import (
    ACRE_M2,
    CFS_M3S,
    FOOT_M,
    MILE_M,
    POUND_FORCE_N,
    POUND_KG,
    SHORT_TON_T,
    US_WORDS,
    YARD_M,
    Units,
)

__all__ = [
    "ACRE_M2",
    "CFS_M3S",
    "FOOT_M",
    "MILE_M",
    "OTHER_US_UNITS",
    "POUND_FORCE_N",
    "POUND_KG",
    "SHORT_TON_T",
    "UNIT_WORDS",
    "US_UNITS",
    "US_WORDS",
    "YARD_M",
    "Field",
    "Geometry",
    "Kind",
    "LayerSpec",
    "Units",
]

Kind = Literal["float", "int", "bool", "text"]
Geometry = Literal["Point", "LineString", "MultiPolygon"]

#: SI suffix -> US suffix, what one SI unit is in US units, extra decimals the US number needs.
US_UNITS: Mapping[str, tuple[str, float, int]] = {
    "_m": ("_ft", 1.0 / FOOT_M, 0),
    "_ha": ("_ac", 10_000.0 / ACRE_M2, -1),
    "_m3s": ("_cfs", 1.0 / CFS_M3S, -2),
    "_mm": ("_in", 1.0 / 25.4, 1),
    "_km2": ("_mi2", 1.0e6 / MILE_M**2, 0),
    "_m2": ("_ft2", 1.0 / FOOT_M**2, -1),
    "_m3": ("_acft", 1.0 / (ACRE_M2 * FOOT_M), 2),
    "_kg": ("_lb", 1.0 / POUND_KG, 0),
    "_t": ("_tons", 1.0 / SHORT_TON_T, 0),
    "_pa": ("_psf", FOOT_M**2 / POUND_FORCE_N, 2),
    "_mps": ("_fps", 1.0 / FOOT_M, 0),
    "_m_per_yr": ("_ft_per_yr", 1.0 / FOOT_M, 0),
}
#: US suffixes that a field may ask for instead of the usual one: factor and extra decimals.
OTHER_US_UNITS: Mapping[str, tuple[float, int]] = {"_yd3": (1.0 / YARD_M**3, 0)}
UNIT_WORDS: Mapping[str, str] = {
    "_m": "m",
    "_ft": "ft",
    "_ha": "ha",
    "_ac": "acres",
    "_m3s": "m3/s",
    "_cfs": "cfs",
    "_mm": "mm",
    "_in": "in",
    "_km2": "km2",
    "_mi2": "sq mi",
    "_m2": "m2",
    "_ft2": "sq ft",
    "_m3": "m3",
    "_acft": "acre-feet",
    "_yd3": "cu yd",
    "_kg": "kg",
    "_lb": "lb",
    "_t": "t",
    "_tons": "short tons",
    "_pa": "Pa",
    "_psf": "lb/sq ft",
    "_mps": "m/s",
    "_fps": "ft/s",
    "_m_per_yr": "m a year",
    "_ft_per_yr": "ft a year",
    "_h": "hours",
    "_yr": "years",
    "_deg": "degrees",
    "_days": "days",
}


_US_ENDINGS, _WORD_ENDINGS = tuple(US_UNITS), tuple(UNIT_WORDS)


@functools.cache
def _ending(name: str, endings: tuple[str, ...]) -> str:
    """Longest of some endings that a name has, or nothing."""
    return max((e for e in endings if name.endswith(e)), key=len, default="")


@dataclass(frozen=True, slots=True)
class Field:
    """One output field.

    Parameters
    ----------
    layer, name
        Layer and SI name; the name ends in its unit.
    kind
        ``float`` (may be empty), ``int`` (never empty: 0 stands for "none"), ``bool`` or ``text``.
    decimals
        Decimals kept when it is written, SI.
    meaning
        Plain words, shown as the field's description.
    required
        Whether a layer must bring it; the others are filled with nothing.
    codes
        Allowed values and their meaning, offered as a list by a GIS; an empty text or 0 may always
        stand for "not known".
    us_suffix
        Ending in US units where it is not the usual one: volumes of earth and small pools are cubic
        yards, runoff stays acre-feet.
    unit_from
        Text field of the same row that names the number's unit, for tables whose rows differ.
    """

    layer: str
    name: str
    kind: Kind
    decimals: int
    meaning: str
    required: bool = False
    codes: tuple[tuple[str, str], ...] = ()
    us_suffix: str = ""
    unit_from: str = ""

    @property
    def suffix(self) -> str:
        """Ending that carries a unit with a US counterpart, or nothing."""
        return _ending(self.name, _US_ENDINGS) if self.kind == "float" else ""

    @property
    def _us(self) -> tuple[str, float, int]:
        """US suffix, factor and extra decimals."""
        if self.us_suffix:
            return (self.us_suffix, *OTHER_US_UNITS[self.us_suffix])
        return US_UNITS[self.suffix] if self.suffix else ("", 1.0, 0)

    @property
    def name_us(self) -> str:
        """Name in US units."""
        return self.name.removesuffix(self.suffix) + self._us[0]

    @property
    def factor(self) -> float:
        """What to multiply the SI number with to get the US number."""
        return self._us[1]

    @property
    def decimals_us(self) -> int:
        """Decimals kept in US units."""
        return max(self.decimals + self._us[2], 0)

    def name_in(self, units: Units) -> str:
        """Name in the units asked for."""
        return self.name_us if units == "us" else self.name

    def decimals_in(self, units: Units) -> int:
        """Decimals in the units asked for."""
        return self.decimals_us if units == "us" else self.decimals

    def unit_in(self, units: Units) -> str:
        """Give the unit in words, or nothing for a bare number or a text."""
        ending = _ending(self.name_in(units), _WORD_ENDINGS)
        return UNIT_WORDS[ending] if self.kind == "float" and ending else ""


@dataclass(frozen=True, slots=True)
class LayerSpec:
    """A layer or table of the plan: its geometry, the field that holds its id, and its meaning."""

    name: str
    geometry: Geometry | None
    id_field: str | None
    meaning: str
