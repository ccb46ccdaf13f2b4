"""Everything known about the ground that the siting rules read: one value, passed along.

`Land` is enough for floods; `Ground` adds what was measured along the channels.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.channels.headcuts import Headcuts
from siting.channels.reaches import ReachStations, measure_at
from siting.channels.study_area import CutAreas
from siting.values.rules import Rules
from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import HECTARE_M2, ChannelNetwork
from terrain.channels.on_network import place_on_network
from terrain.channels.sections import SectionMeasures
from terrain.channels.typical_sections import stack_sections, widths_at
from terrain.flow.conditioning import Conditioned
from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.raster import Raster

#: Rise of the conditioned over the measured ground that means standing water, m.
WATER_M = 0.05
#: Stretch over which the direction of the flow is taken, m.
AZIMUTH_M = 8.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Land:
    """A ranch's terrain and where its water goes.

    Parameters
    ----------
    raster, conditioned, counts, network, catchments
        Terrain on one grid.
    cut
        Which drainage areas are cut off.
    rules
        Limits.
    ranch
        Cells inside the ranch, shape ``(rows, cols)``; None for the whole raster.
    """

    raster: Raster
    conditioned: Conditioned
    counts: NDArray[Any]
    network: ChannelNetwork
    catchments: Catchments
    cut: CutAreas
    rules: Rules
    ranch: BoolArray | None = None

    @classmethod
    def of(
        cls,
        conditioned: Conditioned,
        network: ChannelNetwork,
        *,
        raster: Raster,
        counts: NDArray[Any],
        rules: Rules,
        edge_is_divide: bool = False,
    ) -> Land:
        """Number the catchments of a network, and find those that are cut off.

        Parameters
        ----------
        conditioned, network, raster, counts, rules
            As above.
        edge_is_divide
            Take the raster's edge for a divide: nothing is cut off.
        """
        catchments = Catchments.of(conditioned.flow, counts)
        return Land(
            raster=raster,
            conditioned=conditioned,
            counts=counts,
            network=network,
            catchments=catchments,
            cut=CutAreas.of(catchments, edge_is_divide=edge_is_divide),
            rules=rules,
        )

    def area_ha(self, cells: IntArray) -> FloatArray:
        """Drainage area of cells, ha."""
        to_ha = self.raster.grid.cell_area_m2 / HECTARE_M2
        return np.asarray(self.counts.reshape(-1)[cells] * to_ha, dtype=np.float64)

    def inside(self, cells: IntArray) -> BoolArray:
        """Whether cells lie inside the ranch."""
        if self.ranch is None:
            return np.ones(np.shape(cells), dtype=np.bool_)
        inside: BoolArray = self.ranch.reshape(-1)[cells]
        return inside

    def under_water(self, cells: IntArray) -> BoolArray:
        """Whether conditioning had to fill cells: ponds and closed hollows."""
        raised = (
            self.conditioned.raster.elevation_m.reshape(-1)[cells]
            - self.raster.elevation_m.reshape(-1)[cells]
        )
        under: BoolArray = raised > WATER_M
        return under

    def near_dam(self, x_m: FloatArray, y_m: FloatArray) -> BoolArray:
        """Whether places lie close to a barrier that conditioning had to cut through."""
        near = np.zeros(x_m.shape, dtype=np.bool_)
        report = self.conditioned.report
        if not report.cut_cell.size or not x_m.size:
            return near
        reach = self.rules.value("keep_off.dam") + report.cut_length_m
        cut_x, cut_y = self.raster.grid.xy_of(report.cut_cell)
        tree = shapely.STRtree(shapely.points(x_m, y_m))
        circles = shapely.points(cut_x, cut_y)
        near[tree.query(circles, predicate="dwithin", distance=reach)[1]] = True
        return near

    def height_error_m(self, height_m: FloatArray | float) -> FloatArray:
        """Error of a measured drop or depth, m: its unfavourable end is what limits see."""
        least = self.rules.value("measuring.height_error_least") * max(1.0, self.raster.grid.cell_m)
        share = self.rules.value("measuring.height_error_share")
        return np.maximum(least, share * np.asarray(height_m, dtype=np.float64))

    def on_network(self, cells: IntArray) -> tuple[IntArray, FloatArray]:
        """Reach and station of cells: see `terrain.channels.on_network.place_on_network`."""
        return place_on_network(self.conditioned.flow, self.counts, self.network, cells)

    def azimuth_deg(self, cells: IntArray) -> FloatArray:
        """Direction of the flow over some metres from each cell on, clockwise from north."""
        grid = self.raster.grid
        way, walked = self.ways_down(cells, length_m=max(AZIMUTH_M, 3 * grid.cell_m))
        last = np.maximum(np.isfinite(walked).sum(axis=1) - 1, 0)
        x, y = grid.xy_of(cells)
        to_x, to_y = grid.xy_of(way[np.arange(cells.size), last])
        azimuth: FloatArray = np.degrees(np.arctan2(to_x - x, to_y - y)) % 360.0
        return azimuth

    def sections(self, cells: IntArray, azimuth_deg: FloatArray) -> SectionMeasures:
        """Measure the channel's section at cells."""
        x, y = self.raster.grid.xy_of(cells)
        return measure_at(self.raster, x, y, azimuth_deg)

    def ways_down(self, cells: IntArray, *, length_m: float) -> tuple[IntArray, FloatArray]:
        """Walk down from cells.

        Returns
        -------
        tuple
            Cells and walked distance, both of shape ``(n, steps)``; the first column is the cell
            itself, and -1 and infinity stand where water has left the raster.
        """
        flow = self.conditioned.flow
        steps = 2 + int(np.ceil(length_m / float(flow.step_m.min())))
        way = np.full((cells.size, steps), -1, dtype=np.int64)
        walked = np.full((cells.size, steps), np.inf)
        at = cells.astype(np.int64).copy()
        far = np.zeros(cells.size)
        for k in range(steps):
            there = at >= 0
            way[there, k], walked[there, k] = at[there], far[there]
            here = at[there]
            code = flow.codes.reshape(-1)[here]
            far[there] += flow.step_m[np.minimum(code, 7)]
            at[there] = flow.downstream(here)
        return way, walked


