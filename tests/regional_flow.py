"""Flow of the regional equations in the units in which reports print it."""

import numpy as np

from siting.floods.flood_method import SiteFloodInputs
from siting.floods.regional import RegionalMethod

HA_PER_MI2, M3S_PER_CFS, M_PER_FT, MM_PER_INCH = 258.9988110336, 0.028316846592, 0.3048, 25.4


def flow_cfs(
    region: str | dict[str, float],
    years: float,
    *,
    area_mi2: float,
    elevation_ft: float = np.nan,
    slope: float = np.nan,
    precipitation_in: float = np.nan,
    **basin: float,
) -> float:
    """Flow of the method itself, from SI inputs back to the printed unit."""
    inputs = SiteFloodInputs(
        np.array([area_mi2 * HA_PER_MI2]),
        mean_slope=slope,
        regions={region: 1.0} if isinstance(region, str) else region,
        basin={
            "mean_elevation_m": elevation_ft * M_PER_FT,
            "mean_annual_precipitation_mm": precipitation_in * MM_PER_INCH,
            **basin,
        },
    )
    return float(RegionalMethod().peak_flow(inputs, years).value_m3s[0]) / M3S_PER_CFS
