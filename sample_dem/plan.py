"""What is planned along one channel, before it is carved."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sample_dem.carving import BED_STEP_M
from sample_dem.network import CentreLine


@dataclass(slots=True)
class PlannedHead:
    """A headcut as planned: the bed falls ``height_m`` over ``face_m`` below the lip."""

    channel: int
    lip_m: float
    height_m: float
    face_m: float
    pool_m: float
    kind: str


@dataclass(slots=True)
class Reach:
    """A stretch of one channel with one setting."""

    setting: str
    low_m: float
    high_m: float
    note: str = ""


@dataclass(slots=True)
class ChannelPlan:
    """Everything needed to carve one channel. Beds each ``BED_STEP_M``, other arrays each metre."""

    line: CentreLine
    floor: NDArray[np.float64]
    slope: NDArray[np.float64]
    depth: NDArray[np.float64]  # without the steps of the heads passed on the way up
    half_bed: NDArray[np.float64]
    bank_slope: NDArray[np.float64]
    bench_depth: NDArray[np.float64]
    bench_width: NDArray[np.float64]
    swale_half: NDArray[np.float64]
    swale_depth: NDArray[np.float64]
    fan_rise: NDArray[np.float64]
    fan_spread: NDArray[np.float64]
    ripple: NDArray[np.float64]  # pools and riffles, above the bed
    heads: list[PlannedHead] = field(default_factory=list)
    reaches: list[Reach] = field(default_factory=list)
    softened: list[PlannedHead] = field(default_factory=list)
    bed: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    gully: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def bed_at(self, station_m: float) -> float:
        """Bed elevation at a station."""
        return float(np.interp(station_m / BED_STEP_M, np.arange(self.bed.size), self.bed))
