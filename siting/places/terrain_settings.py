"""How water and channels are found on a raster."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from terrain.flow.conditioning import CarveLimits
from terrain.flow.engines import DEFAULT_ENGINE
from terrain.values.errors import ParameterError


@dataclass(frozen=True, slots=True)
class TerrainSettings:
    """How water and channels are found.

    Parameters
    ----------
    channel_area_ha
        Least drainage area of a channel, ha; ``auto`` picks it from the ground; None takes the
        default for the cell size.
    engine
        Name of the flow engine.
    carve
        How deep and long barriers are cut through.
    edge_is_divide
        Take the raster's edge for a divide: no drainage area is then cut off.

    Raises
    ------
    ParameterError
        A channel area that is a text other than ``auto``.
    """

    channel_area_ha: float | Literal["auto"] | str | None = None
    engine: str = DEFAULT_ENGINE
    carve: CarveLimits = field(default_factory=CarveLimits)
    edge_is_divide: bool = False

    def __post_init__(self) -> None:
        area = self.channel_area_ha
        if isinstance(area, str) and area != "auto":
            raise ParameterError(f"a channel area of {area!r}", expected="hectares, or auto")
