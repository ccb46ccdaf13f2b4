"""Reading what the regional equations are given as text: shares of regions, basin measures."""

from __future__ import annotations

import re

from siting.floods.flood_errors import FloodInputError, RegionalEquationError
from siting.floods.regional import BASIN_MEASURES
from siting.floods.regional_equations import EquationBook, built_in_equations

#: Shares may miss one by this much (the regional method's own slack).
_SLACK = 0.01
#: What a measure in another unit is in its own.
_UNITS = {
    "mean_elevation_m": {"m": 1.0, "ft": 0.3048},
    "mean_annual_precipitation_mm": {"mm": 1.0, "cm": 10.0, "in": 25.4},
}
_VALUE = re.compile(r"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+))\s*([a-z]*)\s*", re.IGNORECASE)


def parse_regions(text: str, book: EquationBook | None = None) -> dict[str, float]:
    """Read ``WY-2``, or regions with their shares of the area: ``NM-7=0.6,NM-8=0.4``.

    Parameters
    ----------
    text
        Regions; one alone has the whole area.
    book
        Equations that hold the regions; those of the package by default.

    Raises
    ------
    RegionalEquationError
        A region that the equations do not hold.
    FloodInputError
        Shares that are no numbers or do not add up to 1, or a region twice.
    """
    book = book or built_in_equations()
    example = "one region, or shares that add up to 1 such as NM-7=0.6,NM-8=0.4"
    parts = [part.strip() for part in text.split(",") if part.strip()]
    shares: dict[str, float] = {}
    for part in parts:
        name, equals, number = (p.strip() for p in part.partition("="))
        region = book.region(name).id
        try:
            share = float(number) if equals else 1.0
        except ValueError as error:
            raise FloodInputError(f"region given as '{part}'", expected=example) from error
        if region in shares:
            raise FloodInputError(f"region {region} given twice", expected="it once")
        shares[region] = share
    whole = sum(shares.values())
    if not shares or min(shares.values()) <= 0 or abs(whole - 1.0) > _SLACK:
        raise FloodInputError(
            f"regions given as '{text}', whose shares add up to {whole:g}", expected=example
        )
    return shares


def parse_basin(text: str) -> dict[str, float]:
    """Read measures of the drainage areas: ``mean_annual_precipitation_mm=400,soils_index=2.9``.

    A value may carry a unit (``in``, ``ft``) that is turned into the measure's own.

    Raises
    ------
    RegionalEquationError
        A measure that no equation uses, such as a misspelt one.
    FloodInputError
        A value that is no number, or in a unit that is not known.
    """
    found: dict[str, float] = {}
    for part in (p.strip() for p in text.split(",") if p.strip()):
        name, _, value = (p.strip() for p in part.partition("="))
        if name not in BASIN_MEASURES:
            raise RegionalEquationError(
                f"basin measure '{name}'", expected=f"one of {', '.join(BASIN_MEASURES)}"
            )
        match = _VALUE.fullmatch(value)
        unit = match.group(2).lower() if match else ""
        factor = 1.0 if not unit else _UNITS.get(name, {}).get(unit)
        if match is None or factor is None:
            raise FloodInputError(
                f"basin measure given as '{part}'",
                expected="a number, such as mean_annual_precipitation_mm=400 or =16in",
            )
        found[name] = float(match.group(1)) * factor
    if not found:
        raise FloodInputError("no basin measure", expected="one such as soils_index=2.9")
    return found
