"""Search the ways out of pits and flats, round after round while depressions get filled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.carve import (
    claim_flats,
    claim_pits,
    collect_unresolved,
    flats_touched,
    pits_touched,
    search_flats,
    search_pits,
)
from terrain._kernels.codes import COL_STEP, FLAT_DONE, OUTLET, ROW_STEP, UNRESOLVED
from terrain._kernels.directions import settle_codes, steepest_codes, steepest_of_cells
from terrain.grid import Grid
from terrain.parallel import over_bands, over_items
from terrain.progress import Progress

#: After so many rounds of filling, what is left is cut whatever it takes.
MAX_ROUNDS = 20

Cells = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class _Pits:
    """Ways out of pits: where each starts, its number of steps, and all steps' codes."""

    start: Cells
    steps: NDArray[np.int32]
    codes: NDArray[np.uint8]

    def take(self, keep: NDArray[np.bool_]) -> _Pits:
        codes = self.codes[np.repeat(keep, self.steps)]
        return _Pits(self.start[keep], self.steps[keep], codes)

    @classmethod
    def joined(cls, parts: list[_Pits]) -> _Pits:
        """One list by rising start; of two ways from one pit the first stays."""
        start = np.concatenate([p.start for p in parts])
        steps = np.concatenate([p.steps for p in parts])
        codes = np.concatenate([p.codes for p in parts])
        order = np.unique(start, return_index=True)[1]
        first = np.cumsum(steps, dtype=np.int64) - steps
        size = steps[order].astype(np.int64)
        entry = np.arange(int(size.sum()), dtype=np.int64)
        entry += np.repeat(first[order] - (np.cumsum(size) - size), size)
        return cls(start[order], steps[order], codes[entry])


@dataclass(frozen=True, slots=True, eq=False)
class _Flats:
    """Ways out of flats: where each starts, the end of its entries, the entries."""

    start: Cells
    end: Cells
    cells: Cells
    codes: NDArray[np.uint8]

    def split(self, lost: NDArray[np.bool_]) -> tuple[_Flats, Cells]:
        """Return the flats that are not lost, and the cells of those that are."""
        size = np.diff(self.end, prepend=0)
        gone = np.repeat(lost, size)
        kept = _Flats(
            self.start[~lost], np.cumsum(size[~lost]), self.cells[~gone], self.codes[~gone]
        )
        return kept, self.cells[gone]


@dataclass(frozen=True, slots=True)
class Fill:
    """A depression filled instead of cut."""

    cell: int
    level_m: float


