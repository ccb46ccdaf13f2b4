"""Bankfull: the flow that fills the channel the present stream keeps open.

Three estimates, none of which is sure in a gully: the bench inside the banks, the depth of the
2-year flow, and a regional curve. The lowest plausible one rules; where they differ more than
twofold it must be measured on site.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.bankfull_curves import bankfull_curve, bankfull_geometry
from siting.values.rules import Rules
from siting.values.us_units import HA_PER_KM2
from siting.values.wording import metres
from terrain.values.arrays import BoolArray, FloatArray, read_only

#: Names of the estimates, in the order in which equal ones are named.
SOURCES = ("bench", "flow", "curve")
#: Heights are given in steps of this many metres, downwards: stones come no finer.
HEIGHT_STEP_M = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Bankfull:
    """Bankfull size at n places; arrays of shape ``(n,)``.

    Parameters
    ----------
    depth_m, width_m
        Lowest plausible estimate, and the width that goes with it; NaN where there is none.
    bench_m
        Height of the bench above the bed; NaN where none is plain.
    flow_m
        Depth of the 2-year flow by Manning's equation; NaN where the flow is not known.
    curve_m
        Mean depth by the regional curve; NaN far below the areas it was fitted to.
    source
        ``bench``, ``flow``, ``curve`` or ``none``: where the depth comes from.
    sure
        Whether there is an estimate and all that there are agree within twofold.
    """

    depth_m: FloatArray
    width_m: FloatArray
    bench_m: FloatArray
    flow_m: FloatArray
    curve_m: FloatArray
    source: NDArray[Any]
    sure: BoolArray

    @property
    def low_m(self) -> FloatArray:
        """Lowest of the estimates; NaN where there is none."""
        known: FloatArray = np.fmin(np.fmin(self.bench_m, self.flow_m), self.curve_m)
        return known

    @property
    def high_m(self) -> FloatArray:
        """Highest of the estimates; NaN where there is none."""
        known: FloatArray = np.fmax(np.fmax(self.bench_m, self.flow_m), self.curve_m)
        return known

    def take(self, which: NDArray[Any]) -> Bankfull:
        """Return some of them."""
        return Bankfull(*(read_only(getattr(self, f.name)[which]) for f in fields(self)))


@dataclass(frozen=True, slots=True, eq=False)
class WidthDepth:
    """Width and depth of a channel up to some level at n places, ``(n,)``; NaN where not known."""

    width_m: FloatArray
    depth_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class HeightLimit:
    """How high a grade control may be at n places; arrays of shape ``(n,)``.

    Parameters
    ----------
    height_m
        Most that bankfull allows: a third of its depth in steps of 0.05 m, no more than the cap;
        the smallest height where it is not sure, 0 where a third of it is less than that. Whether
        the smallest stands all the same is for the banks to tell: see
        `siting.structures.grade_height`.
    measure_first
        True where bankfull must be measured on site before anything higher than the smallest.
    why
        The reason of that, in words; None for none.
    """

    height_m: FloatArray
    measure_first: BoolArray
    why: NDArray[Any]


def settle_bankfull(
    *,
    drainage_area_ha: FloatArray,
    banks: WidthDepth,
    bench: WidthDepth,
    flow: WidthDepth,
    rules: Rules,
    division: str = "usa",
) -> Bankfull:
    """Settle bankfull from its three estimates; arrays over places, ``(n,)``.

    Parameters
    ----------
    drainage_area_ha
        Drainage area, for the regional curve.
    banks
        Up to the bank tops, which bankfull never passes.
    bench
        Up to the bench, where one is plain.
    flow
        Of the flow of 1.5 to 2 years.
    rules
        Limits.
    division
        Division of the regional curve.
    """
    curve = bankfull_geometry(drainage_area_ha, division=division)
    lowest_ha = bankfull_curve(division).lowest_km2 * HA_PER_KM2
    in_reach = drainage_area_ha >= rules.value("grade_control.curve_reach") * lowest_ha
    with np.errstate(invalid="ignore"):
        flow_m = np.where(flow.depth_m > 0, flow.depth_m, np.nan)
    depths = np.stack([bench.depth_m, flow_m, np.where(in_reach, curve.depth_m, np.nan)])
    widths = np.stack([bench.width_m, flow.width_m, curve.width_m])
    known = np.isfinite(depths).any(axis=0)
    filled = np.where(np.isfinite(depths), depths, np.inf)
    lowest = filled.argmin(axis=0)
    at = np.arange(lowest.size)
    highest = np.where(np.isfinite(depths), depths, -np.inf).max(axis=0)
    with np.errstate(invalid="ignore"):
        agree = highest <= rules.value("grade_control.bankfull_agreement") * filled.min(axis=0)
    top, wide = (np.where(np.isfinite(a), a, np.inf) for a in (banks.depth_m, banks.width_m))
    source = np.where(known, np.array(SOURCES, dtype=object)[lowest], "none")
    values = (
        np.where(known, np.minimum(filled[lowest, at], top), np.nan),
        np.where(known, np.fmin(widths[lowest, at], wide), np.nan),
        *depths,
        source.astype(object),
        known & agree,
    )
    return Bankfull(*(read_only(np.ascontiguousarray(v)) for v in values))


def height_limit(
    bankfull: Bankfull, rules: Rules, *, bench_error_m: FloatArray | float = 0.0
) -> HeightLimit:
    """Return how high bankfull allows a grade control to be: a third of it at most.

    Parameters
    ----------
    bankfull
        Bankfull size.
    rules
        Limits.
    bench_error_m
        Error of a measured bench, one or ``(n,)``: its unfavourable end is what the limit sees.
    """
    smallest, cap = rules.low("grade_control.height"), rules.high("grade_control.height")
    known = np.isfinite(bankfull.depth_m)
    measured = np.where(bankfull.source == "bench", bench_error_m, 0.0)
    share = rules.value("grade_control.bankfull_share")
    # rounded to a micrometre, so that a third of 0.45 m is 0.15 m
    third = np.round((np.nan_to_num(bankfull.depth_m) - measured) * share, 6)
    low = known & (third < smallest)
    measure = ~bankfull.sure | low
    stepped = np.floor(third / HEIGHT_STEP_M + 1e-9) * HEIGHT_STEP_M
    no_higher = f"no higher than {metres(smallest)}"
    # the first that holds is told
    why = np.select(
        [~known, ~bankfull.sure, low],
        [
            f"Bankfull depth is not known here: {no_higher} until it is measured on site.",
            "Estimates of bankfull depth differ more than twofold: measure it on site; until "
            f"then {no_higher}.",
            f"A third of bankfull depth is less than {metres(smallest)}: {no_higher}, and measure "
            "bankfull on site.",
        ],
        default="",
    )
    return HeightLimit(
        height_m=read_only(
            np.where(bankfull.sure, np.where(low, 0.0, np.clip(stepped, smallest, cap)), smallest)
        ),
        measure_first=read_only(measure),
        why=read_only(np.array([w or None for w in why] + [None], dtype=object)[:-1]),
    )
