"""Stations that are measured together, so that choosing among them is quick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siting.layout.measuring import Measured, SpotMaker
from siting.places.spot import Spot
from siting.structures.structure_type import Check
from terrain.values.arrays import IntArray


@dataclass(frozen=True, slots=True, eq=False)
class StationSurvey:
    """Measures at some of a ground's stations.

    Parameters
    ----------
    maker
        Measured them.
    station
        Their numbers, rising, shape ``(n,)``.
    measured, keep
        What was measured, and what they are too near to.
    """

    maker: SpotMaker
    station: IntArray
    measured: Measured
    keep: list[tuple[Check, ...]]

    @classmethod
    def of(cls, maker: SpotMaker, stations: ArrayLike) -> StationSurvey:
        """Measure stations, each once."""
        station = np.unique(np.asarray(stations, dtype=np.int64))
        cells = maker.ground.stations.cell[station]
        return cls(maker, station, maker.measure(cells), maker.keep_off(cells))

    def rows(self, stations: IntArray) -> IntArray:
        """Rows of those of some stations that were measured, in rising order."""
        return np.flatnonzero(np.isin(self.station, stations))

    def row(self, station: int) -> int:
        """Row of a station that was measured."""
        return int(np.searchsorted(self.station, station))

    def clear(self, row: int) -> bool:
        """Whether nothing that structures keep off is too near."""
        return all(check.passed for check in self.keep[row])

    def spot(self, row: int, *, purpose: str, opens: bool = False) -> Spot:
        """A measured station as a spot that asks for a structure."""
        slope = float(self.maker.ground.stations.slope[self.station[row]])
        return self.maker.spot(self.measured, row, purpose=purpose, slope=slope, opens=opens)