@dataclass(frozen=True, eq=False, kw_only=True)
class Ground(Land):
    """Land with what was measured along its channels.

    Parameters
    ----------
    headcuts, stations
        Headcuts, and measures at even steps up every reach.
    """

    headcuts: Headcuts
    stations: ReachStations

    @cached_property
    def low_width_m(self) -> FloatArray:
        """Width of the low ground of the typical section at each station, m; NaN for none."""
        s = self.stations
        stacks = stack_sections(self.raster, s.x_m, s.y_m, s.flow_azimuth_deg)
        low = np.full(s.size, self.rules.value("swale.floor_height"))
        return np.asarray(widths_at(stacks, low)[0])

    @cached_property
    def _station_start(self) -> IntArray:
        """First station of each reach, and the end; stations are sorted by reach, then place."""
        return np.searchsorted(self.stations.reach, np.arange(self.network.size + 1))

    @cached_property
    def station_below(self) -> IntArray:
        """Index of the next station down the same way; -1 where there is none."""
        reach, n = self.stations.reach, self.stations.size
        below = np.arange(n) - 1
        first = np.flatnonzero(np.diff(reach, prepend=-1) != 0)
        down = self.network.downstream[reach[first]]
        last = self._station_start[np.maximum(down, 0) + 1] - 1
        has = (down >= 0) & (last >= self._station_start[np.maximum(down, 0)])
        below[first] = np.where(has, last, -1)
        return below

    @cached_property
    def station_above(self) -> IntArray:
        """Index of the next station up, at junctions along the larger way; -1 for none."""
        s, n = self.stations, self.stations.size
        above = np.full(n, -1, dtype=np.int64)
        has = np.flatnonzero(self.station_below >= 0)
        # the largest comes last and stays
        order = has[np.argsort(s.drainage_area_ha[has], kind="stable")]
        above[self.station_below[order]] = order
        return above

    def station_near(self, reach: IntArray, station_m: FloatArray) -> IntArray:
        """Index of the nearest station of the same reach; -1 where the reach has none."""
        out = np.full(reach.size, -1, dtype=np.int64)
        for i, (r, s) in enumerate(zip(reach, station_m, strict=True)):
            if r < 0:
                continue
            a, b = int(self._station_start[r]), int(self._station_start[r + 1])
            if a < b:
                out[i] = a + int(np.argmin(np.abs(self.stations.station_m[a:b] - s)))
        return out
