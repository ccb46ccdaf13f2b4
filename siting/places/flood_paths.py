"""Time of concentration of sites, three ways, from their longest flow paths.

The segments of TR-55 (sheet, shallow and channel flow) are used; the lag equation and Kirpich's
stand beside them as checks.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.bankfull_curves import bankfull_geometry
from siting.floods.rainfall import Rainfall
from siting.floods.travel_time import (
    LAG_PER_TC,
    RANGE_SHEET_ROUGHNESS,
    FlowPath,
    kirpich_h,
    nrcs_lag_h,
    time_of_concentration,
)
from siting.hydraulics.open_channel import LOWEST_SLOPE
from terrain.channels.drainage_areas import SHEET_FLOW_M, WaySegments
from terrain.channels.sections import SectionMeasures
from terrain.values.arrays import FloatArray

STORM_H = 24.0
BY_SEGMENTS, BY_LAG, UNKNOWN = "segments", "lag", ""
#: What is said where no way gives a time.
NOT_KNOWN = "not known"
_TOLD = {
    BY_SEGMENTS: "travel time along the longest flow path (TR-55 chapter 3): sheet flow up to "
    f"{SHEET_FLOW_M:g} m with range roughness {RANGE_SHEET_ROUGHNESS:g}, shallow flow, channel by "
    "Manning with roughness {roughness:g}",
    BY_LAG: "the NRCS lag equation, since sheet flow needs the 2-year 24-hour rain, which was not "
    "given",
    UNKNOWN: NOT_KNOWN,
}
#: Least bed width as a share of the bank-top width (common practice, no published source).
_LEAST_BED_SHARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Concentration:
    """How long water takes to n sites; hours, NaN where not known.

    Parameters
    ----------
    used_h, method
        The time that the flood methods use, and which of the three it is.
    sheet_h, shallow_h, channel_h
        Its segments.
    channel_roughness
        Manning's n of the channel segment.
    lag_h, kirpich_h
        Time of concentration by the NRCS lag equation (lag over 0.6) and by Kirpich's.
    path_slope
        Fall of the whole path over its length.
    hydraulic_radius_m, section_source
        Hydraulic radius of the channel when it runs bankfull, and whether its width is from the
        elevations (``dem``) or from the regional curve (``curve``).
    slope_raised
        Where a slope under 0.001 was raised to it.
    """

    used_h: FloatArray
    method: NDArray[Any]
    sheet_h: FloatArray
    shallow_h: FloatArray
    channel_h: FloatArray
    channel_roughness: FloatArray
    lag_h: FloatArray
    kirpich_h: FloatArray
    path_slope: FloatArray
    hydraulic_radius_m: FloatArray
    section_source: NDArray[Any]
    slope_raised: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """Number of sites."""
        return int(self.used_h.size)

    def told(self) -> tuple[str, ...]:
        """What the time used is, for people, one text a site."""
        return tuple(
            _TOLD[str(method)].format(roughness=n)
            for method, n in zip(self.method, self.channel_roughness, strict=True)
        )

    def __post_init__(self) -> None:
        for f in fields(self):
            getattr(self, f.name).flags.writeable = False


def concentration(
    ways: WaySegments,
    *,
    drainage_area_ha: FloatArray,
    mean_slope: FloatArray,
    curve_number: FloatArray,
    rainfall: Rainfall | None,
    roughness: float,
    sections: SectionMeasures | None = None,
    division: str = "usa",
) -> Concentration:
    """Time of concentration of n sites.

    Parameters
    ----------
    ways
        Longest flow paths.
    drainage_area_ha, mean_slope, curve_number
        Of each site; the curve number may be NaN.
    rainfall
        Sheet flow needs its 2-year 24-hour depth; without it the lag equation is used.
    roughness
        Manning's n of the channels.
    sections
        Channel sections measured at the sites.
    division
        Division of the regional bankfull curve.
    """
    n = drainage_area_ha.size
    nan = np.full(n, np.nan)
    radius, source = _bankfull_radius_m(drainage_area_ha, sections, division)
    path_m = ways.flow_path_m
    fall_m = ways.sheet_fall_m + ways.shallow_fall_m + ways.channel_fall_m
    path_slope = _slope(fall_m, path_m)
    lag = (
        nrcs_lag_h(
            path_m, curve_number=curve_number, mean_slope=np.maximum(mean_slope, LOWEST_SLOPE)
        )
        / LAG_PER_TC
    )
    kirpich = kirpich_h(path_m, np.maximum(path_slope, LOWEST_SLOPE))
    if n and rainfall is not None and rainfall.covers(duration_h=STORM_H, return_period_yr=2.0):
        travel = time_of_concentration(
            _flow_path(ways, radius),
            rain_2yr_24h_mm=rainfall.depth_mm(STORM_H, 2.0),
            channel_roughness=roughness,
        )
        used, raised = travel.total_h.copy(), travel.slope_raised.copy()
        parts = [v.copy() for v in (travel.sheet_h, travel.shallow_h, travel.channel_h)]
        method = np.full(n, BY_SEGMENTS, dtype=object)
    else:
        used, raised = lag.copy(), np.isfinite(lag) & (mean_slope < LOWEST_SLOPE)
        parts = [nan.copy() for _ in range(3)]
        method = np.where(np.isfinite(lag), BY_LAG, UNKNOWN).astype(object)
    # a site on the divide itself has no path: no time rather than zero
    used[~(used > 0)] = np.nan
    method[np.isnan(used)] = UNKNOWN
    return Concentration(
        used_h=used,
        method=method,
        sheet_h=parts[0],
        shallow_h=parts[1],
        channel_h=parts[2],
        channel_roughness=np.full(n, roughness),
        lag_h=lag,
        kirpich_h=kirpich,
        path_slope=path_slope,
        hydraulic_radius_m=radius,
        section_source=source,
        slope_raised=raised,
    )


def _bankfull_radius_m(
    drainage_area_ha: FloatArray, sections: SectionMeasures | None, division: str
) -> tuple[FloatArray, NDArray[Any]]:
    """Hydraulic radius of the channel when it runs bankfull, m, and where its width is from.

    TR-55 takes the bankfull section. Where the elevations show the banks, the bed between them
    counts, with sides of 1 to 1, filled to the depth of the regional curve or to the bank top,
    whichever is lower: a gully's bank top lies far above bankfull. Elsewhere the curve's own
    section counts.
    """
    curve = bankfull_geometry(drainage_area_ha, division=division)
    by_curve = curve.area_m2 / (curve.width_m + 2 * curve.depth_m)
    if sections is None:
        return np.array(by_curve), np.full(drainage_area_ha.size, "curve", dtype=object)
    width, depth = sections.bank_width_m, sections.bank_depth_m
    seen = sections.resolved & np.isfinite(width) & np.isfinite(depth) & (depth > 0)
    width, depth = np.where(seen, width, 1.0), np.where(seen, depth, 1.0)
    bed = np.maximum(width - 2 * depth, _LEAST_BED_SHARE * width)
    stage = np.minimum(depth, curve.depth_m)
    radius = (bed + stage) * stage / (bed + 2 * np.sqrt(2.0) * stage)
    return np.where(seen, radius, by_curve), np.where(seen, "dem", "curve").astype(object)


def _flow_path(ways: WaySegments, radius_m: FloatArray) -> FlowPath:
    """Segments as TR-55 takes them: what passes the longest sheet flow is shallow flow."""
    share = np.minimum(1.0, SHEET_FLOW_M / np.maximum(ways.sheet_length_m, 1e-9))
    sheet, sheet_fall = ways.sheet_length_m * share, ways.sheet_fall_m * share
    shallow = ways.shallow_length_m + ways.sheet_length_m - sheet
    shallow_fall = ways.shallow_fall_m + ways.sheet_fall_m - sheet_fall
    return FlowPath(
        sheet_length_m=sheet,
        sheet_slope=_slope(sheet_fall, sheet),
        shallow_length_m=shallow,
        shallow_slope=_slope(shallow_fall, shallow),
        channel_length_m=ways.channel_length_m,
        channel_slope=_slope(ways.channel_fall_m, ways.channel_length_m),
        channel_hydraulic_radius_m=radius_m,
    )


def _slope(fall_m: FloatArray, length_m: FloatArray) -> FloatArray:
    return np.divide(fall_m, length_m, out=np.zeros(fall_m.size), where=length_m > 0)
