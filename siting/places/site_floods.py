"""Peak flows at cells: what flood methods need from the ground, and all of them side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.ground import Land
from siting.floods.flood_method import RETURN_PERIODS_YR, SiteFloodInputs
from siting.places.flood_compare import Compared, compare, joined
from siting.places.flood_land import BASIN_COLUMNS, UpslopeMeans
from siting.places.flood_paths import BY_LAG, Concentration, concentration
from siting.places.flood_settings import FloodSettings
from terrain.channels.drainage_areas import WaySegments, flow_path_segments, longest_way_m
from terrain.values.arrays import FloatArray, IntArray, floats

__all__ = ["FloodGauge", "FloodSettings", "SiteFloods"]


@dataclass(frozen=True, slots=True, eq=False)
class SiteFloods:
    """Peak flows and what they rest on; arrays over n cells.

    Parameters
    ----------
    q_m3s, low_m3s, high_m3s
        Peak flow and its range for the return periods 2, 5, 10, 25, 50 and 100 years, shape
        ``(n, 6)``; NaN where the method used gives none.
    range_from
        What that range rests on, in words, same shape; None where there is none.
    dry_m3s, wet_m3s
        The same rain after dry and wet days: antecedent runoff conditions I and III; same shape.
    method, note
        Name of the method used, and what limits it; None for nothing.
    curve_number, flow_path_m, mean_slope
        Area-weighted curve number, longest flow path and mean slope of the land.
    runoff_coefficient
        C of the rational method.
    runoff10_m3
        Water that runs off in the 10-year 24-hour rain.
    basin
        Measures of the drainage area for regional equations, one column each; see
        `siting.places.flood_land.BASIN_COLUMNS`.
    time
        Time of concentration.
    compared
        All methods side by side.
    """

    q_m3s: FloatArray
    low_m3s: FloatArray
    high_m3s: FloatArray
    range_from: NDArray[Any]
    dry_m3s: FloatArray
    wet_m3s: FloatArray
    method: NDArray[Any]
    note: NDArray[Any]
    curve_number: FloatArray
    flow_path_m: FloatArray
    mean_slope: FloatArray
    runoff_coefficient: FloatArray
    runoff10_m3: FloatArray
    basin: FloatArray
    time: Concentration
    compared: Compared

    @property
    def time_of_concentration_h(self) -> FloatArray:
        """Time of concentration that the methods use, hours."""
        return self.time.used_h

    def peak(self, return_period_yr: float) -> FloatArray:
        """Peak flow for one of the return periods, m3/s."""
        at = RETURN_PERIODS_YR.index(return_period_yr)
        column: FloatArray = self.q_m3s[:, at]
        return column


class FloodGauge:
    """Estimates peak flows at any cells of some land.

    What needs the whole grid is worked out once, when it is first asked for, for all cells.

    Parameters
    ----------
    land
        Terrain.
    settings
        Rain, land, methods.
    """

    def __init__(self, land: Land, settings: FloodSettings) -> None:
        self._land = land
        self.settings = settings
        self.means = UpslopeMeans(land, settings)

    @cached_property
    def _length_m(self) -> NDArray[np.float32]:
        return longest_way_m(self._land.conditioned.flow)

    def peak(self, cells: IntArray, return_period_yr: float) -> FloatArray:
        """Peak flow of the method used at cells, without remarks, m3/s."""
        return self.at(cells, periods=(10.0, return_period_yr), notes=False).peak(return_period_yr)

    def at(
        self,
        cells: IntArray,
        *,
        periods: Sequence[float] = RETURN_PERIODS_YR,
        notes: bool = True,
    ) -> SiteFloods:
        """Estimate peak flows at cells by every method.

        Parameters
        ----------
        cells
            Flat cell numbers.
        periods
            Return periods to work out.
        notes
            Whether to write remarks and to work out ranges: a trial reads neither.

        Raises
        ------
        FloodInputError
            An impossible input.
        PluginError
            A method that was asked for failed.
        """
        land, settings = self._land, self.settings
        # first what needs most memory for a while
        number = self.means.curve_number(cells)
        slope = self.means.mean_slope(cells)
        ways = self._ways(cells)
        area = land.area_ha(cells).astype(np.float64)
        time = self._time(cells, ways, area, floats(slope), floats(number))
        basin = self.means.basin(cells)
        coefficient, volume = self.means.coefficient_and_runoff(cells, 10.0)
        inputs = SiteFloodInputs(
            drainage_area_ha=area,
            curve_number=number,
            time_of_concentration_h=time.used_h,
            mean_slope=slope,
            flow_path_m=ways.flow_path_m,
            pond_fraction=settings.pond_fraction,
            runoff_coefficient=coefficient,
            area_complete=~land.cut.is_cut(cells),
            rainfall=settings.rainfall,
            storm_type=settings.storm_type,
            regions=settings.regional.regions,
            basin={name: basin[:, i] for i, name in enumerate(BASIN_COLUMNS)},
            equations=settings.regional.equations,
        )
        found = compare(
            inputs,
            asked=settings.methods,
            periods=periods if settings.can_estimate else (),
            curve_number_error=land.rules.value("floods.curve_number_error"),
            notes=notes,
        )
        names = np.concatenate([found.name, np.full((cells.size, 1), None)], axis=1)
        return SiteFloods(
            q_m3s=found.of_used(found.q_m3s),
            low_m3s=found.of_used(found.low_m3s),
            high_m3s=found.of_used(found.high_m3s),
            range_from=found.of_used(found.range_from),
            dry_m3s=found.of_used(found.dry_m3s),
            wet_m3s=found.of_used(found.wet_m3s),
            method=names[np.arange(cells.size), found.used],
            note=_with_time(found, time),
            curve_number=number,
            flow_path_m=ways.flow_path_m,
            mean_slope=slope,
            runoff_coefficient=coefficient,
            runoff10_m3=volume,
            basin=basin,
            time=time,
            compared=found,
        )

    def _ways(self, cells: IntArray) -> WaySegments:
        """Longest ways of the water to cells."""
        land = self._land
        return flow_path_segments(
            land.conditioned.flow,
            land.counts,
            land.raster,
            cells,
            channel_count=land.network.threshold_cells,
            length_m=self._length_m,
        )

    def _time(
        self,
        cells: IntArray,
        ways: WaySegments,
        area_ha: FloatArray,
        mean_slope: FloatArray,
        curve_number: FloatArray,
    ) -> Concentration:
        """Time that water takes to cells."""
        land, settings = self._land, self.settings
        return concentration(
            ways,
            drainage_area_ha=area_ha,
            mean_slope=mean_slope,
            curve_number=curve_number,
            rainfall=settings.rainfall,
            roughness=land.rules.value("channel.roughness"),
            sections=land.sections(cells, land.azimuth_deg(cells)),
            division=settings.division,
        )


def _with_time(found: Compared, time: Concentration) -> NDArray[Any]:
    """Remarks about the method used, and about the time of concentration that it was given."""
    has = found.used >= 0
    more = joined(
        [
            (
                "Time of concentration by the NRCS lag equation: sheet flow needs the 2-year "
                "24-hour rain, which was not given.",
                has & (time.method == BY_LAG),
            ),
            ("Slopes under 0.1 % on the way were taken as 0.1 %.", has & time.slope_raised),
        ],
        has.size,
        between=" ",
    )
    out = np.full(has.size, None, dtype=object)
    out[:] = [
        " ".join(t for t in texts if t) or None for texts in zip(found.used_note, more, strict=True)
    ]
    return out
