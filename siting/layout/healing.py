"""Reaches that may be healing by themselves: cut, with a bench in the cut. No series goes there.

A channel that fills again builds a new floor inside its old cut (stages 4 and 5 of
`siting.channels.channel_classes`). One elevation raster shows the bench, not whether it grows: such
a reach is listed with what speaks for it, to be looked at before anything is built.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.channels.channel_reading import ChannelReading
from siting.channels.ground import Ground
from siting.channels.reach_settings import CUT_SETTINGS
from siting.values.wording import counted, figures, hectares, metres, percent
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: From this stage of incision on a channel may be filling, or have come to rest.
HEALING_STAGE = 4
#: Stations to each side that decide together, since single sections take noise for a bench.
AROUND = 2
#: Share of them, of those whose stage is known, that must show a bench.
MOST = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class HealingReach:
    """A stretch of channel that shows signs of filling again.

    Parameters
    ----------
    reach, low_m, high_m
        Reach of the network, and metres up it from its lower end, of the stretch's ends.
    x_m, y_m
        Its stations from the lower end up, shape ``(k,)``.
    stage, confidence
        Usual stage of incision there, 4 or 5, and how sure it is (0 to 1; never above 0.7).
    benches
        Stations that show a bench.
    bench_m, bank_depth_m, bank_width_m, slope
        Height of the bench above the bed, depth and width of the cut, bed slope: medians.
    drainage_area_ha
        Land that drains to its lower end.
    """

    reach: int
    low_m: float
    high_m: float
    x_m: FloatArray
    y_m: FloatArray
    stage: int
    confidence: float
    benches: int
    bench_m: float
    bank_depth_m: float
    bank_width_m: float
    slope: float
    drainage_area_ha: float

    @property
    def length_m(self) -> float:
        """Its length along the channel."""
        return self.high_m - self.low_m

    @property
    def evidence(self) -> str:
        """What speaks for it, and what a raster cannot tell, in sentences."""
        bench = f"{metres(self.bench_m)} above the bed" if np.isfinite(self.bench_m) else "low"
        rest = "; the new floor is wide" if self.stage > HEALING_STAGE else ""
        return (
            f"Stage {self.stage} of 5, confidence {self.confidence:.2f}: over "
            f"{metres(self.length_m)} {self.benches} of {counted(self.x_m.size, 'section')} show a "
            f"bench, {bench}, inside a cut {metres(self.bank_depth_m)} deep and "
            f"{metres(self.bank_width_m)} wide{rest}. The bed falls {percent(self.slope)}; "
            f"{hectares(self.drainage_area_ha)} drain to it. One raster cannot prove that it "
            "fills: look for grass on bench and bed, for fresh banks, for a bed of fine sediment. "
            "Where it fills, leave it alone and treat only heads in it or below it; where it still "
            "cuts, screen again with a newer raster or plan a series on site."
        )


def healing_stations(ground: Ground, reading: ChannelReading) -> BoolArray:
    """Which of the ground's stations lie where the cut mostly shows a bench, ``(m,)``."""
    known = reading.stage > 1
    bench = reading.stage >= HEALING_STAGE
    ways = [np.arange(known.size)]
    for step in (ground.station_below, ground.station_above):
        at = np.arange(known.size)
        for _ in range(AROUND):
            at = np.where(at >= 0, step[at], -1)
            ways.append(at)
    table = np.stack(ways)
    there = (table >= 0) & known[np.maximum(table, 0)]
    shown = there & bench[np.maximum(table, 0)]
    share = shown.sum(axis=0) / np.maximum(there.sum(axis=0), 1)
    cut = np.isin(reading.setting, CUT_SETTINGS)
    return np.asarray(cut & (share >= MOST) & known)


def healing_reaches(
    ground: Ground, reading: ChannelReading, stations: BoolArray
) -> tuple[HealingReach, ...]:
    """Put healing stations together into stretches, each at least as long as a series has to be.

    Parameters
    ----------
    ground, reading
        Terrain, and channels as read at its stations.
    stations
        Which of them to look at, ``(m,)``.
    """
    s = ground.stations
    at = np.flatnonzero(stations)
    if not at.size:
        return ()
    cuts = np.flatnonzero((np.diff(at) > 2) | (np.diff(s.reach[at]) != 0)) + 1
    least = ground.rules.value("series.length")
    runs = [r for r in np.split(at, cuts) if s.station_m[r[-1]] - s.station_m[r[0]] >= least]
    return tuple(_of_run(ground, reading, run) for run in runs)


def _of_run(ground: Ground, reading: ChannelReading, run: IntArray) -> HealingReach:
    s = ground.stations
    stage = reading.stage[run]
    filling, settled = (int(np.count_nonzero(stage == k)) for k in (4, 5))
    usual = 5 if settled > filling else 4
    shown = run[stage >= HEALING_STAGE]
    bench = reading.bankfull.bench_m[shown]
    bench = bench[np.isfinite(bench)]
    return HealingReach(
        reach=int(s.reach[run[0]]),
        low_m=float(s.station_m[run[0]]),
        high_m=float(s.station_m[run[-1]]),
        x_m=s.x_m[run],
        y_m=s.y_m[run],
        stage=usual,
        confidence=float(np.median(reading.stage_confidence[run[stage == usual]])),
        benches=int(shown.size),
        bench_m=float(np.median(bench)) if bench.size else np.nan,
        bank_depth_m=float(np.nanmedian(s.bank_depth_m[run])),
        bank_width_m=float(np.nanmedian(s.bank_width_m[run])),
        slope=float(np.median(s.slope[run])),
        drainage_area_ha=float(s.drainage_area_ha[run[0]]),
    )


def healing_note(found: tuple[HealingReach, ...]) -> str:
    """Say how much of it there is; empty without any."""
    if not found:
        return ""
    length = sum(reach.length_m for reach in found)
    return (
        f"Look first: {counted(len(found), 'reach', 'reaches')}, {metres(length)} of channel in "
        f"all, {'shows' if len(found) == 1 else 'show'} a bench in the cut and may be filling "
        "again. No series is proposed there; the layer look_first has the evidence of each "
        f"(stage confidence up to {figures(max(r.confidence for r in found))} of 1)."
    )
