"""Peak flow by the graphical method of TR-55.

Source: USDA Soil Conservation Service, *Urban Hydrology for Small Watersheds*, Technical Release
55, second edition, 1986, chapter 4, worksheet 4, table 4-2 and appendix F table F-1.
"""

from __future__ import annotations

import functools
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
from siting.floods.runoff import initial_abstraction_mm, runoff_depth_mm
from siting.values.us_units import HA_PER_MI2, M3S_PER_CFS, MM_PER_INCH
from terrain.values.arrays import ArrayLike, FloatArray, floats, frozen

LOWEST_TC_H: Final = 0.1
HIGHEST_TC_H: Final = 10.0
LOWEST_RUNOFF_MM: Final = 0.5 * MM_PER_INCH
STORM_H: Final = 24.0


class GraphicalMethod:
    """The graphical peak discharge method; a plug-in of ``gullywalk.flood_methods``."""

    name = "graphical"
    title = "Graphical peak discharge (TR-55)"
    source = "USDA SCS, TR-55, 2nd ed., 1986, chapter 4, table 4-2 and appendix F table F-1"
    limits = (
        "One drainage area of one kind, curve number above 40, time of concentration 0.1 to 10 "
        "hours, Ia/P inside the table, runoff of 13 mm or more; no storage on the main flow path"
    )
    needs = (
        "drainage_area_ha",
        "curve_number",
        "time_of_concentration_h",
        "pond_fraction",
        "rainfall",
        "storm_type",
    )

    def peak_flow(self, inputs: SiteFloodInputs, return_period_yr: float) -> FloodEstimate:
        """Peak flow in m3/s from the 24-hour rain of the return period (see `FloodMethod`)."""
        rainfall = inputs.rainfall
        if rainfall is None:
            return no_estimate(
                self, inputs, return_period_yr, code="no_rain", why="No rainfall was given."
            )
        if not rainfall.covers(duration_h=STORM_H, return_period_yr=return_period_yr):
            why = (
                f"The rainfall given holds no 24-hour rain of a {return_period_yr:g}-year storm, "
                "and none is guessed."
            )
            return no_estimate(self, inputs, return_period_yr, code="rain_not_covered", why=why)
        rain_mm = rainfall.depth_mm(STORM_H, return_period_yr)
        curve_number = inputs.array("curve_number")
        tc_h = inputs.array("time_of_concentration_h")
        runoff = runoff_depth_mm(rain_mm, curve_number)
        ratio = initial_abstraction_mm(curve_number) / rain_mm
        pond = inputs.array("pond_fraction")
        value = graphical_peak_m3s(
            inputs.drainage_area_ha,
            runoff,
            ia_over_p=ratio,
            time_of_concentration_h=tc_h,
            storm_type=inputs.storm_type,
            pond_fraction=pond,
        )
        first, last = ia_over_p_range(inputs.storm_type)
        flags = (
            missing_flag(inputs, ("curve_number", "time_of_concentration_h")),
            Flag(
                "runoff_low",
                "Less than 13 mm (0.5 in) runs off: the method is weak for so little.",
                runoff < LOWEST_RUNOFF_MM,
            ),
            Flag(
                "ia_over_p",
                f"Ia/P (the share of the rain held back at first) lies outside {first:g} to "
                f"{last:g}: the end of the table was used.",
                (ratio < first) | (ratio > last),
            ),
            Flag(
                "tc_short",
                "Time of concentration is under 0.1 hour: 0.1 was used, as TR-55 asks.",
                tc_h < LOWEST_TC_H,
                outside=False,
            ),
            Flag(
                "tc_long",
                "Time of concentration is over 10 hours: 10 was used.",
                tc_h > HIGHEST_TC_H,
            ),
            Flag("curve_number_low", "Curve number is not above 40.", curve_number <= 40),
            Flag(
                "ponds",
                "More than 5 per cent ponds: the pond factor of 5 per cent was held.",
                pond > 0.05,
            ),
        )
        return build_estimate(self, inputs, return_period_yr, value_m3s=value, flags=flags)


def graphical_peak_m3s(
    drainage_area_ha: ArrayLike,
    runoff_mm: ArrayLike,
    *,
    ia_over_p: ArrayLike,
    time_of_concentration_h: ArrayLike,
    storm_type: str = "II",
    pond_fraction: ArrayLike = 0.0,
) -> FloatArray:
    """Peak flow in m3/s: unit peak x area x runoff x pond factor (TR-55 equation 4-1).

    Arrays broadcast.
    """
    unit = unit_peak_csm_in(time_of_concentration_h, ia_over_p=ia_over_p, storm_type=storm_type)
    area_mi2 = floats(drainage_area_ha) / HA_PER_MI2
    peak_cfs = unit * area_mi2 * (floats(runoff_mm) / MM_PER_INCH) * pond_factor(pond_fraction)
    return peak_cfs * M3S_PER_CFS


def unit_peak_csm_in(
    time_of_concentration_h: ArrayLike, *, ia_over_p: ArrayLike, storm_type: str = "II"
) -> FloatArray:
    """Return the unit peak discharge qu in ft3/s per square mile per inch of runoff.

    Source: TR-55 appendix F table F-1.

    Between the rows of Ia/P the unit peak is interpolated linearly; outside them, and outside 0.1
    to 10 hours, the nearest end is used (the method flags it). Arrays broadcast.

    Raises
    ------
    FloodInputError
        For a storm type other than I, IA, II, III.
    """
    rows = _coefficients(storm_type)
    tc, ratio = np.broadcast_arrays(floats(time_of_concentration_h), floats(ia_over_p))
    log_tc = np.log10(np.clip(tc, LOWEST_TC_H, HIGHEST_TC_H))
    held = np.clip(ratio, rows[0, 0], rows[-1, 0])
    # Row below each ratio; the last interval also takes its own upper end. NaN falls in the first
    # one.
    below = np.clip(np.searchsorted(rows[:, 0], held, side="right") - 1, 0, len(rows) - 2)
    weight = (held - rows[below, 0]) / (rows[below + 1, 0] - rows[below, 0])

    def unit_peak(row: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> FloatArray:
        c0, c1, c2 = rows[row, 1], rows[row, 2], rows[row, 3]
        return np.asarray(10.0 ** (c0 + c1 * log_tc + c2 * log_tc**2))

    return np.asarray((1.0 - weight) * unit_peak(below) + weight * unit_peak(below + 1))


def pond_factor(pond_fraction: ArrayLike) -> FloatArray:
    """Pond and swamp factor Fp (TR-55 table 4-2), linear between rows, held beyond 5 %.

    Arrays broadcast.
    """
    table = data_file("tr55_graphical.toml")["pond"]
    return np.asarray(np.interp(100.0 * floats(pond_fraction), table["percent"], table["factor"]))


def ia_over_p_range(storm_type: str) -> tuple[float, float]:
    """Return the lowest and highest Ia/P of the table for a storm type."""
    rows = _coefficients(storm_type)
    return float(rows[0, 0]), float(rows[-1, 0])


def storm_types() -> tuple[str, ...]:
    """Return the storm types of the table."""
    return tuple(data_file("tr55_graphical.toml")["storm_types"])


@functools.cache
def _coefficients(storm_type: str) -> FloatArray:
    tables = data_file("tr55_graphical.toml")["storm_types"]
    if storm_type not in tables:
        raise FloodInputError(
            f"storm type '{storm_type}'",
            expected=f"one of {', '.join(tables)} (type II covers most of the inland West)",
        )
    return frozen(tables[storm_type])
