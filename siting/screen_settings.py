"""What a screening is told, one value for each part of the work."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.values.rules import Rules
from siting.works.ranking import Weights
from siting.works.takes import Means
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


@dataclass(frozen=True, slots=True)
class ScreenSettings:
    """What a screening is told. Each part checks itself.

    Parameters
    ----------
    terrain
        How water and channels are found.
    floods
        What peak flows are made from; without rain or regions they stay empty.
    build
        What there is to build with, for which flood, and what structures keep away from.
    means
        Prices, spare, budget, crew days.
    rules, weights
        Limits and weights; None takes those of the package.
    max_sites
        Keep at most so many sites, the best ranked; None keeps all.

    Raises
    ------
    ParameterError
        Fewer than one site to keep.
    """

    terrain: TerrainSettings = field(default_factory=TerrainSettings)
    floods: FloodSettings = field(default_factory=FloodSettings)
    build: BuildSettings = field(default_factory=BuildSettings)
    means: Means = field(default_factory=Means)
    rules: Rules | None = None
    weights: Weights | None = None
    max_sites: int | None = None

    def __post_init__(self) -> None:
        if self.max_sites is not None and self.max_sites < 1:
            raise ParameterError(f"at most {self.max_sites} sites", expected="1 or more")
