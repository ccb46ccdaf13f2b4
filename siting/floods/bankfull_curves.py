"""Bankfull width, depth and section area from published regional curves.

Bankfull is the flow that just fills the channel that the present stream keeps open; in a gully it
lies far below the bank top. A regional curve relates it to drainage area. Most gullies drain less
ground than any stream that the curves were fitted to, which is flagged.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Final

import numpy as np

from siting.floods.data_files import data_file
from siting.floods.flood_errors import BankfullError
from siting.values.us_units import HA_PER_KM2
from terrain.values.arrays import ArrayLike, BoolArray, FloatArray, floats, frozen, frozen_mask

SOURCE: Final = (
    "Bieger and others, 2015, J. American Water Resources Association 51(3), 842-858, table 3"
)


@dataclass(frozen=True, slots=True)
class BankfullCurve:
    """Curves y = a x^b of one division, x the drainage area in km2.

    Parameters
    ----------
    name, title
        Short stable name, and what people read.
    width, depth, area
        Pairs (a, b) for width and depth in metres and section area in square metres.
    lowest_km2, highest_km2
        Range of drainage areas the curve is held to be good for.
    few_sites
        True where fewer than ten sites stand behind the curve.
    """

    name: str
    title: str
    width: tuple[float, float]
    depth: tuple[float, float]
    area: tuple[float, float]
    lowest_km2: float
    highest_km2: float
    few_sites: bool


@dataclass(frozen=True, slots=True)
class BankfullGeometry:
    """Bankfull size at sites by a regional curve; arrays over sites, ``(n,)``.

    Parameters
    ----------
    width_m, depth_m, area_m2
        Width, mean depth and section area. The three curves are fitted apart, so that width times
        depth is not exactly the area.
    below_range, above_range
        True where the drainage area lies outside what the curve was fitted to.
    few_sites
        True when fewer than ten sites stand behind the curve.
    division
        Name of the division.
    source
        Where the curve is published.
    """

    width_m: FloatArray
    depth_m: FloatArray
    area_m2: FloatArray
    below_range: BoolArray
    above_range: BoolArray
    few_sites: bool
    division: str
    source: str


def bankfull_geometry(drainage_area_ha: ArrayLike, *, division: str = "usa") -> BankfullGeometry:
    """Bankfull width, depth and area for drainage areas in hectares.

    Source: Bieger and others 2015, table 3. The arrays have the shape of the areas.

    Raises
    ------
    BankfullError
        For an unknown division, or a drainage area of zero or less.
    """
    curve = bankfull_curve(division)
    area_km2 = floats(drainage_area_ha) / HA_PER_KM2
    if not (area_km2 > 0).all():
        raise BankfullError(
            f"a drainage area of {floats(drainage_area_ha)[~(area_km2 > 0)].flat[0]:g} ha",
            expected="an area above zero",
        )

    def size(pair: tuple[float, float]) -> FloatArray:
        return frozen(pair[0] * area_km2 ** pair[1])

    return BankfullGeometry(
        width_m=size(curve.width),
        depth_m=size(curve.depth),
        area_m2=size(curve.area),
        below_range=frozen_mask(area_km2 < curve.lowest_km2),
        above_range=frozen_mask(area_km2 > curve.highest_km2),
        few_sites=curve.few_sites,
        division=curve.name,
        source=SOURCE,
    )


def bankfull_curve(division: str) -> BankfullCurve:
    """Return the curve of a division, by its short name or its title.

    Raises
    ------
    BankfullError
        When there is none; the message lists those there are.
    """
    wanted = division.strip().lower().replace(" ", "_").replace("-", "_")
    curves = _curves()
    if wanted not in curves:
        raise BankfullError(
            f"physiographic division '{division}'", expected=f"one of {', '.join(curves)}"
        )
    return curves[wanted]


@functools.cache
def _curves() -> dict[str, BankfullCurve]:
    return {
        name: BankfullCurve(
            name=name,
            title=row["title"],
            width=(row["width"][0], row["width"][1]),
            depth=(row["depth"][0], row["depth"][1]),
            area=(row["area"][0], row["area"][1]),
            lowest_km2=row["lowest_km2"],
            highest_km2=row.get("highest_km2", np.inf),
            few_sites=row.get("few_sites", False),
        )
        for name, row in data_file("bankfull_curves.toml").items()
    }
