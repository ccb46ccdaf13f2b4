"""What floods are given: rain, runoff, maps, methods, regional equations."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from siting.floods.bankfull_curves import bankfull_curve
from siting.floods.flood_errors import FloodInputError
from siting.floods.graphical import storm_types
from siting.floods.rainfall import Rainfall
from siting.floods.regional import RegionalSettings
from siting.floods.runoff import check_curve_number
from siting.places.land_maps import LandMap, LandSettings, read_land
from siting.values.siting_remedies import SitingRemedy
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True)
class FloodSettings:
    """What peak flows are made from.

    Parameters
    ----------
    rainfall
        Rainfall table; None for none.
    curve_number
        Runoff curve number of the whole area, 30 to 100; None for none or where maps have them.
    storm_type
        Storm type of TR-55: I, IA, II or III.
    division
        Physiographic division of the regional bankfull curve.
    maps
        Files of soil and cover that give the curve number of every cell, instead of one for all.
    land
        Those maps on the cells of a raster: what `on` reads.
    methods
        Flood methods to use, in order of preference; empty for the one whose limits fit.
    regional
        Regions, equations and measures for the regional method.
    runoff_coefficient
        C of the rational method; None takes it from the maps.
    pond_fraction
        Share of the land in ponds and swamps off the main flow path.

    Raises
    ------
    CurveNumberError, FloodInputError, BankfullError
        A value outside its range, a name that is not known, or a curve number beside maps.
    """

    rainfall: Rainfall | None = None
    curve_number: float | None = None
    storm_type: str = "II"
    division: str = "usa"
    maps: LandSettings | None = None
    land: LandMap | None = None
    methods: tuple[str, ...] = ()
    regional: RegionalSettings = field(default_factory=RegionalSettings)
    runoff_coefficient: float | None = None
    pond_fraction: float = 0.0

    def __post_init__(self) -> None:
        if self.curve_number is not None:
            check_curve_number(self.curve_number)
            if self.has_maps:
                raise FloodInputError(
                    "one curve number and maps of soil and cover", expected="one of the two"
                )
        if self.storm_type not in storm_types():
            raise FloodInputError(
                f"storm type '{self.storm_type}'", expected=f"one of {', '.join(storm_types())}"
            )
        bankfull_curve(self.division)

    def on(self, raster: Raster) -> FloodSettings:
        """Read the maps onto the cells of a raster; the rest stays as given.

        Raises
        ------
        MapError, CurveNumberError, MemoryNeedError
            Maps that cannot be used, or that would not fit.
        """
        return self if self.maps is None else replace(self, land=read_land(self.maps, raster))

    @property
    def has_maps(self) -> bool:
        """Whether curve numbers come from maps, read or not."""
        return self.maps is not None or self.land is not None

    @property
    def has_curve_number(self) -> bool:
        """Whether curve numbers are known."""
        return self.curve_number is not None or self.has_maps

    @property
    def can_estimate(self) -> bool:
        """Whether any method could give a flow."""
        runoff = self.has_curve_number or self.runoff_coefficient is not None
        return bool(self.regional.regions) or (self.rainfall is not None and runoff)

    @property
    def missing(self) -> str:
        """What is missing for peak flows, as one sentence; empty when nothing is."""
        if self.can_estimate:
            return ""
        if self.rainfall is not None:
            remedy = SitingRemedy.GIVE_CURVE_NUMBER
        elif self.has_curve_number:
            remedy = SitingRemedy.GIVE_RAIN
        else:
            remedy = SitingRemedy.GIVE_RAIN_AND_CURVE_NUMBER
        return f"Peak flows are empty: {remedy}."

    def record(self) -> dict[str, Any]:
        """What the floods are made with beside rain, maps and equations of one's own."""
        return {
            "curve_number": self.curve_number,
            "storm_type": self.storm_type,
            "methods": list(self.methods),
            "regions": dict(self.regional.regions),
            "basin": dict(self.regional.basin),
            "runoff_coefficient": self.runoff_coefficient,
            "pond_fraction": self.pond_fraction,
            "maps": self.has_maps,
            "own_equations": self.regional.equations is not None,
        }
