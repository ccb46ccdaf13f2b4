"""Depth of a flow in a bed, and the width of a bed, where no section shows them."""

from __future__ import annotations

import numpy as np

from siting.hydraulics.open_channel import LOWEST_SLOPE
from terrain.values.arrays import FloatArray

#: A bed is taken to be at most this many times as wide as the regional curve's channel: wider banks
#: are those of the valley (common practice, no published source).
WIDEST_BED = 4.0
#: Least bed width as a share of the bank-top width (common practice, no published source).
LEAST_BED_SHARE = 0.25


def manning_depth_m(
    flow_m3s: FloatArray,
    width_m: FloatArray,
    slope: FloatArray,
    *,
    roughness: float,
) -> FloatArray:
    """Depth of a flow in a wide rectangular bed by Manning's equation, m.

    d = (Q n / (w s^0.5))^0.6; NaN where the flow is not known.
    """
    steep = np.sqrt(np.maximum(slope, LOWEST_SLOPE))
    depth: FloatArray = (np.maximum(flow_m3s, 0.0) * roughness / (width_m * steep)) ** 0.6
    return np.where(np.isfinite(flow_m3s), depth, np.nan)


def bed_width_m(
    bank_width_m: FloatArray, bank_depth_m: FloatArray, curve_width_m: FloatArray
) -> FloatArray:
    """Width of the bed: banks of 1 to 1 taken off the bank-top width (common practice)."""
    bed = np.maximum(bank_width_m - 2 * bank_depth_m, LEAST_BED_SHARE * bank_width_m)
    return np.where(np.isfinite(bed), np.minimum(bed, WIDEST_BED * curve_width_m), curve_width_m)
