"""What floods need from the land above each cell."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from siting.channels.ground import Land
from siting.floods.runoff import runoff_depth_mm
from siting.floods.storm import STORM_H
from siting.places.flood_settings import FloodSettings
from siting.places.land_means import (
    coefficient_amounts,
    mean_curve_number,
    runoff_amounts,
    sums_above,
)
from terrain.channels.drainage_areas import gradient
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.parallel import band_edges

#: 7,500 feet, an elevation that equations of the Rocky Mountains count ground above, m.
HIGH_GROUND_M = 7500 * 0.3048
#: Measures of the drainage area that regional equations may use.
BASIN_COLUMNS = (
    "mean_elevation_m",
    "mean_annual_precipitation_mm",
    "outlet_longitude_deg_w",
    "outlet_latitude_deg",
    "soils_index",
    "percent_above_7500_ft",
)


class UpslopeMeans:
    """Measures of the land that drains to any cells.

    What needs the whole grid is worked out once for all cells, when it is first asked for.

    Parameters
    ----------
    land
        Terrain.
    settings
        Curve numbers, regions.
    """

    def __init__(self, land: Land, settings: FloodSettings) -> None:
        self._land = land
        self._settings = settings

    @cached_property
    def _slope_sum(self) -> FloatArray:
        """Sum of the gradients of all cells numbered below each number, shape ``(cells + 1,)``.

        What drains to a cell is one run of numbers, so two entries give its sum.
        """
        number = self._land.catchments.number
        steep = gradient(self._land.raster)
        by_number = np.zeros(number.size + 1)
        for a, b in band_edges(number.shape[0]):
            known = number[a:b] >= 0
            by_number[number[a:b][known].astype(np.int64) + 1] = steep[a:b][known]
        del steep
        np.cumsum(by_number, out=by_number)
        return by_number

    @cached_property
    def _mean_number(self) -> NDArray[np.float32]:
        """Area-weighted curve number of every cell, from the maps."""
        land, maps = self._land, self._settings.land
        assert maps is not None  # asked for only then
        return mean_curve_number(land.conditioned.flow, land.counts, maps)

    @cached_property
    def _mean_elevation_m(self) -> NDArray[np.float32]:
        flow, z = self._land.conditioned.flow, self._land.raster.elevation_m
        return self._mean_of(flow.accumulate(z))

    @cached_property
    def _percent_high(self) -> NDArray[np.float32]:
        flow, z = self._land.conditioned.flow, self._land.raster.elevation_m
        return self._mean_of(flow.accumulate(z > HIGH_GROUND_M)) * np.float32(100)

    def _mean_of(self, sums: NDArray[Any]) -> NDArray[np.float32]:
        out = np.empty(sums.shape, dtype=np.float32)
        counts = self._land.counts
        for a, b in band_edges(sums.shape[0]):
            out[a:b] = sums[a:b] / np.maximum(counts[a:b], 1)
        return out

    def mean_slope(self, cells: IntArray) -> FloatArray:
        """Mean slope of the land that drains to cells, m per m."""
        first = self._land.catchments.number.reshape(-1)[cells].astype(np.int64)
        count = self._land.counts.reshape(-1)[cells].astype(np.int64)
        return np.asarray((self._slope_sum[first + count] - self._slope_sum[first]) / count)

    def curve_number(self, cells: IntArray) -> FloatArray:
        """Area-weighted curve number of the land that drains to cells; NaN where not known."""
        if self._settings.land is not None:
            return self._mean_number.reshape(-1)[cells].astype(np.float64)
        given = self._settings.curve_number
        return np.full(cells.size, np.nan if given is None else given)

    def coefficient_and_runoff(
        self, cells: IntArray, return_period_yr: float
    ) -> tuple[FloatArray, FloatArray]:
        """C of the rational method, and the volume of water that runs off in a 24-hour rain, m3.

        Both are NaN where not known. With maps both are summed cell by cell, in one pass.
        """
        settings, land, rain = self._settings, self._land, self._settings.rainfall
        given, maps = settings.runoff_coefficient, settings.land
        coefficient = np.full(cells.size, np.nan if given is None else given)
        volume = np.full(cells.size, np.nan)
        rain_mm = np.nan
        if rain is not None and rain.covers(duration_h=STORM_H, return_period_yr=return_period_yr):
            rain_mm = rain.depth_mm(STORM_H, return_period_yr)
        if maps is None:
            if np.isfinite(rain_mm):
                depth_mm = runoff_depth_mm(rain_mm, self.curve_number(cells))
                volume = np.asarray(depth_mm * land.area_ha(cells) * 10.0)
            return coefficient, volume
        amounts = [coefficient_amounts(maps)]
        if np.isfinite(rain_mm):
            amounts.append(runoff_amounts(maps, rain_mm))
        sums = sums_above(
            land.catchments, maps, gradient(land.raster), cells, np.stack(amounts, axis=-1)
        )
        if given is None:
            coefficient = sums[:, 0] / 10_000 / land.counts.reshape(-1)[cells]
        if np.isfinite(rain_mm):
            volume = sums[:, 1] * (land.raster.grid.cell_area_m2 / 1e6)
        return coefficient, volume

    def basin(self, cells: IntArray) -> FloatArray:
        """Measures that the equations of the regions use; NaN where not known, or not used."""
        regional, grid = self._settings.regional, self._land.raster.grid
        out = np.full((cells.size, len(BASIN_COLUMNS)), np.nan)
        used = {t.variable for name in regional.regions for t in regional.book.region(name).terms}

        def put(name: str, values: FloatArray) -> None:
            out[:, BASIN_COLUMNS.index(name)] = values

        if "mean_elevation_ft" in used and "mean_elevation_m" not in regional.basin:
            put("mean_elevation_m", self._mean_elevation_m.reshape(-1)[cells])
        if "percent_above_7500_ft" in used and "percent_above_7500_ft" not in regional.basin:
            put("percent_above_7500_ft", self._percent_high.reshape(-1)[cells])
        if {"outlet_longitude_deg_w", "outlet_latitude_deg"} & used and grid.crs and cells.size:
            x, y = grid.xy_of(cells)
            degrees = Transformer.from_crs(grid.crs, "EPSG:4326", always_xy=True)
            lon, lat = np.array(degrees.transform(x.tolist(), y.tolist()))
            put("outlet_longitude_deg_w", -lon)
            put("outlet_latitude_deg", lat)
        for name, value in regional.basin.items():
            put(name, np.full(cells.size, value))
        return out
