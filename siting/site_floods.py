"""Peak flows at cells: longest flow path, time of concentration, the graphical method of TR-55."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.bankfull import bankfull_geometry
from siting.floods.base import RETURN_PERIODS_YR, FloodEstimate, SiteFloodInputs
from siting.floods.graphical import GraphicalMethod
from siting.floods.rainfall import Rainfall
from siting.floods.travel_time import (
    LAG_PER_TC,
    LOWEST_SLOPE,
    RANGE_SHEET_ROUGHNESS,
    FlowPath,
    nrcs_lag_h,
    time_of_concentration,
)
from siting.ground import FloatArray, Ground, IntArray
from terrain.drainage import SHEET_FLOW_M, WaySegments, flow_path_segments, gradient, longest_way_m
from terrain.parallel import band_edges

STORM_H = 24.0
#: Remarks that hold for every site alike; they are told once, not at each site.
_TOLD_ONCE = ("rain_not_covered", "no_rain", "input_missing")


@dataclass(frozen=True, slots=True)
class FloodSettings:
    """What peak flows are made from.

    Parameters
    ----------
    rainfall
        Rainfall table; None for none.
    curve_number
        Runoff curve number of the whole area, 30 to 100; None for none.
    storm_type
        Storm type of TR-55: I, IA, II or III.
    division
        Physiographic division of the regional bankfull curve.
    """

    rainfall: Rainfall | None = None
    curve_number: float | None = None
    storm_type: str = "II"
    division: str = "usa"

    @property
    def can_estimate(self) -> bool:
        """Whether rain and curve number are both given."""
        return self.rainfall is not None and self.curve_number is not None

    @property
    def missing(self) -> str:
        """What is missing for peak flows, as one sentence; empty when nothing is."""
        lacks = [
            name
            for name, value in (("rainfall", self.rainfall), ("a curve number", self.curve_number))
            if value is None
        ]
        if not lacks:
            return ""
        return (
            f"Peak flows are empty: give {' and '.join(lacks)} "
            "(--rain or --rain-24h, and --curve-number)."
        )


@dataclass(frozen=True, slots=True, eq=False)
class SiteFloods:
    """Peak flows and what they rest on; arrays over n cells.

    Parameters
    ----------
    q_m3s
        Peak flow for each of the return periods 2, 5, 10, 25, 50 and 100 years, shape ``(n, 6)``;
        NaN where the rain given does not cover it.
    time_of_concentration_h, flow_path_m, mean_slope
        Time of concentration, longest flow path and mean slope of the land.
    method, note
        How, and what limits it, in words; None for nothing.
    """

    q_m3s: FloatArray
    time_of_concentration_h: FloatArray
    flow_path_m: FloatArray
    mean_slope: FloatArray
    method: NDArray[Any]
    note: NDArray[Any]

    def peak(self, return_period_yr: float) -> FloatArray:
        """Peak flow for one of the return periods, m3/s."""
        at = RETURN_PERIODS_YR.index(return_period_yr)
        column: FloatArray = self.q_m3s[:, at]
        return column


class FloodGauge:
    """Estimates peak flows at any cells of one ground.

    Parameters
    ----------
    ground
        Measured terrain.
    settings
        Rain, curve number, storm type.
    """

    def __init__(self, ground: Ground, settings: FloodSettings) -> None:
        self._ground = ground
        self._settings = settings

    @cached_property
    def _slope_sum(self) -> FloatArray:
        """Sum of the gradients of all cells numbered below each number, shape ``(cells + 1,)``.

        What drains to a cell is one run of numbers, so two entries give its sum.
        """
        number = self._ground.catchments.number
        steep = gradient(self._ground.raster)
        by_number = np.zeros(number.size + 1)
        for a, b in band_edges(number.shape[0]):
            known = number[a:b] >= 0
            by_number[number[a:b][known].astype(np.int64) + 1] = steep[a:b][known]
        del steep
        np.cumsum(by_number, out=by_number)
        return by_number

    @cached_property
    def _length_m(self) -> NDArray[np.float32]:
        return longest_way_m(self._ground.conditioned.flow)

    def mean_slope(self, cells: IntArray) -> FloatArray:
        """Mean slope of the land that drains to cells, m per m."""
        first = self._ground.catchments.number.reshape(-1)[cells].astype(np.int64)
        count = self._ground.counts.reshape(-1)[cells].astype(np.int64)
        return np.asarray((self._slope_sum[first + count] - self._slope_sum[first]) / count)

    def at(self, cells: IntArray) -> SiteFloods:
        """Estimate peak flows at cells.

        Raises
        ------
        FloodInputError
            An impossible curve number or storm type.
        """
        ground, settings = self._ground, self._settings
        slope = self.mean_slope(cells)  # first: it needs more memory for a while
        ways = flow_path_segments(
            ground.conditioned.flow,
            ground.counts,
            ground.raster,
            cells,
            channel_count=ground.network.threshold_cells,
            length_m=self._length_m,
        )
        area = ground.area_ha(cells)
        tc, how, raised = self._concentration(ways, slope, area)
        q = np.full((cells.size, len(RETURN_PERIODS_YR)), np.nan)
        notes: list[list[str]] = [[] for _ in range(cells.size)]
        method = np.full(cells.size, None, dtype=object)
        if settings.can_estimate and cells.size:
            inputs = SiteFloodInputs(
                drainage_area_ha=area.astype(np.float64),
                curve_number=np.nan if settings.curve_number is None else settings.curve_number,
                time_of_concentration_h=tc,
                mean_slope=slope,
                flow_path_m=ways.flow_path_m,
                area_complete=~ground.cut.is_cut(cells),
                rainfall=settings.rainfall,
                storm_type=settings.storm_type,
            )
            graphical = GraphicalMethod()
            estimates = [graphical.peak_flow(inputs, t) for t in RETURN_PERIODS_YR]
            for k, estimate in enumerate(estimates):
                q[:, k] = estimate.value_m3s
            notes = _notes(estimates, raised)
            method[np.isfinite(q).any(axis=1)] = (
                f"TR-55 graphical method, storm type {settings.storm_type}, curve number "
                f"{settings.curve_number:g}; {how}"
            )
        note = np.array([" ".join(n) or None for n in notes] + [None], dtype=object)[:-1]
        return SiteFloods(q, tc, ways.flow_path_m, slope, method, note)

    def _concentration(
        self, ways: WaySegments, mean_slope: FloatArray, area_ha: FloatArray
    ) -> tuple[FloatArray, str, NDArray[np.bool_]]:
        """Time of concentration, how it was found, and where a slope was raised."""
        settings = self._settings
        unknown = np.full(area_ha.size, np.nan)
        nowhere = np.zeros(area_ha.size, dtype=np.bool_)
        rainfall, number = settings.rainfall, settings.curve_number
        if rainfall is None or number is None or not area_ha.size:
            return unknown, "", nowhere
        if not rainfall.covers(duration_h=STORM_H, return_period_yr=2.0):
            lag = nrcs_lag_h(
                ways.flow_path_m,
                curve_number=number,
                mean_slope=np.maximum(mean_slope, LOWEST_SLOPE),
            )
            how = (
                "time of concentration by the NRCS lag equation, since sheet flow needs the 2-year "
                "24-hour rain, which was not given"
            )
            return lag / LAG_PER_TC, how, mean_slope < LOWEST_SLOPE
        travel = time_of_concentration(
            _flow_path(ways, area_ha, settings.division),
            rain_2yr_24h_mm=rainfall.depth_mm(STORM_H, 2.0),
        )
        how = (
            f"time of concentration by TR-55 segments (sheet flow up to {SHEET_FLOW_M:g} m with "
            f"range roughness {RANGE_SHEET_ROUGHNESS:g}, shallow flow, channel by Manning with "
            "the regional curve's section)"
        )
        return travel.total_h, how, travel.slope_raised


def _flow_path(ways: WaySegments, area_ha: FloatArray, division: str) -> FlowPath:
    """Segments as TR-55 takes them: what passes the longest sheet flow is shallow flow."""
    share = np.minimum(1.0, SHEET_FLOW_M / np.maximum(ways.sheet_length_m, 1e-9))
    sheet, sheet_fall = ways.sheet_length_m * share, ways.sheet_fall_m * share
    shallow = ways.shallow_length_m + ways.sheet_length_m - sheet
    shallow_fall = ways.shallow_fall_m + ways.sheet_fall_m - sheet_fall
    channel = bankfull_geometry(area_ha, division=division)
    radius = channel.area_m2 / (channel.width_m + 2 * channel.depth_m)
    return FlowPath(
        sheet_length_m=sheet,
        sheet_slope=_slope(sheet_fall, sheet),
        shallow_length_m=shallow,
        shallow_slope=_slope(shallow_fall, shallow),
        channel_length_m=ways.channel_length_m,
        channel_slope=_slope(ways.channel_fall_m, ways.channel_length_m),
        channel_hydraulic_radius_m=radius,
    )


def _slope(fall_m: FloatArray, length_m: FloatArray) -> FloatArray:
    return np.divide(fall_m, length_m, out=np.zeros(fall_m.size), where=length_m > 0)


def _notes(estimates: list[FloodEstimate], raised: NDArray[np.bool_]) -> list[list[str]]:
    """Remarks of each site, each once, with the return periods that it holds for."""
    held: dict[str, tuple[str, NDArray[np.bool_]]] = {}
    n = raised.size
    for k, estimate in enumerate(estimates):
        for flag in estimate.flags:
            if flag.code not in _TOLD_ONCE:
                text, where = held.setdefault(
                    flag.code, (flag.text, np.zeros((n, len(estimates)), dtype=np.bool_))
                )
                where[:, k] = flag.where
    made = np.column_stack([np.isfinite(e.value_m3s) for e in estimates])
    notes: list[list[str]] = [[] for _ in range(n)]
    for text, where in held.values():
        for i in np.flatnonzero(where.any(axis=1)):
            some = where[i] & made[i]
            periods = [f"{RETURN_PERIODS_YR[k]:g}" for k in np.flatnonzero(some)]
            which = "" if (some == made[i]).all() else f"{', '.join(periods)} years: "
            notes[i].append(which + text)
    for i in np.flatnonzero(estimates[0].is_minimum):
        notes[i].append("Part of the drainage area lies outside the raster: flows are minima.")
    for i in np.flatnonzero(raised):
        notes[i].append("Slopes under 0.1 % on the way were taken as 0.1 %.")
    return notes
