"""Search the ways out of pits and flats, round after round while depressions get filled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.carve import search_flats, search_pits
from terrain._kernels.claims import claim_flats, claim_pits
from terrain._kernels.codes import COL_STEP, FLAT_DONE, ROW_STEP
from terrain._kernels.directions import (
    collect_unresolved,
    settle_codes,
    steepest_codes,
    steepest_of_cells,
)
from terrain._kernels.fill import flats_touched, mark_shut, pits_touched, raise_cells
from terrain.values.grid import Grid
from terrain.values.parallel import over_bands, over_items
from terrain.values.progress import Progress

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
        Cuts at least this deep are listed in ``cuts`` (rows of cell, depth, length). Fills are
        listed in ``fills`` (rows of cell, level).
    """

    def __init__(self, grid: Grid, raw: NDArray[np.float32], notable_m: float) -> None:
        self.grid = grid
        self.raw = raw
        self.filled = raw  # becomes a copy with the first fill
        self.codes = np.empty(grid.shape, dtype=np.uint8)
        height, width = grid.cell_height_m, grid.cell_width_m
        self.step_m = np.hypot(ROW_STEP * height, COL_STEP * width)
        # slopes are compared in single precision, like the elevations
        ns, ew, diagonal = (np.float32(1 / d) for d in (height, width, np.hypot(height, width)))
        self.inverse = (ns, ew, diagonal)
        self.notable_m = float(notable_m)
        self.flats: list[_Flats] = []
        self.pits: list[_Pits] = []
        self.cuts: NDArray[np.float64] = np.empty((0, 3))
        self.fills: NDArray[np.float64] = np.empty((0, 2))

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
        pits, flats = self._unresolved(np.empty((0, 0), dtype=np.bool_))
        for round_ in range(MAX_ROUNDS):
            last = round_ == MAX_ROUNDS - 1
            limits = (np.inf, np.inf) if last else (float(depth_m), float(length_m))
            fills = self._search(pits, flats, limits)
            progress(what, 0.8)
            if not fills:
                break
            pits, flats = self._fill(fills)
        if len(self.fills):  # later rounds found ways from pits between those of the first
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

    def _unresolved(self, asked: NDArray[np.bool_]) -> tuple[list[Cells], Cells]:
        """Pits, band by band, and cells of flats to search from: all, or those asked for."""
        found = over_bands(
            lambda a, b: collect_unresolved(self.filled, self.codes, asked, a, b), self.grid.rows
        )
        return [p for p, _ in found], np.concatenate([f for _, f in found])

    def _search(
        self, pits: list[Cells], flats: Cells, limits: tuple[float, float]
    ) -> list[tuple[NDArray[np.float64], Cells]]:
        """Search from flats, then from pits side by side; return what is to be filled."""
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
        return [f for f in fills if f[1].size]

    def _fill(self, fills: list[tuple[NDArray[np.float64], Cells]]) -> tuple[list[Cells], Cells]:
        """Raise depressions to their passes; return the pits and flat cells to search from."""
        if self.filled is self.raw:
            self.filled = self.raw.copy()
        self.filled.flags.writeable = True
        changed = np.zeros(self.grid.shape, dtype=np.bool_)
        for fill_of, cells in fills:
            raise_cells(fill_of, cells, self.filled, changed)
        self.filled.flags.writeable = False  # one kernel type for the raw and the filled surface
        self.fills = np.concatenate([self.fills, *(fill_of[:, :2] for fill_of, _ in fills)])
        raised = np.flatnonzero(changed)
        mark_shut(self.filled, *self.inverse, raised, self.codes, changed)
        self._drop_touched(changed)
        self.cuts = self.cuts[~changed.reshape(-1)[self.cuts[:, 0].astype(np.int64)]]
        return self._unresolved(changed)

    def _drop_touched(self, changed: NDArray[np.bool_]) -> None:
        """Drop the ways that meet changed cells and mark the cells they drained as changed.

        A flat that ended in a lost one is lost with it: else the two might come to end in each
        other.
        """
        codes, level, mark = (a.reshape(-1) for a in (self.codes, self.filled, changed))
        more = True
        while more:
            more = False
            for i, f in enumerate(self.flats):
                lost = flats_touched(f.end, f.cells, f.codes, changed)
                if not lost.any():
                    continue
                of_level = np.repeat(level[f.start[lost]], np.diff(f.end, prepend=0)[lost])
                self.flats[i], cells = f.split(lost)
                # of the way out only what lies in a flat of the same level
                cells = cells[(codes[cells] == FLAT_DONE) & (level[cells] == of_level)]
                more = more or not mark[cells].all()
                mark[cells] = True
                steepest_of_cells(self.filled, *self.inverse, cells, self.codes)
        for i, p in enumerate(self.pits):
            lost = pits_touched(p.start, p.steps, p.codes, changed)
            mark[p.start[lost]] = True
            self.pits[i] = p.take(~lost)
