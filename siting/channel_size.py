"""Width and depth of the channel at sites, and how high a grade control may be there.

The bank top and bankfull are kept apart: in a gully the bank stands several times higher than the
flow that keeps the inner channel open, and only that flow may set the height of a structure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.bankfull import height_limit, settle_bankfull
from siting.floods.bankfull import bankfull_geometry
from siting.floods.travel_time import CHANNEL_ROUGHNESS, LOWEST_SLOPE
from siting.rules import Rules

FloatArray = NDArray[np.floating[Any]]
BoolArray = NDArray[np.bool_]
#: A bed is taken to be at most this many times as wide as the regional curve's channel: wider banks
#: are those of the valley (common practice, no published source).
WIDEST_BED = 4.0
#: Least bed width as a share of the bank-top width (common practice, no published source).
LEAST_BED_SHARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class ChannelSize:
    """Size of the channel at n sites.

    Parameters
    ----------
    width_m, depth_m, width_source
        Bank-top width and depth where the elevations show them (``dem``); else the bankfull size
        of the regional curve (``curve``).
    bank_width_m, bank_depth_m
        Measured ones; NaN where the elevations do not show them.
    bankfull_width_m, bankfull_depth_m
        Lowest plausible estimate of the flow that fills the inner channel.
    bed_width_m
        Width of the bed between the feet of the banks.
    height_m
        Greatest height of a grade control, m: see `siting.bankfull.height_limit`.
    measure_first
        True where bankfull must be measured on site before anything higher than one stone.
    why
        The reason of that, in words; None for none.
    """

    width_m: FloatArray
    depth_m: FloatArray
    width_source: NDArray[Any]
    bank_width_m: FloatArray
    bank_depth_m: FloatArray
    bankfull_width_m: FloatArray
    bankfull_depth_m: FloatArray
    bed_width_m: FloatArray
    height_m: FloatArray
    measure_first: BoolArray
    why: NDArray[Any]


def channel_size(
    drainage_area_ha: FloatArray,
    *,
    slope: FloatArray,
    bank_width_m: FloatArray,
    bank_depth_m: FloatArray,
    q2_m3s: FloatArray,
    rules: Rules,
    division: str = "usa",
) -> ChannelSize:
    """Settle width, depth and the greatest height of a grade control; arrays over sites.

    Parameters
    ----------
    drainage_area_ha, slope
        Drainage area and bed slope.
    bank_width_m, bank_depth_m
        Bank-top size as measured; NaN where not resolved.
    q2_m3s
        Peak flow of the 2-year storm; NaN where not known.
    rules
        Limits.
    division
        Division of the regional curve.
    """
    curve = bankfull_geometry(drainage_area_ha, division=division)
    resolved = np.isfinite(bank_width_m) & np.isfinite(bank_depth_m)
    width, depth = (np.where(resolved, a, np.nan) for a in (bank_width_m, bank_depth_m))
    bed = bed_width_m(width, depth, curve.width_m)
    stage = manning_depth_m(q2_m3s, bed, slope)
    unknown = np.full(stage.shape, np.nan)
    bankfull = settle_bankfull(
        drainage_area_ha=drainage_area_ha,
        bank_width_m=width,
        bank_depth_m=depth,
        bench_m=unknown,
        bench_width_m=unknown,
        flow_m=stage,
        # sides of 1 to 1 rise from the bed
        flow_width_m=bed + 2 * np.nan_to_num(stage),
        rules=rules,
        division=division,
    )
    limit = height_limit(bankfull, rules)
    known = np.isfinite(bankfull.depth_m)
    return ChannelSize(
        width_m=np.where(resolved, width, curve.width_m),
        depth_m=np.where(resolved, depth, curve.depth_m),
        width_source=np.where(resolved, "dem", "curve").astype(object),
        bank_width_m=width,
        bank_depth_m=depth,
        bankfull_width_m=np.where(known, bankfull.width_m, np.fmin(curve.width_m, width)),
        bankfull_depth_m=np.where(known, bankfull.depth_m, np.fmin(curve.depth_m, depth)),
        bed_width_m=bed,
        height_m=limit.height_m,
        measure_first=limit.measure_first,
        why=limit.why,
    )


def manning_depth_m(
    flow_m3s: FloatArray,
    width_m: FloatArray,
    slope: FloatArray,
    *,
    roughness: float = CHANNEL_ROUGHNESS,
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
