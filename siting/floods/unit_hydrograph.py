"""The whole flood by the dimensionless NRCS unit hydrograph and a balanced storm.

Source: USDA NRCS, National Engineering Handbook, part 630, chapter 16, tables 16-1 and 16-2: time
to peak Tp = D/2 + lag, lag = 0.6 Tc, and the peak of one unit of runoff 484 A / Tp (ft3/s, square
miles, inches, hours). The storm is built from the rainfall table's own durations (see `storm`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from siting.floods.data_files import data_file
from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import (
    Flag,
    FloodEstimate,
    SiteFloodInputs,
    build_estimate,
    missing_flag,
    no_estimate,
)
from siting.floods.rainfall import Rainfall
from siting.floods.runoff import runoff_depth_mm
from siting.floods.storm import STORM_H, balanced_storm_mm
from siting.floods.travel_time import LAG_PER_TC
from terrain.values.arrays import ArrayLike, FloatArray, floats, frozen

# National Engineering Handbook part 630 table 16-1: time over time to peak, flow over peak flow.
TIME_RATIOS: Final = frozen(data_file("nrcs_unit_hydrograph.toml")["time"])
FLOW_RATIOS: Final = frozen(data_file("nrcs_unit_hydrograph.toml")["flow"])
# Unit duration over time of concentration, as chapter 16 advises (0.133 Tc): Tp is then five units.
UNIT_PER_TC: Final = 2.0 / 15.0
LOWEST_TC_H: Final = 0.1
HIGHEST_TC_H: Final = 10.0
# A storm built from coarser rain than this says little about a small area's peak.
LONGEST_SHORTEST_H: Final = 1.0
# Values held at once while many sites are worked through, to bound memory.
_BLOCK: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Hydrograph:
    """Flow over time at one site.

    Parameters
    ----------
    time_h
        Time since the start of the storm in hours, shape (t,).
    flow_m3s
        Flow in m3/s, shape (t,).
    rain_mm, runoff_mm
        Rain and runoff of each step in millimetres, shape (t,); zero after the storm.
    volume_m3
        Volume of the flood in cubic metres: runoff depth over the drainage area.
    """

    time_h: FloatArray
    flow_m3s: FloatArray
    rain_mm: FloatArray
    runoff_mm: FloatArray
    volume_m3: float

    @property
    def peak_m3s(self) -> float:
        """Largest flow in m3/s."""
        return float(self.flow_m3s.max())


class UnitHydrographMethod:
    """The unit hydrograph method; a plug-in of ``gullywalk.flood_methods``."""

    name = "unit_hydrograph"
    title = "NRCS unit hydrograph with a balanced storm"
    source = "USDA NRCS, National Engineering Handbook, part 630, chapter 16, tables 16-1 and 16-2"
    limits = (
        "One drainage area of one kind, time of concentration 0.1 to 10 hours, rainfall table with "
        "storms of one hour or shorter"
    )
    needs = ("drainage_area_ha", "curve_number", "time_of_concentration_h", "rainfall")

    def peak_flow(self, inputs: SiteFloodInputs, return_period_yr: float) -> FloodEstimate:
        """Peak flow in m3/s of the balanced 24-hour storm (see `FloodMethod`)."""
        rainfall = inputs.rainfall
        why = _rain_unusable(rainfall, return_period_yr)
        if rainfall is None or why:
            return no_estimate(self, inputs, return_period_yr, code="rain_not_covered", why=why)
        tc_h = inputs.array("time_of_concentration_h")
        number = inputs.array("curve_number")
        known = np.isfinite(tc_h) & np.isfinite(number)
        value = np.full(inputs.count, np.nan)
        value[known] = unit_hydrograph_peak_m3s(
            inputs.drainage_area_ha[known],
            curve_number=number[known],
            time_of_concentration_h=tc_h[known],
            rainfall=rainfall,
            return_period_yr=return_period_yr,
        )
        shortest = float(rainfall.durations_h[0])
        flags = (
            missing_flag(inputs, ("curve_number", "time_of_concentration_h")),
            Flag(
                "tc_short",
                "Time of concentration is under 0.1 hour: 0.1 was used.",
                tc_h < LOWEST_TC_H,
                outside=False,
            ),
            Flag(
                "tc_long",
                "Time of concentration is over 10 hours: 10 was used.",
                tc_h > HIGHEST_TC_H,
            ),
            Flag(
                "storm_coarse",
                "The shortest storm of the rainfall table is longer than the time of "
                "concentration: the peak is low.",
                shortest > np.clip(tc_h, LOWEST_TC_H, HIGHEST_TC_H),
            ),
        )
        return build_estimate(self, inputs, return_period_yr, value_m3s=value, flags=flags)


def dimensionless_flow(time_over_peak: ArrayLike) -> FloatArray:
    """Flow over peak flow of the dimensionless unit hydrograph (table 16-1, linear between).

    Arrays broadcast.
    """
    return np.asarray(np.interp(floats(time_over_peak), TIME_RATIOS, FLOW_RATIOS, left=0, right=0))


def hydrograph(
    drainage_area_ha: float,
    *,
    curve_number: float,
    time_of_concentration_h: float,
    rainfall: Rainfall,
    return_period_yr: float,
) -> Hydrograph:
    """Hydrograph at one site from a balanced 24-hour storm.

    The unit ordinates are scaled so that they hold exactly one unit of runoff: the volume is the
    runoff depth times the area.

    Raises
    ------
    RainfallRangeError
        When the rainfall does not cover 24 hours and the return period.
    FloodInputError, CurveNumberError
        For impossible inputs.
    """
    if not (drainage_area_ha > 0 and time_of_concentration_h > 0):
        raise FloodInputError(
            f"a drainage area of {drainage_area_ha:g} ha and a time of concentration of "
            f"{time_of_concentration_h:g} h",
            expected="both above zero",
        )
    tc_h = float(np.clip(time_of_concentration_h, LOWEST_TC_H, HIGHEST_TC_H))
    step_h = tc_h * UNIT_PER_TC
    steps = int(np.ceil(STORM_H / step_h))
    fallen = balanced_storm_mm(
        rainfall, step_h * np.arange(steps + 1), return_period_yr=return_period_yr
    )
    runoff = np.diff(runoff_depth_mm(fallen, curve_number))
    unit = _unit_ordinates()
    flow = np.convolve(runoff, unit) * _per_mm_m3s(drainage_area_ha, step_h)
    after = np.zeros(unit.size - 1)
    return Hydrograph(
        time_h=frozen(step_h * np.arange(1, flow.size + 1)),
        flow_m3s=frozen(flow),
        rain_mm=frozen(np.concatenate([np.diff(fallen), after])),
        runoff_mm=frozen(np.concatenate([runoff, after])),
        volume_m3=float(runoff.sum() / 1000.0 * drainage_area_ha * 10_000.0),
    )


def unit_hydrograph_peak_m3s(
    drainage_area_ha: ArrayLike,
    *,
    curve_number: ArrayLike,
    time_of_concentration_h: ArrayLike,
    rainfall: Rainfall,
    return_period_yr: float,
) -> FloatArray:
    """Peak flow in m3/s at many sites, the same as the largest flow of `hydrograph` at each.

    Sites are worked through in blocks of similar time of concentration, because the step follows
    it. Arrays broadcast to ``(n,)``.
    """
    area, number, tc = np.broadcast_arrays(
        floats(drainage_area_ha), floats(curve_number), floats(time_of_concentration_h)
    )
    tc = np.clip(tc, LOWEST_TC_H, HIGHEST_TC_H)
    unit = _unit_ordinates()
    peaks = np.empty(area.shape)
    order = np.argsort(-tc, kind="stable")
    start = 0
    while start < order.size:
        # The last site of a block has the shortest time of concentration and needs the most steps.
        size = max(1, int(_BLOCK / (STORM_H / (tc[order[start]] * UNIT_PER_TC) + unit.size)))
        sites = order[start : start + size]
        while sites.size > 1 and tc[sites[0]] > 1.15 * tc[sites[-1]]:
            sites = sites[: (sites.size + 1) // 2]
        peaks[sites] = _block_peaks(
            area[sites], number[sites], tc[sites], rainfall, return_period_yr, unit
        )
        start += sites.size
    return peaks


def _block_peaks(
    area_ha: FloatArray,
    curve_number: FloatArray,
    tc_h: FloatArray,
    rainfall: Rainfall,
    return_period_yr: float,
    unit: FloatArray,
) -> FloatArray:
    step_h = tc_h * UNIT_PER_TC
    steps = int(np.ceil(STORM_H / step_h.min()))
    times = step_h[:, None] * np.arange(steps + 1)
    fallen = balanced_storm_mm(rainfall, times, return_period_yr=return_period_yr)
    runoff = np.diff(runoff_depth_mm(fallen, curve_number[:, None]), axis=1)
    # The peak comes soon after the middle of the storm. Each flow is a weighted mean of the runoff
    # of the steps before it, so what lies outside a window cannot be higher than the runoff there.
    middle = (STORM_H / 2 / step_h).astype(np.int64)
    first = max(0, int(middle.min()) - 1)
    last = min(steps + unit.size - 1, int(middle.max()) + 2 * unit.size)
    highest = _largest_flow(runoff, unit, first, last)
    outside = np.fmax(
        runoff[:, :first].max(axis=1, initial=0.0),
        runoff[:, last - unit.size + 1 :].max(axis=1, initial=0.0),
    )
    if (outside > highest).any():
        highest = _largest_flow(runoff, unit, 0, steps + unit.size - 1)
    return highest * _per_mm_m3s(area_ha, step_h)


def _largest_flow(runoff: FloatArray, unit: FloatArray, first: int, last: int) -> FloatArray:
    """Largest of the flows of steps ``first`` to ``last`` (exclusive), one a row."""
    rows, steps = runoff.shape
    flow = np.zeros((rows, last - first))
    for lag, ordinate in enumerate(unit):
        a, b = max(0, first - lag), min(steps, last - lag)
        if a < b:
            flow[:, a + lag - first : b + lag - first] += ordinate * runoff[:, a:b]
    return np.asarray(flow.max(axis=1))


def _unit_ordinates() -> FloatArray:
    """Ordinates of the unit hydrograph one unit duration apart, adding up to one."""
    # Tp = D/2 + 0.6 Tc and D = 2/15 Tc make Tp exactly five units whatever the site.
    units_to_peak = 0.5 + LAG_PER_TC / UNIT_PER_TC
    count = int(np.floor(TIME_RATIOS[-1] * units_to_peak))
    ordinates = dimensionless_flow(np.arange(1, count + 1) / units_to_peak)
    return floats(ordinates / ordinates.sum())


def _per_mm_m3s(drainage_area_ha: ArrayLike, step_h: ArrayLike) -> FloatArray:
    """Flow in m3/s when one millimetre leaves the whole area within one step."""
    return floats(drainage_area_ha) * 10.0 / (3600.0 * floats(step_h))


def _rain_unusable(rainfall: Rainfall | None, return_period_yr: float) -> str:
    if rainfall is None:
        return "No rainfall was given."
    if not rainfall.covers(duration_h=STORM_H, return_period_yr=return_period_yr):
        return (
            f"The rainfall given holds no 24-hour rain of a {return_period_yr:g}-year storm, "
            "and none is guessed."
        )
    if rainfall.durations_h[0] > LONGEST_SHORTEST_H:
        return "The rainfall given has no storm of one hour or shorter to build the storm from."
    return ""
