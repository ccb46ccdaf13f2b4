"""Gullies: pieces of incised ground, their length, width and depth, and what is gone from them."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.incision import fill_across, grown, inner_cells, label_cells, longest_ways
from terrain.channels.network import ChannelNetwork
from terrain.flow.flow_field import FlowField
from terrain.incision.cell_outlines import outlines
from terrain.incision.incised_ground import IncisedGround
from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True, kw_only=True)
class GullyLimits:
    """When incised ground is a gully.

    Parameters
    ----------
    least_length_m
        Length along its longest flow line, m.
    sure_length_m
        Length from which on the length leaves no doubt, m.
    length_over_width
        Length over mean width, at least: a hollow or a pit is as long as wide.
    steep_share, steep_length_m
        Share of its flow lines along which walls leave no doubt, and length of those, at least.
    ditch_length_m, ditch_stray
        A gully at least so long that strays from a straight line by at most this share of its
        length is taken for a ditch.
    ditch_confidence
        Confidence of such a one, at most.
    """

    least_length_m: float = 20.0
    sure_length_m: float = 60.0
    length_over_width: float = 2.0
    steep_share: float = 0.1
    steep_length_m: float = 8.0
    ditch_length_m: float = 80.0
    ditch_stray: float = 0.015
    ditch_confidence: float = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Gullies:
    """Gullies, the one with the largest void first. Arrays are ``(n,)`` but for the last two.

    Parameters
    ----------
    outline
        Valid polygons or multipolygons.
    area_m2
        Area of its cells.
    length_m
        Length along its longest flow line.
    mean_width_m, greatest_width_m
        Shortest way from edge to edge, averaged over its flow lines, and the greatest.
    mean_depth_m, greatest_depth_m
        Depth below the restored ground: averaged over its area; greatest on its flow lines.
    void_m3, void_low_m3, void_high_m3
        What is gone: between the ground and straight lines laid across from edge to edge; and the
        same without its outermost cells, and with the edges one cell further out, and the noise of
        the raster's heights all one way.
    lowest_cell
        Flat number of the lowest cell of its longest flow line.
    ditch
        Whether it is as long and straight as a ditch.
    confidence
        From 0 to 1: the least of what its depth, its length and its straightness leave. A
        judgement, no probability.
    line_cells, line_gully
        Cells of flow lines within gullies, rising, and the gully of each, ``(m,)``.
    """

    outline: NDArray[Any]
    area_m2: FloatArray
    length_m: FloatArray
    mean_width_m: FloatArray
    greatest_width_m: FloatArray
    mean_depth_m: FloatArray
    greatest_depth_m: FloatArray
    void_m3: FloatArray
    void_low_m3: FloatArray
    void_high_m3: FloatArray
    lowest_cell: IntArray
    ditch: BoolArray
    confidence: FloatArray
    line_cells: IntArray
    line_gully: IntArray

    @property
    def size(self) -> int:
        """Number of gullies."""
        return int(self.area_m2.size)

    def take(self, which: IntArray) -> Gullies:
        """Those of the given numbers, ``(m,)``, in that order."""
        number = np.full(self.size + 1, -1)
        number[which] = np.arange(which.size)
        now = number[self.line_gully]
        lines = {"line_cells": self.line_cells[now >= 0], "line_gully": now[now >= 0]}
        each = [f.name for f in fields(self) if f.name not in lines]
        return Gullies(**{name: getattr(self, name)[which] for name in each}, **lines)

    def on_lines(self, cells: IntArray) -> BoolArray:
        """Whether cells of flow lines, of any shape, lie within a gully."""
        if not self.line_cells.size:
            return np.zeros(cells.shape, dtype=np.bool_)
        at = np.minimum(np.searchsorted(self.line_cells, cells), self.line_cells.size - 1)
        inside: BoolArray = self.line_cells[at] == cells
        return inside


def find_gullies(
    raster: Raster,
    flow: FlowField,
    counts: NDArray[Any],
    *,
    flow_lines: ChannelNetwork,
    incised: IncisedGround,
    limits: GullyLimits | None = None,
) -> Gullies:
    """Gather incised ground to gullies and measure them.

    Parameters
    ----------
    raster
        Elevations as measured.
    flow, counts
        Flow directions and integer drainage counts, ``(rows, cols)``.
    flow_lines, incised
        The network from which the incised ground was found, and that ground.
    limits
        See `GullyLimits`.
    """
    told = limits or GullyLimits()
    label = np.zeros(raster.grid.shape, dtype=np.int32)
    cells = incised.cells
    pieces = label_cells(cells, incised.reach, label, np.empty(cells.size + 1, dtype=np.int64))
    lines = _lines_in(flow, counts, flow_lines, label)
    of_cell = label.reshape(-1)[cells].astype(np.int64) - 1
    filled, span = _fill(raster, cells, label)
    depth = np.nan_to_num(filled - raster.elevation_m.reshape(-1)[cells])
    at = np.searchsorted(cells, lines.cells)
    on_line = _Means.of(lines.piece, pieces)
    width_m = np.nan_to_num(span[at])
    greatest_width_m = on_line.greatest(width_m)
    mean_width_m = on_line.mean(width_m)
    long = (lines.length_m >= told.least_length_m) & (
        lines.length_m >= told.length_over_width * mean_width_m
    )
    of_place = label.reshape(-1)[incised.on_line].astype(np.int64) - 1
    of_steep = _Means.of(of_place, pieces)
    share = of_steep.mean(incised.steep.astype(float))
    steep = share >= np.maximum(
        told.steep_share,
        told.steep_length_m / raster.grid.cell_m / np.maximum(of_steep.count, 1),
    )
    per_cell = raster.grid.cell_area_m2
    area_m2 = np.bincount(of_cell, minlength=pieces) * per_cell
    void = np.bincount(of_cell, weights=depth, minlength=pieces) * per_cell
    low, high = _void_range(raster, cells, label, depth, pieces)
    spread = incised.noise_m * area_m2
    greatest_depth_m = on_line.greatest(depth[at])
    keep = np.flatnonzero(long & steep & (void > 0))
    keep = keep[np.lexsort((lines.lowest[keep], -void[keep]))]
    ditch = (lines.length_m >= told.ditch_length_m) & (lines.stray <= told.ditch_stray)
    ramp = np.clip(lines.length_m / told.sure_length_m, 0.0, 1.0)
    clear = np.clip(on_line.mean(depth[at]) / (12 * max(incised.noise_m, 0.03)), 0.0, 1.0)
    confidence = np.minimum(np.sqrt(ramp), clear)
    confidence = np.where(ditch, np.minimum(confidence, told.ditch_confidence), confidence)
    rank = np.full(pieces, -1)
    rank[keep] = np.arange(keep.size)
    inside = rank[of_cell] >= 0
    return Gullies(
        outline=outlines(raster.grid, cells[inside], rank[of_cell[inside]], keep.size),
        area_m2=area_m2[keep],
        length_m=lines.length_m[keep],
        mean_width_m=mean_width_m[keep],
        greatest_width_m=greatest_width_m[keep],
        mean_depth_m=(void / np.maximum(area_m2, per_cell))[keep],
        greatest_depth_m=greatest_depth_m[keep],
        void_m3=void[keep],
        void_low_m3=np.maximum(np.minimum(low, void) - spread, 0.0)[keep],
        void_high_m3=(np.maximum(high, void) + spread)[keep],
        lowest_cell=lines.lowest[keep],
        ditch=ditch[keep],
        confidence=confidence[keep],
        line_cells=lines.cells[rank[lines.piece] >= 0],
        line_gully=rank[lines.piece][rank[lines.piece] >= 0],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Means:
    """Rows that belong to pieces, gathered."""

    piece: IntArray
    count: IntArray

    @classmethod
    def of(cls, piece: IntArray, pieces: int) -> _Means:
        return cls(piece, np.bincount(piece, minlength=pieces))

    def mean(self, values: FloatArray) -> FloatArray:
        sums = np.bincount(self.piece, weights=values, minlength=self.count.size)
        return np.asarray(sums / np.maximum(self.count, 1))

    def greatest(self, values: FloatArray) -> FloatArray:
        out = np.zeros(self.count.size)
        np.maximum.at(out, self.piece, values)
        return out


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Flow lines inside the pieces, and the longest of each piece."""

    cells: IntArray
    piece: IntArray
    length_m: FloatArray
    lowest: IntArray
    stray: FloatArray


