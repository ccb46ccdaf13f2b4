"""What a screening is told, one value for each part of the work."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.record.settings_used import SettingsUsed
from siting.values.columns import Columns
from siting.values.rules import Rules, load_rules
from siting.works.ranking import Weights, load_weights
from siting.works.takes import Means
from terrain.flow.conditioning import CarveLimits
from terrain.flow.engines import DEFAULT_ENGINE
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster


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

    def on(self, raster: Raster) -> SettingsOnRaster:
        """Read the files onto a raster, and take the package's own limits where none are given.

        Raises
        ------
        MapError, CurveNumberError, FeatureFileError, MemoryNeedError
            A file that cannot be used, or maps that would not fit.
        """
        return SettingsOnRaster(
            terrain=self.terrain,
            floods=self.floods.on(raster),
            build=self.build.on(raster),
            means=self.means,
            rules=self.rules or load_rules(),
            weights=self.weights or load_weights(),
            weights_given=self.weights is not None,
            max_sites=self.max_sites,
        )


@dataclass(frozen=True, slots=True)
class SettingsOnRaster:
    """Settings of a screening whose files are read; the fields are those of `ScreenSettings`.

    Parameters
    ----------
    weights_given
        Whether the weights are a person's own.
    """

    terrain: TerrainSettings
    floods: FloodSettings
    build: BuildSettings
    means: Means
    rules: Rules
    weights: Weights
    weights_given: bool
    max_sites: int | None

    def columns(self) -> Columns:
        """Rows of the table ``settings_used``."""
        return SettingsUsed(
            rules=self.rules,
            weights=self.weights,
            means=self.means,
            build=self.build,
            weights_given=self.weights_given,
            division=self.floods.division,
            floods=self.floods.record(),
        ).columns()
