"""How hard water may pull on soil, plants and stone, and how strong soils are: published values.

The rows stand in ``resistance.toml``, each with its source; what a row prints as a range stays one.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from siting.hydraulics.stone import SHIELDS, STONE_KG_M3, isbash_d_m, shear_d50_m
from siting.values.settings_file import number, own_file, words
from terrain.values.errors import ParameterError

RESISTANCE_FILE: Final = "resistance.toml"
#: What a bed is called that nothing grows on.
BARE: Final = "bare"
#: Isbash's coefficient where the water is calm, as on a bed away from falls.
CALM_WATER: Final = 1.20

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Resistance:
    """What something stands before it gives way.

    Parameters
    ----------
    words
        What it is.
    pull_pa, speed_mps
        Pull of the water and its mean velocity, the low and the high end of what is printed.
    source, basis
        Where the row comes from: see `siting.values.rules.Limit`.
    """

    words: str
    pull_pa: Range
    speed_mps: Range
    source: str
    basis: str


@dataclass(frozen=True, slots=True)
class Soil:
    """A class of soil.

    Parameters
    ----------
    symbol, words, textures
        Symbol of ASTM D2487, what it is, and USDA textures that are usually of it.
    bare
        What it stands where nothing grows on it.
    cohesion_pa, friction_deg, unit_weight_n_m3
        Saturated cohesion, angle of friction and moist unit weight.
    """

    symbol: str
    words: str
    textures: tuple[str, ...]
    bare: Resistance
    cohesion_pa: float
    friction_deg: float
    unit_weight_n_m3: float


@functools.cache
def soils() -> Mapping[str, Soil]:
    """Every class of soil by its symbol."""
    return MappingProxyType({k: _soil(k, e) for k, e in own_file(RESISTANCE_FILE)["soil"].items()})


@functools.cache
def covers() -> Mapping[str, Resistance]:
    """What may grow on a bed by its name, from the weakest."""
    entries = own_file(RESISTANCE_FILE)["cover"]
    return MappingProxyType({name: _row(name, entry) for name, entry in entries.items()})


@functools.cache
def unknown_bare() -> Resistance:
    """Bare soil of which nobody told the kind: from the weakest to the strongest."""
    return _row("unknown.bare", own_file(RESISTANCE_FILE)["unknown"]["bare"])


def soil_names() -> tuple[str, ...]:
    """Names that a soil may be given by: symbols, then textures."""
    found = soils().values()
    return (*soils(), *(name for soil in found for name in soil.textures))


def soil_of(name: str) -> Soil:
    """Class of soil by its symbol or a texture, in capitals or not.

    Raises
    ------
    ParameterError
        The name is neither.
    """
    wanted = " ".join(name.split()).casefold()
    for soil in soils().values():
        if wanted in (soil.symbol.casefold(), *soil.textures):
            return soil
    raise ParameterError(f"soil '{name}'", expected="one of " + ", ".join(soil_names()))


def of_stone(d50_m: float, *, density: float = STONE_KG_M3, shields: float = SHIELDS) -> Resistance:
    """What a layer of loose stone on a bed stands.

    Parameters
    ----------
    d50_m
        Median diameter, m.
    density
        Of solid stone, kg/m3.
    shields
        Dimensionless shear at which it starts to move.

    Notes
    -----
    The pull by FHWA HEC-15, third edition, 2005, equation 6.7; the velocity by Isbash in calm water
    (USACE Hydraulic Design Chart 712-1, from memory).
    """
    # the size that a pull asks for grows in step with it, with the square of a velocity
    pull = d50_m / shear_d50_m(1.0, density=density, shields=shields)
    speed = math.sqrt(d50_m / isbash_d_m(1.0, density=density, coefficient=CALM_WATER))
    return Resistance(
        "stone",
        (pull, pull),
        (speed, speed),
        "HEC-15 (2005) equation 6.7; Isbash, USACE HDC 712-1",
        "published",
    )


def _soil(symbol: str, entry: Mapping[str, Any]) -> Soil:
    where = f"{RESISTANCE_FILE}: {symbol}"
    return Soil(
        symbol=symbol,
        words=words(entry, "words", where),
        textures=tuple(entry["texture"]),
        bare=_row(symbol, entry, before="bare "),
        cohesion_pa=1000 * number(entry, "cohesion_kpa", where),
        friction_deg=number(entry, "friction_deg", where),
        unit_weight_n_m3=1000 * number(entry, "unit_weight_kn_m3", where),
    )


def _row(name: str, entry: Mapping[str, Any], *, before: str = "") -> Resistance:
    where = f"{RESISTANCE_FILE}: {name}"
    pull, speed = (tuple(float(v) for v in entry[key]) for key in ("pull_pa", "speed_mps"))
    return Resistance(
        before + words(entry, "words", where),
        (pull[0], pull[1]),
        (speed[0], speed[1]),
        words(entry, "source", where),
        words(entry, "basis", where),
    )
