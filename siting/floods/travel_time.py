"""How long water takes from the far end of a drainage area: time of concentration.

Three segments along the longest flow path, after TR-55 (1986) chapter 3: sheet flow over the first
metres, shallow concentrated flow, then the channel by Manning's equation. The lag equation of the
Natural Resources Conservation Service and Kirpich's equation stand beside it as checks. Everything
takes arrays over sites.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from siting.floods.flood_errors import FloodInputError
from siting.floods.runoff import retention_mm
from siting.hydraulics.open_channel import LOWEST_SLOPE
from siting.values.us_units import M_PER_FT, MM_PER_INCH
from terrain.values.arrays import ArrayLike, BoolArray, FloatArray, floats, frozen, frozen_mask

# 100 ft, the limit of later NRCS practice; TR-55 of 1986 allowed 300 ft, which is now held to be
# too long.
SHEET_FLOW_LIMIT_M: Final = 100.0 * M_PER_FT
# TR-55 table 3-1: natural range.
RANGE_SHEET_ROUGHNESS: Final = 0.13
# Tc = lag / 0.6 (National Engineering Handbook part 630 chapter 15).
LAG_PER_TC: Final = 0.6

# Velocity in ft/s over the square root of the slope (TR-55 appendix F, figure 3-1).
_UNPAVED_FT_S: Final = 16.1345
_PAVED_FT_S: Final = 20.3282


def sheet_flow_h(
    length_m: ArrayLike,
    slope: ArrayLike,
    *,
    rain_2yr_24h_mm: ArrayLike,
    roughness: ArrayLike = RANGE_SHEET_ROUGHNESS,
) -> FloatArray:
    """Travel time of sheet flow in hours (TR-55 equation 3-3, Manning's kinematic solution).

    Tt = 0.007 (n L)^0.8 / (P2^0.5 s^0.4), L in feet and P2, the 2-year 24-hour rain, in inches.
    Arrays broadcast.

    Raises
    ------
    FloodInputError
        For a negative length, a length above 30.5 m (100 ft), or a slope, roughness or rain not
        above 0.
    """
    length, s = _length(length_m, "sheet flow"), _positive(slope, "sheet-flow slope")
    n = _positive(roughness, "sheet-flow roughness")
    rain = _positive(rain_2yr_24h_mm, "2-year 24-hour rain")
    if (length > SHEET_FLOW_LIMIT_M * (1 + 1e-9)).any():
        raise FloodInputError(
            f"sheet flow over {length.max():.3g} m",
            expected="at most 30 m (100 ft): beyond that water gathers in rills",
            do="count the rest as shallow concentrated flow",
        )
    return 0.007 * (n * length / M_PER_FT) ** 0.8 / ((rain / MM_PER_INCH) ** 0.5 * s**0.4)


def shallow_velocity_m_s(slope: ArrayLike, *, paved: bool = False) -> FloatArray:
    """Velocity of shallow concentrated flow, m/s (TR-55 appendix F: 16.1345 s^0.5 ft/s unpaved).

    Arrays broadcast.
    """
    constant = _PAVED_FT_S if paved else _UNPAVED_FT_S
    return constant * M_PER_FT * np.sqrt(_positive(slope, "shallow-flow slope"))


def shallow_flow_h(length_m: ArrayLike, slope: ArrayLike, *, paved: bool = False) -> FloatArray:
    """Travel time of shallow concentrated flow in hours (TR-55 equation 3-1). Arrays broadcast."""
    length = _length(length_m, "shallow flow")
    return length / (3600.0 * shallow_velocity_m_s(slope, paved=paved))


def manning_velocity_m_s(
    hydraulic_radius_m: ArrayLike, slope: ArrayLike, *, roughness: ArrayLike
) -> FloatArray:
    """Mean velocity in m/s by Manning's equation, V = R^(2/3) s^(1/2) / n (TR-55 equation 3-4).

    Arrays broadcast.
    """
    radius = _positive(hydraulic_radius_m, "hydraulic radius")
    s, n = _positive(slope, "channel slope"), _positive(roughness, "channel roughness")
    return floats(radius ** (2.0 / 3.0) * np.sqrt(s) / n)


def channel_flow_h(
    length_m: ArrayLike,
    slope: ArrayLike,
    *,
    hydraulic_radius_m: ArrayLike,
    roughness: ArrayLike,
) -> FloatArray:
    """Travel time in a channel in hours (TR-55 equations 3-1 and 3-4). Arrays broadcast."""
    length = _length(length_m, "channel flow")
    velocity = manning_velocity_m_s(hydraulic_radius_m, slope, roughness=roughness)
    return length / (3600.0 * velocity)


def nrcs_lag_h(
    flow_path_m: ArrayLike, *, curve_number: ArrayLike, mean_slope: ArrayLike
) -> FloatArray:
    """Lag in hours by the NRCS watershed-lag equation; time of concentration is lag / 0.6.

    L = l^0.8 (S + 1)^0.7 / (1900 Y^0.5), l the longest flow path in feet, S the retention in
    inches, Y the mean land slope in per cent (National Engineering Handbook part 630 chapter 15).
    Arrays broadcast.
    """
    path = _length(flow_path_m, "the flow path") / M_PER_FT
    retention_in = retention_mm(curve_number) / MM_PER_INCH
    slope_pct = 100.0 * _positive(mean_slope, "mean land slope")
    lag: FloatArray = path**0.8 * (retention_in + 1.0) ** 0.7 / (1900.0 * np.sqrt(slope_pct))
    return lag


def kirpich_h(flow_path_m: ArrayLike, slope: ArrayLike) -> FloatArray:
    """Time of concentration in hours by Kirpich's equation.

    tc = 0.0078 L^0.77 S^-0.385 minutes, L in feet, S the fall of the path over its length (TxDOT
    Hydraulic Design Manual, equation 4-15). Fitted to small farmed basins; given as a check only.
    Arrays broadcast.
    """
    path = _length(flow_path_m, "the flow path") / M_PER_FT
    return 0.0078 * path**0.77 * _positive(slope, "path slope") ** -0.385 / 60.0


@dataclass(frozen=True, slots=True)
class FlowPath:
    """The longest flow path of each site, cut into three segments; arrays ``(n,)`` or scalars.

    Parameters
    ----------
    sheet_length_m, shallow_length_m, channel_length_m
        Length of each segment in metres; zero where a path has none. Sheet flow is at most 30.5 m.
    sheet_slope, shallow_slope, channel_slope
        Fall over length of each segment. Slopes under 0.001 are raised to it, and this is reported.
    channel_hydraulic_radius_m
        Hydraulic radius of the channel when it runs bank-full, in metres (TR-55 uses the bank-full
        section).
    """

    sheet_length_m: ArrayLike
    sheet_slope: ArrayLike
    shallow_length_m: ArrayLike
    shallow_slope: ArrayLike
    channel_length_m: ArrayLike
    channel_slope: ArrayLike
    channel_hydraulic_radius_m: ArrayLike


@dataclass(frozen=True, slots=True)
class TravelTime:
    """Travel time of each segment and their sum, in hours; arrays over sites, ``(n,)``."""

    sheet_h: FloatArray
    shallow_h: FloatArray
    channel_h: FloatArray
    total_h: FloatArray
    slope_raised: BoolArray


def time_of_concentration(
    path: FlowPath,
    *,
    rain_2yr_24h_mm: ArrayLike,
    channel_roughness: ArrayLike,
    sheet_roughness: ArrayLike = RANGE_SHEET_ROUGHNESS,
) -> TravelTime:
    """Time of concentration in hours along each site's longest flow path (TR-55 worksheet 3).

    Nothing is clamped here: the flow methods apply their own lower and upper bounds and say so.
    All are one or ``(n,)``, a value a site.

    Raises
    ------
    FloodInputError
        For impossible lengths, roughness or rain (see the segment functions).
    """
    sheet_slope, raised_sheet = _raise_slope(path.sheet_slope, path.sheet_length_m)
    shallow_slope, raised_shallow = _raise_slope(path.shallow_slope, path.shallow_length_m)
    channel_slope, raised_channel = _raise_slope(path.channel_slope, path.channel_length_m)
    sheet = sheet_flow_h(
        path.sheet_length_m,
        sheet_slope,
        rain_2yr_24h_mm=rain_2yr_24h_mm,
        roughness=sheet_roughness,
    )
    shallow = shallow_flow_h(path.shallow_length_m, shallow_slope)
    # A path that has no channel needs no hydraulic radius.
    no_channel = floats(path.channel_length_m) == 0
    channel = channel_flow_h(
        path.channel_length_m,
        channel_slope,
        hydraulic_radius_m=np.where(no_channel, 1.0, floats(path.channel_hydraulic_radius_m)),
        roughness=channel_roughness,
    )
    raised = raised_sheet | raised_shallow | raised_channel
    total = sheet + shallow + channel
    shape = total.shape
    return TravelTime(
        sheet_h=frozen(np.broadcast_to(sheet, shape)),
        shallow_h=frozen(np.broadcast_to(shallow, shape)),
        channel_h=frozen(np.broadcast_to(channel, shape)),
        total_h=frozen(total),
        slope_raised=frozen_mask(np.broadcast_to(raised, shape)),
    )


def _raise_slope(slope: ArrayLike, length_m: ArrayLike) -> tuple[FloatArray, BoolArray]:
    s, length = np.broadcast_arrays(floats(slope), floats(length_m))
    raised = (length > 0) & (s < LOWEST_SLOPE)
    return np.where((length == 0) | raised, np.fmax(s, LOWEST_SLOPE), s), raised


def _length(length_m: ArrayLike, what: str) -> FloatArray:
    length = floats(length_m)
    if (length < 0).any():
        raise FloodInputError(
            f"a length of {length[length < 0].flat[0]:g} m for {what}", expected="zero or more"
        )
    return length


def _positive(value: ArrayLike, what: str) -> FloatArray:
    values = floats(value)
    if (values <= 0).any():
        raise FloodInputError(
            f"a {what} of {values[values <= 0].flat[0]:g}", expected="a value above zero"
        )
    return values