class WaysOut:
    """One run: the surface with its fills, raw codes, and the ways found so far.

    Mutable on purpose: it lives inside one call and owns the big arrays.

    Parameters
    ----------
    grid
        Where the cells lie.
    raw
        float32 surface with NaN in voids; it is not changed.
    notable_m
        Cuts at least this deep are listed in ``cuts`` (rows of cell, depth, length).
    """

    def __init__(self, grid: Grid, raw: NDArray[np.float32], notable_m: float) -> None:
        self.grid = grid
        self.raw = raw
        self.filled = raw  # becomes a copy with the first fill
        self.codes = np.empty(grid.shape, dtype=np.uint8)
        height, width = grid.cell_height_m, grid.cell_width_m
        self.step_m = np.hypot(ROW_STEP * height, COL_STEP * width)
        # slopes are compared in single precision, like the elevations
        self.inverse = tuple(np.float32(1 / d) for d in (height, width, np.hypot(height, width)))
        self.notable_m = float(notable_m)
        self.flats: list[_Flats] = []
        self.pits: list[_Pits] = []
        self.cuts: NDArray[np.float64] = np.empty((0, 3))
        self.fills: list[Fill] = []
        self.fill_cells: Cells = np.empty(0, np.int64)

    @property
    def found(self) -> int:
        """Number of ways out."""
        return sum(p.start.size for p in self.pits) + sum(f.start.size for f in self.flats)

    def run(self, depth_m: float, length_m: float, progress: Progress) -> None:
        """Find a way out of every depression, filling where a cut would pass the limits."""
        what = "finding ways out of depressions"
        rows = self.grid.rows
        over_bands(lambda a, b: steepest_codes(self.raw, *self.inverse, a, b, self.codes), rows)
        progress(what, 0.2)
        found = over_bands(lambda a, b: collect_unresolved(self.raw, self.codes, a, b), rows)
        pits, flats = [p for p, _ in found], np.concatenate([f for _, f in found])
        for round_ in range(MAX_ROUNDS):
            last = round_ == MAX_ROUNDS - 1
            limits = (np.inf, np.inf) if last else (float(depth_m), float(length_m))
            raised = self._search(pits, flats, limits)
            progress(what, 0.8)
            if not raised.size:
                break
            self.fill_cells = np.union1d(self.fill_cells, raised)
            pits, flats = self._after_fill(raised)
        if self.fills:  # later rounds found ways from pits between those of the first
            self.pits = [_Pits.joined(self.pits)]
        order = np.unique(self.cuts[:, 0], return_index=True)[1]
        self.cuts = self.cuts[order]

    def settle(self) -> tuple[NDArray[np.float32], int]:
        """Cut the surface along the ways and finish the codes.

        Returns the conditioned surface and the number of cells lowered.
        """
        surface = self.filled.copy()
        args = (surface, self.codes)
        lowered = 0
        for f in self.flats:
            lowered += claim_flats(self.filled, f.start, f.end, f.cells, f.codes, *args)
        for p in self.pits:
            lowered += claim_pits(self.filled, p.start, p.steps, p.codes, *args)
        self.flats, self.pits = [], []
        over_bands(
            lambda a, b: settle_codes(surface, *self.inverse, a, b, self.codes), self.grid.rows
        )
        return surface, lowered

    def _search(self, pits: list[Cells], flats: Cells, limits: tuple[float, float]) -> Cells:
        """Search from flats, then from pits side by side; return the cells raised by fills."""
        surface, codes, notable = self.filled, self.codes, self.notable_m
        fills: list[tuple[NDArray[np.float64], Cells]] = []
        cuts = [self.cuts]
        if flats.size:
            start, end, cells, out, cut, fill_of, fill = search_flats(
                surface, codes, flats, self.step_m, *limits, notable
            )
            self.flats.append(_Flats(start, end, cells, out))
            cuts.append(cut)
            fills.append((fill_of, fill))
        found = over_items(
            lambda band: search_pits(surface, codes, band, self.step_m, *limits, notable), pits
        )
        for start, (steps, out, cut, fill_of, fill) in zip(pits, found, strict=True):
            self.pits.append(_Pits(start, steps, out))
            cuts.append(cut)
            fills.append((fill_of, fill))
        self.cuts = np.concatenate(cuts)
        return self._fill(fills)

    def _fill(self, fills: list[tuple[NDArray[np.float64], Cells]]) -> Cells:
        """Raise depressions to their passes; return the raised cells."""
        if not any(cells.size for _, cells in fills):
            return np.empty(0, np.int64)
        surface = self.filled.copy()
        flat = surface.reshape(-1)
        for fill_of, cells in fills:
            first = 0
            for start, level, end in fill_of:
                here = cells[first : int(end)]
                flat[here] = np.maximum(flat[here], np.float32(level))
                self.fills.append(Fill(int(start), float(level)))
                first = int(end)
        surface.flags.writeable = False  # one kernel type for the raw and the filled surface
        self.filled = surface
        return np.unique(np.concatenate([cells for _, cells in fills]))

    def _after_fill(self, raised: Cells) -> tuple[list[Cells], Cells]:
        """Drop the ways that fills made void; return pits and flat cells to search from."""
        steps = ROW_STEP * self.grid.cols + COL_STEP
        codes, level = self.codes.reshape(-1), self.filled.reshape(-1)
        changed = np.zeros(self.grid.size, dtype=np.bool_)
        changed[raised] = True
        around = np.unique(np.concatenate([raised, *(raised + step for step in steps)]))
        around = around[changed[around] | (codes[around] < OUTLET)]
        steepest_of_cells(self.filled, *self.inverse, around, self.codes)
        shut = around[codes[around] == UNRESOLVED]
        changed[shut] = True
        for step in steps:  # pits and flats beside cells newly shut at their level are one flat
            near = shut + step
            changed[near[(codes[near] >= UNRESOLVED) & (level[near] == level[shut])]] = True
        lost = self._drop_touched(changed)
        steepest_of_cells(self.filled, *self.inverse, lost, self.codes)
        cells = np.union1d(shut, lost)
        self.cuts = self.cuts[~np.isin(self.cuts[:, 0].astype(np.int64), cells)]
        cells = cells[codes[cells] == UNRESOLVED]
        in_flat = np.zeros(cells.size, dtype=np.bool_)
        for step in steps:
            in_flat |= (codes[cells + step] == UNRESOLVED) & (level[cells + step] == level[cells])
        return [cells[~in_flat]], cells[in_flat]

    def _drop_touched(self, changed: NDArray[np.bool_]) -> Cells:
        """Drop the ways that meet changed cells; return the cells they drained.

        A flat that ended in a lost one is lost with it: else the two might come to end in each
        other.
        """
        codes, level = self.codes.reshape(-1), self.filled.reshape(-1)
        table = changed.reshape(self.grid.shape)
        dropped: list[Cells] = []
        more = True
        while more:
            more = False
            for i, f in enumerate(self.flats):
                lost = flats_touched(f.end, f.cells, f.codes, table)
                if not lost.any():
                    continue
                of_level = np.repeat(level[f.start[lost]], np.diff(f.end, prepend=0)[lost])
                self.flats[i], cells = f.split(lost)
                # of the way out only what lies in a flat of the same level
                cells = cells[(codes[cells] == FLAT_DONE) & (level[cells] == of_level)]
                more = more or not changed[cells].all()
                changed[cells] = True
                dropped.append(cells)
        for i, p in enumerate(self.pits):
            lost = pits_touched(p.start, p.steps, p.codes, table)
            dropped.append(p.start[lost])
            self.pits[i] = p.take(~lost)
        return np.unique(np.concatenate([np.empty(0, np.int64), *dropped]))
