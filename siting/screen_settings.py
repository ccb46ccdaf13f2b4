"""What a screening is told, one value for each part of the work."""

from __future__ import annotations

from dataclasses import dataclass, field

from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.places.terrain_settings import TerrainSettings
from siting.record.settings_used import SettingsUsed
from siting.values.columns import Columns
from siting.values.rules import Rules, load_rules
from siting.works.ranking import Weights, load_weights
from siting.works.takes import Means
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster


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