def _lines_in(
    flow: FlowField, counts: NDArray[Any], flow_lines: ChannelNetwork, label: NDArray[np.int32]
) -> _Lines:
    pieces = int(label.max(initial=0))
    cells = flow_lines.cells[label.reshape(-1)[flow_lines.cells] > 0]
    piece = label.reshape(-1)[cells]
    below = flow.downstream(cells)
    down = np.searchsorted(cells, below)
    down = np.where(np.isin(below, cells), np.minimum(down, max(cells.size - 1, 0)), -1)
    codes = flow.codes.reshape(-1)[cells]
    step_m = np.where(codes < 8, flow.step_m[np.minimum(codes, 7)], 0.0)
    length_m, above = np.zeros(cells.size), np.full(cells.size, -1)
    order = np.argsort(counts.reshape(-1)[cells], kind="stable")
    longest_ways(order, down, step_m, piece, length_m, above)
    last = np.full(pieces, -1)
    rise = np.lexsort((-cells, length_m))
    last[piece[rise] - 1] = rise  # the longest of each piece is written last
    x, y = flow.grid.xy_of(cells)
    known = last >= 0
    stray = np.array([_stray(i, above, x, y) for i in last])
    return _Lines(
        cells,
        piece.astype(np.int64) - 1,
        np.where(known, length_m[last], 0.0),
        np.where(known, cells[last], -1),
        stray,
    )


