"""Tables of floods for the plan: every method at every site, what they were given, the rain."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.bankfull_curves import bankfull_geometry
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.floods.rainfall import Rainfall
from siting.places.flood_land import BASIN_COLUMNS
from siting.places.site_floods import FloodSettings, SiteFloods
from siting.values.columns import Columns
from terrain.values.arrays import BoolArray, floats


def flood_columns(floods: SiteFloods) -> Columns:
    """Rows of the table ``floods``: site by site, method by method, by return period.

    Without rainfall, curve numbers or regions there is none.
    """
    found = floods.compared
    n, m, p = found.q_m3s.shape
    if not (found.used >= 0).any():
        n = 0
    used = found.used[:n, None] == np.arange(m)

    def each(values: NDArray[Any]) -> NDArray[Any]:
        """One value a row from one a site and method."""
        return np.repeat(values[:n].reshape(-1), p)

    return {
        "site_id": np.repeat(np.arange(1, n + 1), m * p),
        "method": each(found.name),
        "return_period_yr": np.tile(np.array(RETURN_PERIODS_YR, dtype=np.int64), n * m),
        "q_m3s": found.q_m3s[:n].reshape(-1),
        "low_m3s": found.low_m3s[:n].reshape(-1),
        "high_m3s": found.high_m3s[:n].reshape(-1),
        "range_from": found.range_from[:n].reshape(-1),
        "dry_m3s": found.dry_m3s[:n].reshape(-1),
        "wet_m3s": found.wet_m3s[:n].reshape(-1),
        "limits_met": found.limits_met[:n].reshape(-1),
        "used": np.repeat(used.reshape(-1), p),
        "note": found.note[:n].reshape(-1),
        "source": each(found.source),
    }


def input_columns(
    floods: SiteFloods,
    settings: FloodSettings,
    *,
    drainage_area_ha: NDArray[np.floating[Any]],
    area_complete: BoolArray,
) -> Columns:
    """Rows of the table ``flood_inputs``: what the methods were given, one row a site."""
    n, area_ha = drainage_area_ha.size, floats(drainage_area_ha)
    time = floods.time
    curve = bankfull_geometry(area_ha, division=settings.division)
    shares = settings.regional.regions
    regions = ", ".join(f"{name} {share:g}" for name, share in shares.items()) or None
    if len(shares) == 1:
        regions = next(iter(shares))
    basin = {name: floods.basin[:, i] for i, name in enumerate(BASIN_COLUMNS)}
    return {
        "site_id": np.arange(1, n + 1),
        "drainage_area_ha": area_ha,
        "area_complete": area_complete,
        "curve_number": floods.curve_number,
        "mean_slope": floods.mean_slope,
        "flow_path_m": floods.flow_path_m,
        "path_slope": time.path_slope,
        "tc_h": time.used_h,
        "tc_method": _texts(list(time.told())),
        "tc_sheet_h": time.sheet_h,
        "tc_shallow_h": time.shallow_h,
        "tc_channel_h": time.channel_h,
        "tc_lag_h": time.lag_h,
        "tc_kirpich_h": time.kirpich_h,
        "hydraulic_radius_m": time.hydraulic_radius_m,
        "radius_source": time.section_source,
        "storm_type": _texts([settings.storm_type] * n),
        "pond_percent": np.full(n, 100.0 * settings.pond_fraction),
        "runoff_coefficient": floods.runoff_coefficient,
        "runoff10_m3": floods.runoff10_m3,
        "regions": _texts([regions] * n),
        **basin,
        "bankfull_division": _texts([settings.division] * n),
        "curve_width_m": curve.width_m,
        "curve_depth_m": curve.depth_m,
        "curve_area_m2": curve.area_m2,
        "curve_in_range": ~(curve.below_range | curve.above_range),
    }


def rain_columns(rainfall: Rainfall | None) -> Columns:
    """Rows of the table ``rainfall``: depth by duration and return period."""
    if rainfall is None:
        none = np.empty(0)
        return {
            "duration_h": none,
            "return_period_yr": none,
            "depth_mm": none,
            "low_mm": none,
            "high_mm": none,
            "source": _texts([]),
        }
    d, r = rainfall.depths_mm.shape
    bounds, unknown = rainfall.bounds, np.full(d * r, np.nan)
    return {
        "duration_h": np.repeat(rainfall.durations_h, r),
        "return_period_yr": np.tile(rainfall.return_periods_yr, d),
        "depth_mm": rainfall.depths_mm.reshape(-1),
        "low_mm": unknown if bounds is None else bounds.low_mm.reshape(-1),
        "high_mm": unknown if bounds is None else bounds.high_mm.reshape(-1),
        "source": _texts([rainfall.source] * (d * r)),
    }


def _texts(values: list[Any]) -> NDArray[Any]:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out
