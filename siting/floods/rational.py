"""Peak flow by the rational method, Q = C i A.

Source of the constants: Q = C i A / 360 in m3/s with i in mm/h and A in hectares (MPADD, University
of Maryland and Maryland State Highway Administration); usual limit 200 acres (80 ha), FHWA HEC-22,
from memory. Coefficients of `RURAL_COEFFICIENTS`: NRCS Hydrology Training Series, module 206D,
table 2.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from siting.floods.flood_method import (
    Flag,
    FloodEstimate,
    SiteFloodInputs,
    build_estimate,
    missing_flag,
    no_estimate,
)
from terrain.values.arrays import ArrayLike, FloatArray, floats

HIGHEST_AREA_HA: Final = 80.0

# C by cover, land slope class and soil: sandy loam, clay and silt loam, tight clay.
RURAL_COEFFICIENTS: Final = {
    "woodland": {
        "flat": (0.10, 0.30, 0.40),
        "rolling": (0.25, 0.35, 0.50),
        "hilly": (0.30, 0.50, 0.60),
    },
    "pasture": {
        "flat": (0.10, 0.30, 0.40),
        "rolling": (0.16, 0.36, 0.55),
        "hilly": (0.22, 0.42, 0.60),
    },
    "cultivated": {
        "flat": (0.30, 0.50, 0.60),
        "rolling": (0.40, 0.60, 0.70),
        "hilly": (0.52, 0.72, 0.82),
    },
}


class RationalMethod:
    """The rational method; a plug-in of ``gullywalk.flood_methods``."""

    name = "rational"
    title = "Rational method"
    source = "Q = C i A / 360; limit of 80 ha after FHWA HEC-22 (from memory)"
    limits = (
        "Drainage area up to 80 ha (200 acres), rain intensity at the time of concentration inside "
        "the rainfall table"
    )
    needs = ("drainage_area_ha", "time_of_concentration_h", "runoff_coefficient", "rainfall")

    def peak_flow(self, inputs: SiteFloodInputs, return_period_yr: float) -> FloodEstimate:
        """Peak flow in m3/s with the intensity at the time of concentration (see `FloodMethod`).

        Where the time of concentration is shorter than the shortest storm of the table, the
        intensity of that shortest storm is used, which is low; this is flagged as outside the
        limits.
        """
        rainfall = inputs.rainfall
        if rainfall is None:
            return no_estimate(
                self, inputs, return_period_yr, code="no_rain", why="No rainfall was given."
            )
        periods = rainfall.return_periods_yr
        if not rainfall.covers(
            duration_h=float(rainfall.durations_h[0]), return_period_yr=return_period_yr
        ):
            why = (
                f"The rainfall given covers {periods[0]:g} to {periods[-1]:g} years, not "
                f"{return_period_yr:g}, and nothing is guessed."
            )
            return no_estimate(self, inputs, return_period_yr, code="rain_not_covered", why=why)
        tc_h = inputs.array("time_of_concentration_h")
        shortest = float(rainfall.durations_h[0])
        duration_h = np.fmax(tc_h, shortest)
        depth_mm = rainfall.depths_mm_for(duration_h, return_period_yr=return_period_yr)
        value = rational_peak_m3s(
            inputs.drainage_area_ha,
            intensity_mm_h=depth_mm / duration_h,
            runoff_coefficient=inputs.array("runoff_coefficient"),
        )
        value = np.where(np.isnan(tc_h), np.nan, value)
        flags = (
            missing_flag(inputs, ("time_of_concentration_h", "runoff_coefficient")),
            Flag(
                "area_large",
                "The drainage area is over 80 ha (200 acres).",
                inputs.drainage_area_ha > HIGHEST_AREA_HA,
            ),
            Flag(
                "storm_short",
                "The rainfall table has no storm as short as the time of concentration: the "
                f"intensity of {shortest * 60:,.0f} minutes was used, which is low.",
                tc_h < shortest * (1 - 1e-9),
            ),
            Flag(
                "storm_long",
                "The rainfall table has no storm as long as the time of concentration.",
                tc_h > rainfall.durations_h[-1],
            ),
        )
        return build_estimate(self, inputs, return_period_yr, value_m3s=value, flags=flags)


def rational_peak_m3s(
    drainage_area_ha: ArrayLike, *, intensity_mm_h: ArrayLike, runoff_coefficient: ArrayLike
) -> FloatArray:
    """Peak flow in m3/s: C i A / 360 with i in mm/h and A in hectares. Arrays broadcast."""
    return floats(runoff_coefficient) * floats(intensity_mm_h) * floats(drainage_area_ha) / 360.0
