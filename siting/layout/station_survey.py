"""Stations that are measured together, so that choosing among them is quick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siting.layout.measuring import Trials
from siting.places.measured_places import Measured
from siting.places.spot import Spot, Task
from siting.structures.decisions import Decision
from siting.structures.structure_type import Check
from terrain.values.arrays import IntArray


@dataclass(frozen=True, slots=True, eq=False)
class StationSurvey:
    """Measures at some of a ground's stations.

    Parameters
    ----------
    trials
        Measured them.
    station
        Their numbers, rising, shape ``(n,)``.
    measured, keep
        What was measured, and what they are too near to.
    """

    trials: Trials
    station: IntArray
    measured: Measured
    keep: list[tuple[Check, ...]]

    @classmethod
    def of(cls, trials: Trials, stations: ArrayLike) -> StationSurvey:
        """Measure stations, each once."""
        station = np.unique(np.asarray(stations, dtype=np.int64))
        cells = trials.ground.stations.cell[station]
        return cls(trials, station, trials.measure(cells), trials.keep_off(cells))

    def rows(self, stations: IntArray) -> IntArray:
        """Rows of those of some stations that were measured, in rising order."""
        return np.flatnonzero(np.isin(self.station, stations))

    def row(self, station: int) -> int:
        """Row of a station that was measured."""
        return int(np.searchsorted(self.station, station))

    def slope(self, row: int) -> float:
        """Bed slope at a measured station, m per m."""
        return float(self.measured.slopes.here[row])

    def clear(self, row: int) -> bool:
        """Whether nothing that structures keep off is too near."""
        return all(check.passed for check in self.keep[row])

    def spot(self, row: int, task: Task, *, floor_m: float = np.nan) -> Spot:
        """A measured station as a spot that asks for a structure."""
        return self.trials.meter.spot(self.measured, row, task, floor_m=floor_m)

    def decide(self, spot: Spot) -> Decision:
        """Let the types choose there."""
        return self.trials.decide(spot)
