"""What a screening is told, one value for each part of the work."""

from __future__ import annotations

from dataclasses import dataclass, field

from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.places.terrain_settings import TerrainSettings
from siting.record.settings_used import SettingsUsed
from siting.values.columns import Columns
from siting.values.rules import Rules, load_rules
from siting.works.takes import Means
from siting.works.work import Judging
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
    judging
        Horizon and order of the works.
    rules
        Limits; None takes those of the package.
    """

    terrain: TerrainSettings = field(default_factory=TerrainSettings)
    floods: FloodSettings = field(default_factory=FloodSettings)
    build: BuildSettings = field(default_factory=BuildSettings)
    means: Means = field(default_factory=Means)
    judging: Judging = field(default_factory=Judging)
    rules: Rules | None = None

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
            judging=self.judging,
            rules=self.rules or load_rules(),
        )


@dataclass(frozen=True, slots=True)
class SettingsOnRaster:
    """Settings of a screening whose files are read; the fields are those of `ScreenSettings`."""

    terrain: TerrainSettings
    floods: FloodSettings
    build: BuildSettings
    means: Means
    judging: Judging
    rules: Rules

    def columns(self) -> Columns:
        """Rows of the table ``settings_used``."""
        return SettingsUsed(
            rules=self.rules,
            means=self.means,
            build=self.build,
            judging=self.judging,
            division=self.floods.division,
            floods=self.floods.record(),
        ).columns()
