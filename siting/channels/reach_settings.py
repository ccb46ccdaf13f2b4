"""Settings of reaches: what kind of channel a station lies in."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.ground import Ground
from terrain.channels.sections import RESOLVED_CELLS
from terrain.values.arrays import BoolArray, FloatArray, IntArray

SETTINGS = (
    "swale",
    "discontinuous gully",
    "incised channel",
    "widening reach",
    "fan",
    "wet-meadow candidate",
    "",
)
#: Settings whose shape is that of a swale: what leaves the low banks spreads on the floor.
SWALES = ("swale", "wet-meadow candidate")
#: Settings of channels that are cut into their floor.
CUT_SETTINGS = ("discontinuous gully", "incised channel", "widening reach")
# All of these: common practice, no published source.
#: Banks from this height on may make a cut channel; lower ones, a swale.
CUT_DEPTH_M = 0.5
#: Deeper, what is measured are a valley's sides and not the banks of a channel (the largest class
#: of gullies of the FAO begins there, from memory).
DEEPEST_CUT_M = 5.0
#: A channel this wide and `CUT_DEPTH_M` deep shows in a cell as a notch of their product over the
#: cell's size: where that is less than the height of a swale's floor, cells hide it (arithmetic).
HIDDEN_WIDTH_M = 0.5
#: A hollow this many times as wide as deep has no banks to speak of: a swale.
SWALE_RATIO = 10.0
#: A cut this deep whose bank-top width is this many times its depth widens.
WIDENING_DEPTH_M, WIDENING_RATIO = 0.8, 7.0
#: Banks that fade out downwards are in the lower half of a cut at most this much of the upper's.
FADING = 1.1
#: A headcut belongs to the cut below it when it lies up to this far above the cut's upper end, m.
HEAD_REACH_M = 20.0
#: A gully drops its sediment from this far below its end on, down to that far, m, where no side
#: stands higher than that.
FAN_FROM_M, FAN_TO_M, OPEN_DEPTH_M = 10.0, 48.0, 0.42
#: A wet meadow may lie where the floor falls less than this, is at least so wide and gets so much.
MEADOW_SLOPE, MEADOW_WIDTH_M, MEADOW_AREA_HA = 0.02, 20.0, 10.0


def station_settings(ground: Ground) -> NDArray[Any]:
    """Name the setting of every station, ``(m,)``.

    '' where a valley hides the channel, or the cells do: what shows no banks is a swale only where
    its floor is seen to be wide.
    """
    s = ground.stations
    out = np.where(_seen_as_swale(ground), "swale", "").astype(object)
    if not s.size:
        return out
    depth = steady_depth(ground)
    wide = np.where(np.isfinite(s.bank_width_m), s.bank_width_m, 0.0)
    cut = (depth >= CUT_DEPTH_M) & (wide <= SWALE_RATIO * depth)
    heads = _head_stations(ground)
    out[depth > DEEPEST_CUT_M] = ""
    cut &= depth <= DEEPEST_CUT_M
    out[s.is_fan & ~cut] = "fan"
    for run in cut_runs(ground, cut):
        out[run] = _cut_setting(ground, run, depth, heads)
        if out[run[0]] == "discontinuous gully":
            toe = _below(ground, int(run[0]), FAN_FROM_M, FAN_TO_M)
            # a gully that soon starts anew has no room for one
            if toe.size and not cut[toe].any() and depth[toe].mean() <= OPEN_DEPTH_M:
                out[toe] = "fan"
    return out


def agreed(
    setting: NDArray[Any], stage: IntArray, confidence: FloatArray
) -> tuple[NDArray[Any], IntArray, FloatArray]:
    """Settings and stages of n places that do not contradict each other, ``(n,)`` each.

    The setting is told by a stretch, the stage by one section. A swale is not cut, and stages say
    nothing of a fan; a cut channel is not "not cut"; a widening reach does not deepen only, and one
    with a bench is an incised channel that may be filling, whatever its width.
    """
    stage, confidence = stage.copy(), confidence.copy()
    setting = setting.copy()
    swale, cut = np.isin(setting, SWALES), np.isin(setting, CUT_SETTINGS)
    stage[swale & (stage > 1)] = 1
    unknown = ((setting == "fan") & (stage > 1)) | (cut & (stage == 1))
    stage[unknown], confidence[unknown] = 0, 0.0
    widening = setting == "widening reach"
    stage[widening & (stage == 2)] = 3
    setting[widening & (stage > 3)] = "incised channel"
    return setting, stage, confidence


def _seen_as_swale(ground: Ground) -> BoolArray:
    """Stations whose shape may be that of a swale, and hides no narrow channel."""
    s, cell_m = ground.stations, ground.raster.grid.cell_m
    hides = CUT_DEPTH_M * HIDDEN_WIDTH_M / cell_m < ground.rules.value("swale.floor_height")
    banks = np.isfinite(s.bank_width_m) & s.width_resolved
    if hides:
        return banks
    with np.errstate(invalid="ignore"):
        wide: BoolArray = banks | (ground.low_width_m >= RESOLVED_CELLS * cell_m)
    return wide


def steady_depth(ground: Ground) -> FloatArray:
    """Bank depth as the median of five stations in a row, ``(m,)``; 0 where no bank is seen."""
    depth = np.nan_to_num(ground.stations.bank_depth_m)
    ways = [np.arange(depth.size)]
    for step in (ground.station_below, ground.station_above):
        at = np.arange(depth.size)
        for _ in range(2):
            at = np.where((at >= 0) & (step[at] >= 0), step[at], at)
            ways.append(at)
    return np.asarray(np.median(depth[np.stack(ways)], axis=0))


def cut_runs(ground: Ground, cut: BoolArray) -> list[IntArray]:
    """Runs of cut stations, of all ``(m,)``, along the ways of the water, from the lower end up."""
    above = ground.station_above
    below = ground.station_below
    # a run starts where the next one down is not cut, or follows another channel up
    start = cut.copy()
    has = np.flatnonzero(cut & (below >= 0))
    start[has] = ~(cut[below[has]] & (above[below[has]] == has))
    runs = []
    for i in np.flatnonzero(start):
        run = [int(i)]
        while above[run[-1]] >= 0 and cut[above[run[-1]]]:
            run.append(int(above[run[-1]]))
        runs.append(np.array(run, dtype=np.int64))
    return runs


def _cut_setting(ground: Ground, run: IntArray, depth: FloatArray, heads: BoolArray) -> str:
    """Name a run of cut stations.

    A discontinuous gully has a headcut, and a bed no steeper than its valley's floor: its banks
    grow lower down the valley until it comes out on the floor.
    """
    s = ground.stations
    above = run
    for i in _walk(ground.station_above, int(run[-1]), HEAD_REACH_M, ground):
        above = np.append(above, i)
    below = ground.station_below[run[0]]
    middle = (run.size + 1) // 2
    fades = depth[run[:middle]].mean() <= FADING * depth[run[-middle:]].mean()
    comes_out = below < 0 or _comes_out(ground, int(run[0]), int(below))
    if heads[above].any() and fades and comes_out:
        return "discontinuous gully"
    known = np.isfinite(s.bank_width_m[run]) & (s.bank_depth_m[run] >= WIDENING_DEPTH_M)
    at = run[known]
    if at.size and np.median(s.bank_width_m[at] / s.bank_depth_m[at]) >= WIDENING_RATIO:
        return "widening reach"
    return "incised channel"


def _comes_out(ground: Ground, lowest: int, below: int) -> bool:
    """Whether a cut ends on its own way down, not in a deeper channel that it joins."""
    return int(ground.station_above[below]) == lowest


def _head_stations(ground: Ground) -> BoolArray:
    """Stations nearest to a sure headcut."""
    heads = ground.headcuts
    sure = heads.confidence >= ground.rules.value("measuring.least_confidence")
    near = ground.station_near(heads.reach[sure], heads.station_m[sure])
    out = np.zeros(ground.stations.size, dtype=np.bool_)
    out[near[near >= 0]] = True
    return out


def _walk(step: IntArray, start: int, length_m: float, ground: Ground) -> list[int]:
    """Stations met on the way from one, up to a distance."""
    s = ground.stations
    out: list[int] = []
    at, far = start, 0.0
    while step[at] >= 0:
        to = int(step[at])
        far += float(np.hypot(s.x_m[to] - s.x_m[at], s.y_m[to] - s.y_m[at]))
        if far > length_m:
            break
        out.append(to)
        at = to
    return out


def _below(ground: Ground, start: int, first_m: float, last_m: float) -> IntArray:
    """Stations down the way of the water between two distances from one."""
    near = len(_walk(ground.station_below, start, first_m, ground))
    way = _walk(ground.station_below, start, last_m, ground)
    return np.array(way[near:], dtype=np.int64)
