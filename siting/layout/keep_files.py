"""Which files hold roads and what else structures keep away from."""

from __future__ import annotations

import os
from dataclasses import dataclass

from siting.layout.keep_clear import KeepClear, read_keep_clear
from terrain.values.grid import Grid


@dataclass(frozen=True, slots=True)
class KeepFiles:
    """Files of roads and of things to keep clear of; either may be absent.

    Parameters
    ----------
    roads, keep_clear
        Vector files.
    roads_layer, keep_clear_layer
        Layer to take where a file has several that would do.
    """

    roads: str | os.PathLike[str] | None = None
    keep_clear: str | os.PathLike[str] | None = None
    roads_layer: str | None = None
    keep_clear_layer: str | None = None

    def read(self, grid: Grid) -> KeepClear:
        """Read them into the coordinate system of a grid.

        Raises
        ------
        FeatureFileError
            A file cannot be used.
        """
        return read_keep_clear(
            self.roads,
            self.keep_clear,
            grid,
            roads_layer=self.roads_layer,
            keep_clear_layer=self.keep_clear_layer,
        )
