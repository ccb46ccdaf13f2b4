"""Find the way out of every depression, or fill it to its pass; each is decided once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.carve import MANY_VISITS, passes_of_few, search_flats, search_pits
from terrain._kernels.claims import claim_ways
from terrain._kernels.codes import COL_STEP, ROW_STEP
from terrain._kernels.directions import collect_unresolved, settle_codes, steepest_codes
from terrain._kernels.fill import decide, raise_all, ways_hit
from terrain._kernels.flats import drain_rings, open_mouths, reopen, shores
from terrain._kernels.passes import borders, join_catchments, label_catchments
from terrain.values.grid import Grid
from terrain.values.parallel import over_bands, over_items
from terrain.values.progress import Progress

Cells = NDArray[np.int64]


@dataclass(slots=True, eq=False)
class _Ways:
    """Depressions, closed flats before pits and each kind rising, and their ways out.

    Parameters
    ----------
    start
        First cell of each.
    flats
        How many are flats.
    mouth
        Cell the way starts from: in a flat it may be another one than the first.
    first, steps, codes
        Place and number of the steps of each way in ``codes``; no steps where there is no way.
    level
        Level of each, m.
    """

    start: Cells
    flats: int
    mouth: Cells
    first: Cells
    steps: NDArray[np.int32]
    codes: NDArray[np.uint8]
    level: NDArray[np.float32]

    @property
    def age(self) -> Cells:
        """Numbers in the order of levels, of equal ones in the order of the depressions."""
        bits = (self.level + np.float32(0)).view(np.int32).astype(np.int64)
        rising = np.where(bits < 0, -(bits & 0x7FFFFFFF), bits)
        return (rising << 31) + np.arange(bits.size)


class WaysOut:
    """One run: the surface with its fills, the codes, and the ways found so far.

    Mutable on purpose: it lives inside one call and owns the big arrays.

    Parameters
    ----------
    grid
        Where the cells lie.
    raw
        float32 surface with NaN in voids; it is not changed.
    limits
        Greatest depth and length of a cut, m.
    many_visits
        A search that visits more cells than this is left to the one that takes large depressions
        together. It makes no difference to what is cut or filled.
    """

    def __init__(
        self,
        grid: Grid,
        raw: NDArray[np.float32],
        limits: tuple[float, float],
        *,
        many_visits: int | None = None,
    ) -> None:
        self.grid = grid
        self.raw = raw
        self.filled = raw  # becomes a copy with the first fill
        self.codes = np.empty(grid.shape, dtype=np.uint8)
        height, width = grid.cell_height_m, grid.cell_width_m
        self.step_m = np.hypot(ROW_STEP * height, COL_STEP * width)
        # slopes are compared in single precision, like the elevations
        ns, ew, diagonal = (np.float32(1 / d) for d in (height, width, np.hypot(height, width)))
        self.inverse = (ns, ew, diagonal)
        self.depth_m, self.length_m = (float(limit) for limit in limits)
        self.many_visits = MANY_VISITS if many_visits is None else many_visits
        self.fill_start: Cells = np.empty(0, dtype=np.int64)
        self.fill_level: NDArray[np.float32] = np.empty(0, dtype=np.float32)

    def run(self, progress: Progress) -> _Ways:
        """Find a way out of every depression, filling where a cut would pass the limits."""
        what = "finding ways out of depressions"
        rows = self.grid.rows
        over_bands(lambda a, b: steepest_codes(self.raw, *self.inverse, a, b, self.codes), rows)
        progress(what, 0.2)
        shore = over_bands(lambda a, b: shores(self.raw, self.codes, a, b), rows)
        self._drain(*(np.concatenate(parts) for parts in zip(*shore, strict=True)))
        progress(what, 0.3)
        ways, asked, passes = self._search()
        progress(what, 0.6)
        if asked.size:
            self._decide(ways, asked, passes)
        progress(what, 0.8)
        flats = slice(0, ways.flats)
        cells, steps = open_mouths(
            self.filled, self.codes, ways.mouth[flats], ways.first, ways.steps, ways.codes
        )
        self._drain(cells, steps)
        return ways

    def settle(
        self, ways: _Ways, notable_m: float
    ) -> tuple[NDArray[np.float32], int, tuple[Cells, NDArray[np.float64], NDArray[np.float64]]]:
        """Cut the surface along the ways and finish the codes.

        Returns the conditioned surface, the number of cells lowered, and the cuts of at least
        ``notable_m``: cell each starts from, depth and length.
        """
        surface = self.filled.copy()
        lowered, which, depth, length = claim_ways(
            self.filled,
            ways.mouth,
            ways.first,
            ways.steps,
            ways.codes,
            self.step_m,
            float(notable_m),
            surface,
            self.codes,
        )
        over_bands(
            lambda a, b: settle_codes(surface, *self.inverse, a, b, self.codes), self.grid.rows
        )
        order = np.argsort(ways.start[which])
        return surface, lowered, (ways.start[which][order], depth[order], length[order])

    def _drain(self, cells: Cells, steps: NDArray[np.uint8]) -> None:
        if cells.size:
            drain_rings(self.filled, self.codes, cells, steps)

    def _search(self) -> tuple[_Ways, Cells, NDArray[np.float32]]:
        """Search from closed flats, then from pits side by side.

        Returns the ways, the numbers of depressions without one, and their passes (NaN where
        the search would have been large).
        """
        surface, codes = self.raw, self.codes
        given = (self.step_m, self.depth_m, self.length_m, self.many_visits)
        found = over_bands(lambda a, b: collect_unresolved(surface, codes, a, b), self.grid.rows)
        flat_cells = np.concatenate([f for _, f in found])
        start, mouth, steps, out, flat_passes = search_flats(surface, codes, flat_cells, *given)
        pits = [p for p, _ in found]
        results = over_items(lambda band: search_pits(surface, codes, band, *given), pits)
        starts = np.concatenate([start, *pits])
        all_steps = np.concatenate([steps, *(r[0] for r in results)])
        ways = _Ways(
            start=starts,
            flats=start.size,
            mouth=np.concatenate([mouth, *pits]),
            first=np.cumsum(all_steps, dtype=np.int64) - all_steps,
            steps=all_steps,
            codes=np.concatenate([out, *(r[1] for r in results)]),
            level=surface.reshape(-1)[starts],
        )
        asked = np.flatnonzero(all_steps == 0)
        return ways, asked, np.concatenate([flat_passes, *(r[2] for r in results)])

    def _decide(self, ways: _Ways, asked: Cells, passes: NDArray[np.float32]) -> None:
        """Fill what is too deep to cut; then cut or fill the rest, the lowest pass first."""
        large = np.flatnonzero(np.isnan(passes))
        if large.size:
            some = asked[large]
            flats = int(np.searchsorted(some, ways.flats))
            # a few are sooner searched one by one than the whole raster is looked through
            passes[large] = passes_of_few(
                self.raw, self.codes, ways.start[some], flats, self.step_m, self.raw.size // 16
            )
        if np.isnan(passes).any():
            left = np.isnan(passes)
            passes[left] = self._passes(ways)[asked[left]]
        surface = self.raw.copy()
        self.filled = surface.view()
        self.filled.flags.writeable = False  # one kernel type for the raw and the filled surface
        bottom = np.full(self.grid.shape, np.inf, dtype=np.float32)
        deep = passes - ways.level[asked] > np.float64(self.depth_m)
        order = np.argsort(ways.level[asked[deep]], kind="stable")
        fills, levels = asked[deep][order], passes[deep][order]
        raised = raise_all(surface, bottom, ways.start[fills], levels)
        self._drain(*reopen(self.filled, *self.inverse, raised, self.codes))
        given = (ways.mouth, ways.first, ways.steps)
        hit, hit_passes = ways_hit(self.filled, self.raw, *given, ways.codes)
        ways.codes, short, short_level = decide(
            self.raw,
            self.filled,
            surface,
            bottom,
            self.codes,
            ways.start,
            ways.flats,
            *given,
            ways.codes,
            np.concatenate([hit, asked[~deep]]),
            np.concatenate([hit_passes, passes[~deep]]),
            ways.age,
            self.step_m,
            self.inverse,
            self.length_m,
        )
        start = np.concatenate([ways.start[fills], short])
        level = np.concatenate([levels, short_level])
        last = self.filled.reshape(-1)[start] == level  # not covered by the fill of another
        self.fill_start, self.fill_level = start[last], level[last]

    def _passes(self, ways: _Ways) -> NDArray[np.float32]:
        """Level of the pass of each depression without a way; NaN for the others."""
        label = np.full(self.grid.shape, -1, dtype=np.int32)
        given = (ways.mouth, ways.first, ways.steps, ways.codes)
        label_catchments(self.raw, self.codes, ways.start, ways.flats, *given, label)
        found = over_bands(lambda a, b: borders(self.raw, label, a, b), self.grid.rows)
        one, other, level = (np.concatenate(parts) for parts in zip(*found, strict=True))
        order = np.argsort(level, kind="stable")
        start_level = np.concatenate([[np.float32(-np.inf)], ways.level])
        return join_catchments(one[order], other[order], level[order], start_level)[1:]