def _stray(end: int, above: IntArray, x: FloatArray, y: FloatArray) -> float:
    """How far a way strays from the straight line between its ends, over that line's length."""
    way = [end]
    while end >= 0 and above[way[-1]] >= 0:
        way.append(int(above[way[-1]]))
    if len(way) < 3:
        return 1.0
    dx, dy = x[way] - x[way[0]], y[way] - y[way[0]]
    chord = float(np.hypot(dx[-1], dy[-1]))
    if chord == 0:
        return 1.0
    return float(np.abs(dx * dy[-1] - dy * dx[-1]).max()) / chord**2


def _fill(
    raster: Raster, cells: IntArray, label: NDArray[np.int32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    grid = raster.grid
    filled, span = np.empty((2, cells.size), dtype=np.float32)
    width, height = grid.cell_width_m, grid.cell_height_m
    fill_across(raster.elevation_m, raster.valid, label, cells, width, height, filled, span)
    return filled, span


def _void_range(
    raster: Raster,
    cells: IntArray,
    label: NDArray[np.int32],
    depth: FloatArray,
    pieces: int,
) -> tuple[FloatArray, FloatArray]:
    """Void without the outermost cells, and with the edges one cell further out, m3."""
    per_cell = raster.grid.cell_area_m2
    inner = inner_cells(cells, label)
    piece = label.reshape(-1)[cells[inner]].astype(np.int64) - 1
    low = np.bincount(piece, weights=depth[inner], minlength=pieces) * per_cell
    wider = label.copy()
    own = grown(cells, label, wider)
    own = own[raster.valid.reshape(-1)[own]]
    filled, _ = _fill(raster, own, wider)
    more = np.nan_to_num(filled - raster.elevation_m.reshape(-1)[own])
    piece = wider.reshape(-1)[own].astype(np.int64) - 1
    return low, np.bincount(piece, weights=more, minlength=pieces) * per_cell
